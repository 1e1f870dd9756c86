"""Lighting ratios. The trade uses two; every function here is named after the one it means."""

from math import inf

from server.errors import OutOfRange
from server.physics.stops import stops_between


def lit_to_shadow(lit_lx: float, shadow_lx: float) -> float:
    """Ratio of the lit side to the shadow side, (key + fill) : fill. [1]

    R = E_lit / E_shadow, the shadow side read in the key's shadow

    Parameters
    ----------
    lit_lx : float
        Lit side, all heads counted. [lx], >= 0
    shadow_lx : float
        Shadow side, all heads but the key. [lx], >= 0

    Returns
    -------
    float
        Ratio; inf when the shadow side gets no light at all.

    Raises
    ------
    OutOfRange
        A value is negative, or both are 0: darkness has no ratio.

    Examples
    --------
    >>> lit_to_shadow(64.0 + 32.0, 32.0)
    3.0

    References
    ----------
    US Army subcourse SS0510 (1994), Lesson 1 para 10, p. 1-17: main plus fill compared to the
    fill alone.
    """
    if not (lit_lx >= 0 and shadow_lx >= 0):
        raise OutOfRange(
            f"light must be 0 lx or more, got {lit_lx:g} (lit) and {shadow_lx:g} (shadow)"
        )
    if lit_lx == 0 and shadow_lx == 0:
        raise OutOfRange("no ratio: neither side gets any light")
    return lit_lx / shadow_lx if shadow_lx > 0 else inf


def key_over_fill_stops(key_lx: float, fill_lx: float) -> float:
    """Key over fill, heads metered singly. [stop]

    stops = log2(E_key / E_fill)

    Parameters
    ----------
    key_lx : float
        Key alone, meter pointed at it. [lx], >= 0
    fill_lx : float
        Fill alone, meter pointed at it. [lx], > 0

    Returns
    -------
    float
        [stop]

    Raises
    ------
    OutOfRange
        There is no fill light to compare with.

    Examples
    --------
    >>> key_over_fill_stops(64.0, 32.0)
    1.0

    References
    ----------
    "Lighting ratio" encyclopedia entry: 2 to the power of the difference in f-stops.
    """
    return stops_between(key_lx, fill_lx)
