"""The signal of a channel: the one place where a level is rounded to bytes."""

from math import floor

from server.errors import OutOfRange

FULL_SCALE = {8: 255, 16: 65535}
# A level that came through a curve and back misses its own half by a few parts in 1e15;
# without this hair, 50 % would send 127 on one head and 128 on the next.
ROUNDING_HAIR = 1e-9


def signal_for(level: float, bits: int = 8) -> tuple[int, ...]:
    """Slot values of a level, coarse first. [slot value 0..255]

    byte = floor(255 level + 0.5);  pair = floor(65535 level + 0.5) as (coarse, fine)

    Parameters
    ----------
    level : float
        Control level of the channel. [1], 0..1
    bits : int
        8 or 16.

    Returns
    -------
    tuple of int, shape (1,) or (2,)
        Slot values.

    Raises
    ------
    OutOfRange
        The level lies outside 0..1 or bits is neither 8 nor 16.

    Examples
    --------
    >>> signal_for(0.5), signal_for(0.5, bits=16)
    ((128,), (128, 0))

    References
    ----------
    ANSI E1.11 (DMX512-A): slot values 0..255; coarse before fine (common practice).
    """
    if not 0 <= level <= 1:
        raise OutOfRange(f"level must lie in 0..1, got {level:g}")
    if bits not in FULL_SCALE:
        raise OutOfRange(f"bits must be 8 or 16, got {bits}")
    number = floor(FULL_SCALE[bits] * level + 0.5 + ROUNDING_HAIR)
    return (number,) if bits == 8 else (number >> 8, number & 255)


def level_of(signal: tuple[int, ...]) -> float:
    """The level that slot values stand for: what the dimmer really got. [1]

    Parameters
    ----------
    signal : tuple of int, shape (1,) or (2,)
        Slot values, coarse first. 0..255 each

    Returns
    -------
    float
        Level. 0..1

    Examples
    --------
    >>> level_of((255,)), level_of((128, 0)) == 32768 / 65535
    (1.0, True)

    References
    ----------
    ANSI E1.11 (DMX512-A): slot values 0..255.
    """
    if len(signal) == 1:
        return signal[0] / FULL_SCALE[8]
    return (signal[0] * 256 + signal[1]) / FULL_SCALE[16]
