"""Lengths as they are typed. A foot is 0.3048 m, an inch 25.4 mm (agreement of 1959, exact); the
metres beside each are worked by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.studio.tape import UNITS, length_words, metres_of, short_words


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("7' 4 1/2\"", 2.2479),  # 88.5 in
        ("7'4.5\"", 2.2479),
        ("7′ 4½″", 2.2479),
        ("7 ft 4 1/2 in", 2.2479),
        ("7' 4-1/2\"", 2.2479),
        ("7ft 4in", 2.2352),  # 88 in
        ("7 Feet 4 inches", 2.2352),
        ("7'4", 2.2352),
        ("88 in", 2.2352),
        ("7'", 2.1336),
        ("7.5 ft", 2.286),
        ("½ in", 0.0127),
        ("7 ft ⅜ in", 2.143125),
        ("7''", 0.1778),  # two marks are inches
        ("2.24 m", 2.24),
        ("2,24 m", 2.24),
        ("224 cm", 2.24),
        ("  2240mm ", 2.24),
        ("− 0,3 m", -0.3),
        ("-1' 2\"", -0.3556),
        ("0 m", 0.0),
    ],
)
@pytest.mark.parametrize("units", UNITS)
def test_what_says_its_unit_means_the_same_everywhere(text: str, metres: float, units: str) -> None:
    assert metres_of("distance", text, units) == pytest.approx(metres, abs=1e-9)


def test_a_bare_number_is_in_the_rooms_own_unit() -> None:
    assert metres_of("distance", "7.5", "m") == 7.5
    assert metres_of("distance", "7.5", "ft") == pytest.approx(2.286)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "must be like"),
        ("7 4", "must be like"),
        ("2 m 24", "must be like"),
        ("7' m", "must be like"),
        ("1e3", "must be like"),
        ("nan", "must be like"),
        ("٣", "must be like"),
        ("9" * 60, "must be like"),
        ("4½", "must be like"),
        ('"', "must be like"),
        ("7' 12\"", "12 inches are a foot"),
        ("7.5' 4\"", "feet must be whole"),
        ("4 3/5 in", "no mark of a tape"),
        ("4 5/4\"", "no mark of a tape"),
        ("7'41/2\"", "no mark of a tape"),
        ("4.5 1/2 in", "not both"),
        ("101 m", "at most 100 m"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_with_the_reason(text: str, said: str) -> None:
    with pytest.raises(OutOfRange, match="distance") as refused:
        metres_of("distance", text, "m")
    assert said in str(refused.value)


def test_lengths_in_words() -> None:
    """2.2 m are 86.61 in, to the quarter 7 ft 2½ in."""
    assert length_words(2.2, "ft") == "7 ft 2½ in"
    assert length_words(2.2479, "ft") == "7 ft 4½ in"
    assert length_words(0.3048 * 12, "ft") == "12 ft 0 in"
    assert length_words(0.3047, "ft") == "1 ft 0 in"
    assert length_words(-0.01, "ft") == "−½ in"
    assert length_words(0.0, "ft") == "0 in"
    assert length_words(2.2, "m") == "2.20 m"
    assert length_words(-0.9, "m") == "−0.90 m"
    assert length_words(-0.001, "m") == "0.00 m"
    assert (short_words(0.067, "m"), short_words(0.067, "ft")) == ("7 cm", "2¾ in")  # 2.64 in


@given(st.floats(-99, 99), st.sampled_from(UNITS))
def test_what_is_shown_can_be_typed_back(metres: float, units: str) -> None:
    coarse = 0.005 if units == "m" else 0.0254 / 8
    assert metres_of("rise", length_words(metres, units), units) == pytest.approx(
        metres, abs=coarse + 1e-9
    )


@given(st.text(max_size=30))
def test_no_text_makes_anything_but_a_length_or_a_reason(text: str) -> None:
    try:
        metres = metres_of("distance", text, "ft")
    except OutOfRange:
        return
    assert abs(metres) <= 100
