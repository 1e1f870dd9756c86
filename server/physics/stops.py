"""Stops and thirds: the photographer's logarithm of light."""

from math import inf, log2

from server.errors import OutOfRange

THIRDS_PER_STOP = 3


def light_factor(stops: float) -> float:
    """Factor in light for a change in stops. [1]

    factor = 2**stops

    Parameters
    ----------
    stops : float
        Change, positive is brighter. [stop]

    Returns
    -------
    float
        Factor, > 0. [1]

    Examples
    --------
    >>> round(light_factor(1 / 3), 6)
    1.259921

    References
    ----------
    By definition: one stop is a factor of two in light.
    """
    return float(2.0**stops)


def stops_between(light: float, reference: float) -> float:
    """How far one light is above another. [stop]

    stops = log2(light / reference)

    Parameters
    ----------
    light, reference : float
        Two amounts of the same kind, in the same unit; `reference` > 0, `light` >= 0.

    Returns
    -------
    float
        Stops, negative when `light` is the darker; -inf when `light` is 0. [stop]

    Raises
    ------
    OutOfRange
        `reference` is not positive or `light` is negative.

    Examples
    --------
    >>> stops_between(640.0, 160.0)
    2.0

    References
    ----------
    By definition: one stop is a factor of two in light.
    """
    if not reference > 0:
        raise OutOfRange(f"reference must be above 0, got {reference:g}")
    if not light >= 0:
        raise OutOfRange(f"light cannot be negative, got {light:g}")
    return log2(light / reference) if light > 0 else -inf


def stops_below_full(output: float) -> float:
    """Stops below full of an output. [stop]

    stops = -log2(output)

    Parameters
    ----------
    output : float
        Light as a fraction of full, 0..1. [1]

    Returns
    -------
    float
        Stops, >= 0; inf for a dark head. [stop]

    Raises
    ------
    OutOfRange
        `output` lies outside 0..1.

    Examples
    --------
    >>> stops_below_full(0.25)
    2.0

    References
    ----------
    By definition: one stop is a factor of two in light.
    """
    if not 0 <= output <= 1:
        raise OutOfRange(f"output must lie in 0..1, got {output:g}")
    return max(0.0, -log2(output)) if output > 0 else inf


def throw_factor(stops: float) -> float:
    """Factor in distance that changes the light by so many stops. [1]

    factor = 2**(-stops / 2), from the inverse square law

    Parameters
    ----------
    stops : float
        Wanted change in light, positive is brighter. [stop]

    Returns
    -------
    float
        Factor to multiply the distance with, > 0. [1]

    Notes
    -----
    Holds for a point source, see `server.physics.photometry.illuminance_lx`.

    Examples
    --------
    >>> round(throw_factor(-1.0), 4)      # a stop less: 1.41 times as far
    1.4142

    References
    ----------
    CIE e-ILV 17-25-104, photometric distance law.
    """
    return light_factor(-stops / 2)
