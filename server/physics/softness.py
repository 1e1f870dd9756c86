"""How soft a source is, how fast its light falls off, and how far a sitter may lean."""

from math import atan, degrees, log2

from server.errors import OutOfRange


def _above_zero(name: str, value: float) -> None:
    if not value > 0:
        raise OutOfRange(f"{name} must be above 0 m, got {value:g}")


def penumbra_m(source_m: float, source_to_edge_m: float, edge_to_surface_m: float) -> float:
    """Width of the soft edge of a shadow. [m]

    w = D b / a

    Parameters
    ----------
    source_m : float
        Width D of the source as the edge sees it. [m], > 0
    source_to_edge_m : float
        From the source to what throws the shadow, a. [m], > 0
    edge_to_surface_m : float
        From there to where the shadow falls, b. [m], > 0

    Returns
    -------
    float
        [m]

    Raises
    ------
    OutOfRange
        A length is not above 0.

    Examples
    --------
    >>> round(1000 * penumbra_m(0.9, 1.2, 0.02), 1)
    15.0

    References
    ----------
    By definition: similar triangles.
    """
    _above_zero("source_m", source_m)
    _above_zero("source_to_edge_m", source_to_edge_m)
    _above_zero("edge_to_surface_m", edge_to_surface_m)
    return source_m * edge_to_surface_m / source_to_edge_m


def apparent_size_deg(source_m: float, distance_m: float) -> float:
    """How large a source looks from the sitter: large is soft. [deg]

    2 atan(D / 2a)

    Parameters
    ----------
    source_m : float
        Width D of the source. [m], > 0
    distance_m : float
        From the sitter to the source, a. [m], > 0

    Returns
    -------
    float
        [deg], 0..180

    Raises
    ------
    OutOfRange
        A length is not above 0.

    Examples
    --------
    >>> round(apparent_size_deg(0.2, 2.0), 1)
    5.7

    References
    ----------
    By definition: the angle under which the source is seen.
    """
    _above_zero("source_m", source_m)
    _above_zero("distance_m", distance_m)
    return 2 * degrees(atan(source_m / (2 * distance_m)))


def falloff_stops(distance_m: float, deeper_m: float) -> float:
    """Light lost by standing so much farther from a source. [stop]

    2 log2((d + s) / d)

    Parameters
    ----------
    distance_m : float
        From the source to the nearer place. [m], > 0
    deeper_m : float
        How much farther away the other place is. [m], > -distance_m

    Returns
    -------
    float
        [stop], above 0 when the other place is farther

    Raises
    ------
    OutOfRange
        A place lies on or behind the source.

    Examples
    --------
    >>> round(falloff_stops(1.5, 0.15), 3)
    0.275

    References
    ----------
    ANSI/IES LS-1: inverse-square law; within 1 % from five times the source's width.
    """
    _above_zero("distance_m", distance_m)
    _above_zero("distance_m + deeper_m", distance_m + deeper_m)
    return 2 * log2((distance_m + deeper_m) / distance_m)


def lean_m(distance_m: float, stops: float) -> float:
    """How far one may lean toward a source until it gives so much more light. [m]

    d (1 - 2**(-stops / 2))

    Parameters
    ----------
    distance_m : float
        From the source. [m], > 0
    stops : float
        What is tolerated. [stop], > 0

    Returns
    -------
    float
        [m]

    Raises
    ------
    OutOfRange
        A value is not above 0.

    Examples
    --------
    >>> round(lean_m(1.2, 1 / 6), 3), round(lean_m(2.0, 1 / 6), 3)
    (0.067, 0.112)

    References
    ----------
    ANSI/IES LS-1: inverse-square law, solved for the distance.
    """
    _above_zero("distance_m", distance_m)
    if not stops > 0:
        raise OutOfRange(f"stops must be above 0, got {stops:g}")
    return distance_m * (1 - 2 ** (-stops / 2))


def inverse_square_excess(source_m: float, distance_m: float) -> float:
    """How much too bright the inverse-square law makes a wide, near source. [1]

    r**2 / d**2,  from  E = pi L r**2 / (r**2 + d**2)  for an even disc seen square on

    Parameters
    ----------
    source_m : float
        Diameter 2 r of the source. [m], > 0
    distance_m : float
        From the source, d. [m], > 0

    Returns
    -------
    float
        Share of the true light by which the law says too much. [1]

    Raises
    ------
    OutOfRange
        A length is not above 0.

    Notes
    -----
    0.01 at five diameters, which is the rule of thumb in numbers. A lensed head with an image of
    its lamp elsewhere departs from this: a reading is better.

    Examples
    --------
    >>> inverse_square_excess(0.3, 1.5), inverse_square_excess(0.3, 0.6)
    (0.01, 0.0625)

    References
    ----------
    Foote, Illumination from a radiating disk, Bull. Bureau of Standards 12 (1915) 583; IES
    definition "inverse square law": within 1 % from five times the largest dimension.
    """
    _above_zero("source_m", source_m)
    _above_zero("distance_m", distance_m)
    return (source_m / (2 * distance_m)) ** 2
