"""Amps on a circuit. Planning figures: local electrical code and licensed people decide."""

from math import sqrt

from server.errors import OutOfRange


def mains_amps(watts: float, mains_volts: float, power_factor: float = 1.0) -> float:
    """Mains current of a head at full. [A]

    I = P / (V pf)

    Parameters
    ----------
    watts : float
        Real power. [W], >= 0
    mains_volts : float
        Mains voltage. [V], > 0
    power_factor : float
        1 for a lamp at full; LED heads from their label. 0..1, above 0

    Returns
    -------
    float
        [A]

    Raises
    ------
    OutOfRange
        A value lies outside its range.

    Examples
    --------
    >>> round(mains_amps(2000.0, 120.0), 2)
    16.67

    References
    ----------
    By definition of the power factor: P = V I pf.
    """
    if not watts >= 0:
        raise OutOfRange(f"watts cannot be negative, got {watts:g}")
    if not mains_volts > 0:
        raise OutOfRange(f"mains_volts must be above 0, got {mains_volts:g}")
    if not 0 < power_factor <= 1:
        raise OutOfRange(f"power_factor must lie above 0 and at most 1, got {power_factor:g}")
    return watts / (mains_volts * power_factor)


def planning_limit_amps(breaker_amps: float, continuous_factor: float = 0.8) -> float:
    """The planning limit of a circuit, not the law. [A]

    limit = breaker amps x continuous factor

    Parameters
    ----------
    breaker_amps : float
        Rating of the breaker. [A], > 0
    continuous_factor : float
        Share planned for a load of hours. 0..1, above 0

    Returns
    -------
    float
        [A]

    Raises
    ------
    OutOfRange
        A value lies outside its range.

    Examples
    --------
    >>> planning_limit_amps(20.0)
    16.0

    References
    ----------
    NEC 210.20(A): breaker at least 125 % of the continuous load, and 1 / 1.25 = 0.8.
    """
    if not breaker_amps > 0:
        raise OutOfRange(f"breaker_amps must be above 0 A, got {breaker_amps:g}")
    if not 0 < continuous_factor <= 1:
        raise OutOfRange(
            f"continuous_factor must lie above 0 and at most 1, got {continuous_factor:g}"
        )
    return breaker_amps * continuous_factor


def neutral_amps(a_amps: float, b_amps: float, c_amps: float) -> float:
    """Current in the neutral of a three-phase supply with sine currents in phase with it. [A]

    sqrt(a**2 + b**2 + c**2 - a b - b c - c a)

    Parameters
    ----------
    a_amps, b_amps, c_amps : float
        Current of each phase. [A], >= 0

    Returns
    -------
    float
        [A]

    Raises
    ------
    OutOfRange
        A current is negative.

    Notes
    -----
    Does not hold for phase-cut dimmers: their third harmonics add in the neutral, which can then
    carry more than any phase.

    Examples
    --------
    >>> neutral_amps(10.0, 10.0, 10.0), neutral_amps(10.0, 0.0, 0.0)
    (0.0, 10.0)

    References
    ----------
    By definition: length of the sum of three phasors 120 degrees apart.
    """
    for name, amps in (("a_amps", a_amps), ("b_amps", b_amps), ("c_amps", c_amps)):
        if amps < 0:
            raise OutOfRange(f"{name} must be 0 A or more, got {amps:g}")
    squared = (
        a_amps**2 + b_amps**2 + c_amps**2 - a_amps * b_amps - b_amps * c_amps - c_amps * a_amps
    )
    return sqrt(max(0.0, squared))
