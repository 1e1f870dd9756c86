"""Illuminance on a point of the sitter: inverse square, receptor, scrims."""

from server.errors import OutOfRange
from server.physics.stops import light_factor


def flat_response(cosine: float) -> float:
    """Response of a flat receptor to a ray. [1]

    g = max(0, cos phi)

    Parameters
    ----------
    cosine : float
        Cosine of the angle between the receptor's normal and the ray to the light. -1..1

    Returns
    -------
    float
        0..1; a ray from behind adds nothing.

    Examples
    --------
    >>> flat_response(0.5), flat_response(-0.2)
    (0.5, 0.0)

    References
    ----------
    Lambert's cosine law; CIE e-ILV 17-25-104.
    """
    return max(0.0, cosine)


def dome_response(cosine: float) -> float:
    """Response of a hemispherical (dome) receptor to a ray. [1]

    g = (1 + cos phi) / 2

    Parameters
    ----------
    cosine : float
        Cosine of the angle between the dome's axis and the ray to the light. -1..1

    Returns
    -------
    float
        0..1; half for light from the side, nothing from straight behind.

    Examples
    --------
    >>> dome_response(1.0), dome_response(0.0)
    (1.0, 0.5)

    References
    ----------
    By definition: the projected area of a hemisphere, the cardioid response named beside the
    constant C for domes in ISO 2720 (from memory).
    """
    return (1.0 + cosine) / 2.0


def illuminance_lx(
    intensity_cd: float, distance_m: float, response: float = 1.0, scrim_stops: float = 0.0
) -> float:
    """Illuminance that one head gives a receptor. [lx]

    E = I g 2**(-scrim stops) / d**2

    Parameters
    ----------
    intensity_cd : float
        Luminous intensity toward the receptor, after dimming. [cd], >= 0
    distance_m : float
        Lens to receptor along the ray. [m], > 0
    response : float
        Response of the receptor to this direction. [1], 0..1
    scrim_stops : float
        Wire scrims in the head. [stop], >= 0

    Returns
    -------
    float
        Illuminance. [lx]

    Raises
    ------
    OutOfRange
        The distance is not positive, or intensity or scrims are negative.

    Notes
    -----
    Within 1 % for a source whose largest dimension is at most a fifth of the distance.

    Examples
    --------
    >>> illuminance_lx(9000.0, 3.0)
    1000.0

    References
    ----------
    CIE e-ILV 17-25-104, photometric distance law; IES definition "inverse square law".
    """
    if not distance_m > 0:
        raise OutOfRange(f"distance must be above 0 m, got {distance_m:g}")
    if not intensity_cd >= 0:
        raise OutOfRange(f"intensity cannot be negative, got {intensity_cd:g} cd")
    if not scrim_stops >= 0:
        raise OutOfRange(f"scrims cannot add light, got {scrim_stops:g} stops")
    return intensity_cd * response * light_factor(-scrim_stops) / distance_m**2
