"""From illuminance to f-number: the incident-light exposure equation and the third-stop marks."""

from dataclasses import dataclass
from math import floor, log2, sqrt

from server.errors import OutOfRange

C_FLAT = 250.0
"""Incident calibration constant of a flat receptor. ISO 2720 allows 240..400."""
C_DOME = 320.0
"""Incident calibration constant of a dome. ISO 2720 allows 320..540 (range from memory)."""

# What lens rings and displays print for 2**(k/6), k = 0 .. 36.
F_MARKS = (
    "1", "1.1", "1.2", "1.4", "1.6", "1.8", "2", "2.2", "2.5", "2.8", "3.2", "3.5", "4", "4.5",
    "5", "5.6", "6.3", "7.1", "8", "9", "10", "11", "13", "14", "16", "18", "20", "22", "25", "29",
    "32", "36", "40", "45", "51", "57", "64",
)  # fmt: skip


@dataclass(frozen=True)
class FStop:
    """One third-stop position of a lens: its index, the printed mark and the exact f-number."""

    index: int
    mark: str
    exact: float

    @property
    def label(self) -> str:
        """As photographers write it, `f/5.6`."""
        return f"f/{self.mark}"


def f_stop(index: int) -> FStop:
    """The third-stop mark with this index. [f-number]

    N = 2**(index / 6)

    Parameters
    ----------
    index : int
        Thirds of a stop above f/1. 0..36

    Returns
    -------
    FStop

    Raises
    ------
    OutOfRange
        The index lies outside f/1 .. f/64.

    Examples
    --------
    >>> f_stop(15).label, round(f_stop(15).exact, 3)
    ('f/5.6', 5.657)

    References
    ----------
    By definition: one stop is a factor of sqrt(2) in f-number; printed marks as on lens rings.
    """
    if not 0 <= index < len(F_MARKS):
        raise OutOfRange(f"lenses are marked from f/1 to f/64, got f/{2 ** (index / 6):.2g}")
    return FStop(index, F_MARKS[index], 2.0 ** (index / 6))


def nearest_f_stop(f_number: float) -> FStop:
    """The third-stop mark nearest to an f-number, in stops. [f-number]

    Parameters
    ----------
    f_number : float
        Any f-number; beyond the marks the outermost mark answers. > 0

    Returns
    -------
    FStop

    Raises
    ------
    OutOfRange
        The f-number is not positive.

    Examples
    --------
    >>> nearest_f_stop(9.46).label
    'f/9'

    References
    ----------
    By definition: one stop is a factor of sqrt(2) in f-number.
    """
    if not f_number > 0:
        raise OutOfRange(f"f_number must be above 0, got {f_number:g}")
    index = floor(6 * log2(f_number) + 0.5)
    return f_stop(max(0, min(len(F_MARKS) - 1, index)))


def exact_f_number(marked: float) -> float:
    """The f-number a lens really has when set to a printed mark. [f-number]

    Parameters
    ----------
    marked : float
        As printed, such as 5.6 or 10; a value that no ring prints is taken as exact. > 0

    Returns
    -------
    float
        Exact f-number, 2**(k/6) for a printed mark.

    Notes
    -----
    f/13 is printed for 12.70 (thirds) and for 13.45 (halves); we read it as the third.

    Examples
    --------
    >>> round(exact_f_number(5.6), 3), exact_f_number(9.3)
    (5.657, 9.3)

    References
    ----------
    By definition: marks stand for 2**(k/6).
    """
    if not marked > 0:
        raise OutOfRange(f"f_number must be above 0, got {marked:g}")
    for index, mark in enumerate(F_MARKS):
        if abs(float(mark) - marked) < 1e-9:
            return f_stop(index).exact
    return marked


def f_number_for(
    illuminance_lx: float, iso: float, shutter_s: float, constant: float = C_FLAT
) -> float:
    """The f-number an incident meter shows. [f-number]

    N**2 / t = E S / C

    Parameters
    ----------
    illuminance_lx : float
        Incident light E. [lx], > 0
    iso : float
        ISO arithmetic speed S. > 0
    shutter_s : float
        Exposure time t, taken as written (1/125 is 0.008, not 1/128). [s], > 0
    constant : float
        Calibration constant C: 250 flat, 320 dome. [lx s]

    Returns
    -------
    float
        Exact f-number N.

    Raises
    ------
    OutOfRange
        Any argument is not positive.

    Examples
    --------
    >>> round(f_number_for(1000.0, 400, 1 / 125), 3)
    3.578

    References
    ----------
    ISO 2720:1974, incident-light equation; C = 250 "a typical value for a flat receptor".
    """
    for name, value in (
        ("illuminance", illuminance_lx), ("iso", iso), ("shutter_s", shutter_s), ("C", constant),
    ):  # fmt: skip
        if not value > 0:
            raise OutOfRange(f"{name} must be above 0, got {value:g}")
    return sqrt(illuminance_lx * iso * shutter_s / constant)


def ev100(illuminance_lx: float, constant: float = C_FLAT) -> float:
    """Exposure value at ISO 100 of an incident reading. [EV]

    EV100 = log2(100 E / C)

    Parameters
    ----------
    illuminance_lx : float
        Incident light. [lx], > 0
    constant : float
        Calibration constant C. [lx s]

    Returns
    -------
    float
        EV100.

    Raises
    ------
    OutOfRange
        The light is not positive: darkness has no exposure value.

    Examples
    --------
    >>> ev100(2560.0)
    10.0

    References
    ----------
    ISO 2720:1974; E = 2.5 * 2**EV lux at C = 250.
    """
    if not (illuminance_lx > 0 and constant > 0):
        raise OutOfRange(f"light must be above 0 lx to have an EV, got {illuminance_lx:g}")
    return log2(100.0 * illuminance_lx / constant)


def lux_for(f_number: float, iso: float, shutter_s: float, constant: float = C_FLAT) -> float:
    """The incident light for which a lens setting is right. [lx]

    E = C N**2 / (S t)

    Parameters
    ----------
    f_number : float
        Exact f-number. > 0
    iso : float
        ISO arithmetic speed. > 0
    shutter_s : float
        Exposure time. [s], > 0
    constant : float
        Calibration constant C. [lx s]

    Returns
    -------
    float
        Illuminance. [lx]

    Raises
    ------
    OutOfRange
        Any argument is not positive.

    Examples
    --------
    >>> round(lux_for(4.0, 100, 1 / 125))
    5000

    References
    ----------
    ISO 2720:1974, incident-light equation.
    """
    for name, value in (
        ("f_number", f_number), ("iso", iso), ("shutter_s", shutter_s), ("C", constant),
    ):  # fmt: skip
        if not value > 0:
            raise OutOfRange(f"{name} must be above 0, got {value:g}")
    return constant * f_number**2 / (iso * shutter_s)
