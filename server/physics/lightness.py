"""Equal perceived steps: how light should move so that a fade looks even."""


def between(start: float, end: float, part: float) -> float:
    """Output part-way between two outputs, in equal perceived steps. [1]

    cbrt(output) = cbrt(start) + part (cbrt(end) - cbrt(start))

    Parameters
    ----------
    start, end : float
        Light as a fraction of full. 0..1
    part : float
        How much of the way is done. 0..1

    Returns
    -------
    float
        Output, never beyond the two ends. 0..1

    Notes
    -----
    Stops would be even steps too, but darkness lies infinitely many stops down.

    Examples
    --------
    >>> round(between(0.0, 1.0, 0.5), 6)
    0.125

    References
    ----------
    ISO/CIE 11664-4: lightness L* follows the cube root of the light.
    """
    if part <= 0:
        return start
    if part >= 1:
        return end
    a, b = start ** (1 / 3), end ** (1 / 3)
    low, high = min(start, end), max(start, end)
    return float(min(high, max(low, (a + part * (b - a)) ** 3)))
