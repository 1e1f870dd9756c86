"""Where heads and points are: metres and degrees about the sitter's mark.

Origin: the mark, at eye height. Seen from the camera x runs to camera right, y up, z toward
the camera. Azimuth 0 is on the camera line, positive to camera right, +-180 behind the sitter.
"""

from math import acos, atan2, cos, degrees, hypot, inf, isfinite, radians, sin, sqrt

from server.errors import OutOfRange

Vector = tuple[float, float, float]
MARK: Vector = (0.0, 0.0, 0.0)


def head_position(azimuth_deg: float, distance_m: float, rise_m: float) -> Vector:
    """Position of a head's lens from its placement. [m]

    y = rise;  h = sqrt(distance**2 - rise**2);  x = h sin(azimuth);  z = h cos(azimuth)

    Parameters
    ----------
    azimuth_deg : float
        Round the sitter from the camera line, positive to camera right. [deg], -180..180
    distance_m : float
        Straight line from the lens of the head to the mark. [m], > 0
    rise_m : float
        Lens above the sitter's eyes, negative below. [m], |rise| < distance

    Returns
    -------
    tuple of float, shape (3,)
        x, y, z. [m]

    Raises
    ------
    OutOfRange
        The distance is not positive, or the rise is not smaller than the distance.

    Examples
    --------
    >>> [round(v, 3) for v in head_position(90.0, 2.0, 0.0)]
    [2.0, 0.0, 0.0]

    References
    ----------
    By definition: spherical placement about the mark.
    """
    if not isfinite(distance_m) or distance_m <= 0:
        raise OutOfRange(f"distance_m must be above 0 m, got {distance_m:g}")
    if not abs(rise_m) < distance_m:
        raise OutOfRange(
            f"rise_m must be smaller than the distance of {distance_m:g} m, got {rise_m:g}"
        )
    across = sqrt(distance_m**2 - rise_m**2)
    azimuth = radians(azimuth_deg)
    return (across * sin(azimuth), rise_m, across * cos(azimuth))


def placement_of(position: Vector) -> tuple[float, float, float]:
    """Azimuth, distance and rise of a position: the inverse of `head_position`. [deg, m, m]

    Parameters
    ----------
    position : tuple of float, shape (3,)
        x, y, z of the lens. [m], not the mark itself

    Returns
    -------
    tuple of float, shape (3,)
        Azimuth [deg], straight distance [m], rise [m].

    Raises
    ------
    OutOfRange
        The position is the mark.

    Examples
    --------
    >>> [round(v, 6) for v in placement_of((0.0, 0.0, 2.5))]
    [0.0, 2.5, 0.0]

    References
    ----------
    By definition: spherical placement about the mark.
    """
    x, y, z = position
    distance = length(position)
    if distance == 0:
        raise OutOfRange("a head cannot stand on the mark itself")
    return (degrees(atan2(x, z)), distance, y)


def turned(vector: Vector, yaw_deg: float) -> Vector:
    """A vector fixed to the face, after the sitter turned. [same unit]

    x' = x cos(yaw) + z sin(yaw);  z' = z cos(yaw) - x sin(yaw)

    Parameters
    ----------
    vector : tuple of float, shape (3,)
        Position or normal at full face. [m] or [1]
    yaw_deg : float
        Positive turns the nose to camera right. [deg]

    Returns
    -------
    tuple of float, shape (3,)
        The vector in room coordinates, same unit.

    Examples
    --------
    >>> [round(v, 6) for v in turned((0.0, 0.0, 1.0), 90.0)]     # the nose points camera right
    [1.0, 0.0, 0.0]

    References
    ----------
    By definition: rotation about the y axis.
    """
    x, y, z = vector
    yaw = radians(yaw_deg)
    return (x * cos(yaw) + z * sin(yaw), y, z * cos(yaw) - x * sin(yaw))


def length(vector: Vector) -> float:
    """Length of a vector. [same unit]

    Parameters
    ----------
    vector : tuple of float, shape (3,)

    Returns
    -------
    float
        Length, >= 0, same unit.

    References
    ----------
    By definition: Euclidean norm.
    """
    return hypot(*vector)


def from_to(start: Vector, end: Vector) -> Vector:
    """The vector from one place to another. [m]

    Parameters
    ----------
    start, end : tuple of float, shape (3,)
        Places. [m]

    Returns
    -------
    tuple of float, shape (3,)
        end - start. [m]

    References
    ----------
    By definition: difference of positions.
    """
    return (end[0] - start[0], end[1] - start[1], end[2] - start[2])


def cosine_between(a: Vector, b: Vector) -> float:
    """Cosine of the angle between two vectors. [1]

    Parameters
    ----------
    a, b : tuple of float, shape (3,)
        Not of zero length.

    Returns
    -------
    float
        -1..1.

    Raises
    ------
    OutOfRange
        One of them has no length or is not finite, so there is no angle.

    References
    ----------
    By definition: normalised dot product.
    """
    lengths = length(a) * length(b)
    if not 0 < lengths < inf:
        raise OutOfRange("no angle: a direction has no length or is not finite")
    dot = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return max(-1.0, min(1.0, dot / lengths))


def angle_between_deg(a: Vector, b: Vector) -> float:
    """Angle between two vectors. [deg]

    Parameters
    ----------
    a, b : tuple of float, shape (3,)
        Not of zero length.

    Returns
    -------
    float
        0..180. [deg]

    Raises
    ------
    OutOfRange
        One of them has no length.

    Examples
    --------
    >>> angle_between_deg((1.0, 0.0, 0.0), (0.0, 2.0, 0.0))
    90.0

    References
    ----------
    By definition: normalised dot product.
    """
    return degrees(acos(cosine_between(a, b)))
