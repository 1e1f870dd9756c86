"""How a tungsten filament lags behind its control, so that other heads can wait for it."""

from math import exp

from server.errors import OutOfRange

# A general-service lamp of 100 W at 120 V reaches 90 % of its light after about 0.13 s.
REFERENCE_S, REFERENCE_AMPS = 0.13, 100 / 120
SIZE_EXPONENT = 2 / 3
# A step's answer reaches 90 % of the light, 0.9**(1/3) of the way in perceived steps, after
# so many time constants: ln(1 / (1 - 0.9**(1/3))).
CONSTANTS_TO_90_PERCENT = 3.37


def heating_s(watts: float, volts: float) -> float:
    """Time that a cold tungsten lamp takes to reach 90 % of its light. [s]

    t = 0.13 s (I / (100 W / 120 V))**(2/3),  I = watts / volts

    Parameters
    ----------
    watts : float
        Rated power. [W], >= 0
    volts : float
        Rated voltage. [V], > 0

    Returns
    -------
    float
        [s]; 0.38 for 500 W and 0.60 for 1000 W at 120 V.

    Raises
    ------
    OutOfRange
        The power is negative or the voltage not positive.

    Notes
    -----
    The power goes with the filament's surface (P ~ d l), its resistance with l / d**2, so
    d ~ (P / V)**(2/3); the heat it stores against the power that feeds it goes with d. Good to a
    third or so: lamps of one rating differ.

    Examples
    --------
    >>> round(heating_s(100.0, 120.0), 2), round(heating_s(2000.0, 120.0), 2)
    (0.13, 0.96)

    References
    ----------
    The 0.13 s: encyclopedia article "Incandescent light bulb", electrical characteristics. "High
    wattage types may take up to a maximum of about one second": a lamp museum's page "Starting
    characteristics" of incandescent lamps.
    """
    if watts < 0 or volts <= 0:
        raise OutOfRange(f"a lamp needs watts >= 0 and volts > 0, got {watts:g} W, {volts:g} V")
    return float(REFERENCE_S * (watts / volts / REFERENCE_AMPS) ** SIZE_EXPONENT)


def followed(elapsed_s: float, ramp_s: float, heat_s: float) -> float:
    """How far a lamp has followed a control that goes its way evenly. [1]

    q = (t - T (1 - e**(-t/T))) / r            while the control is on its way (t <= r)
    q = 1 - (1 - q(r)) e**(-(t - r)/T)         after that;  T = heat_s / 3.37

    Parameters
    ----------
    elapsed_s : float
        Since the control set off. [s]
    ramp_s : float
        How long the control takes. [s], > 0
    heat_s : float
        The lamp's own time, as of `heating_s`. [s], > 0

    Returns
    -------
    float
        Part of the way in perceived steps. 0..1

    Notes
    -----
    A lag of the first order in the cube root of the light. From a lit lamp it stays within 0.15
    stop of the filament's heat balance; a lamp that starts cold shows nothing at first.

    Examples
    --------
    >>> round(followed(0.2, 0.2, 0.38), 3), round(followed(0.58, 0.2, 0.38), 3)
    (0.532, 0.984)

    References
    ----------
    By definition: a lag of the first order, driven by a ramp.
    """
    constant_s = heat_s / CONSTANTS_TO_90_PERCENT
    on_ramp_s = max(0.0, min(elapsed_s, ramp_s))
    part = (on_ramp_s - constant_s * (1 - exp(-on_ramp_s / constant_s))) / ramp_s
    return 1 - (1 - part) * exp(-max(0.0, elapsed_s - ramp_s) / constant_s)
