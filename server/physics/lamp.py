"""Tungsten lamps on a dimmer: colour, power and current against light (lamp rerating)."""

from server.errors import OutOfRange

# Exponents of voltage, v = V / V rated. Near rated voltage; rough below about -2 stops.
LIGHT_EXPONENT = 3.4
POWER_EXPONENT = 1.6
CURRENT_EXPONENT = 0.55
COLOUR_EXPONENT = 0.42


def relative_voltage(output: float) -> float:
    """Relative lamp voltage that gives this light. [1]

    v = output**(1 / 3.4)

    Parameters
    ----------
    output : float
        Light as a fraction of full. 0..1

    Returns
    -------
    float
        V / V rated. 0..1

    Raises
    ------
    OutOfRange
        The output lies outside 0..1.

    Examples
    --------
    >>> round(relative_voltage(0.5), 4)
    0.8156

    References
    ----------
    Fink & Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8 (lamp rerating).
    """
    if not 0 <= output <= 1:
        raise OutOfRange(f"output must lie in 0..1, got {output:g}")
    return float(output ** (1 / LIGHT_EXPONENT))


def tungsten_cct_kelvin(cct_full_kelvin: float, output: float) -> float:
    """Colour temperature of a dimmed tungsten lamp. [K]

    CCT = CCT_full v**0.42

    Parameters
    ----------
    cct_full_kelvin : float
        At full output. [K]
    output : float
        Light as a fraction of full. 0..1; at 0 there is no colour and CCT_full is returned

    Returns
    -------
    float
        [K]

    Examples
    --------
    >>> round(tungsten_cct_kelvin(3200.0, 0.5))
    2937

    References
    ----------
    Fink & Beaty, 11th ed., p. 22-8; SPIE Field Guide to Illumination (2007), tungsten lamps.
    """
    if output == 0:
        return cct_full_kelvin
    return float(cct_full_kelvin * relative_voltage(output) ** COLOUR_EXPONENT)


def tungsten_watts(watts_full: float, output: float) -> float:
    """Power of a dimmed tungsten lamp. [W]

    P = P_full v**1.6

    Parameters
    ----------
    watts_full : float
        At full output. [W]
    output : float
        Light as a fraction of full. 0..1

    Returns
    -------
    float
        [W]

    Examples
    --------
    >>> round(tungsten_watts(1000.0, 0.5))
    722

    References
    ----------
    Fink & Beaty, 11th ed., p. 22-8.
    """
    return float(watts_full * relative_voltage(output) ** POWER_EXPONENT)


def tungsten_amps(amps_full: float, output: float) -> float:
    """Lamp current of a dimmed tungsten lamp, which a phase-cut dimmer's breaker carries. [A]

    I = I_full v**0.55

    Parameters
    ----------
    amps_full : float
        At full output. [A]
    output : float
        Light as a fraction of full. 0..1

    Returns
    -------
    float
        [A]; falls much slower than the light.

    Examples
    --------
    >>> round(tungsten_amps(8.333, 0.5), 2)
    7.45

    References
    ----------
    Fink & Beaty, 11th ed., p. 22-8.
    """
    return float(amps_full * relative_voltage(output) ** CURRENT_EXPONENT)


def mired_shift(from_kelvin: float, to_kelvin: float) -> float:
    """Colour shift between two colour temperatures, positive is warmer. [mired]

    shift = 1e6 / T2 - 1e6 / T1

    Parameters
    ----------
    from_kelvin, to_kelvin : float
        [K], > 0

    Returns
    -------
    float
        [mired]

    Raises
    ------
    OutOfRange
        A temperature is not positive.

    Examples
    --------
    >>> round(mired_shift(3200.0, 2937.0), 1)
    28.0

    References
    ----------
    By definition: mired = 1e6 / CCT.
    """
    if not (from_kelvin > 0 and to_kelvin > 0):
        raise OutOfRange("colour temperatures must be above 0 K")
    return 1e6 / to_kelvin - 1e6 / from_kelvin
