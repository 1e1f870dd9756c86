"""What stands on a hand meter in words, and how far off a reading may be before it is asked about.

Tenths of a stop counted up from the whole stop below, 0..9: as hand meters show them (common
practice). EV: colour-hdri as oracle. E = C N**2 / (S t), C 250: ISO 2720:1974.
"""

import re
import warnings
from datetime import UTC, datetime
from math import log2

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.studio.head import Placement
from server.studio.readings import Reading, lux_of_meter
from server.studio.room import Meter
from server.web.meter_kept import Kept
from server.web.meter_words import (
    expected_words,
    far_words,
    left_words,
    meter_words,
    stand_in_words,
    typed_words,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it misses matplotlib, which we do not need
    from colour_hdri import illuminance_to_exposure_value

F8 = 250 * 64 * 125 / 400
"""What f/8 at ISO 400, 1/125 stands for. [lx]"""


def f(lux: float) -> str:
    return meter_words(lux, Kept("f"), Meter(), "flat").removesuffix(" at ISO 400, 1/125")


@pytest.mark.parametrize(
    ("stops", "says"),
    [(0.0, "f/8"), (0.1, "f/8 and 1 tenth"), (0.9, "f/8 and 9 tenths"), (0.94, "f/8 and 9 tenths"),
     (0.96, "f/11"), (-0.1, "f/5.6 and 9 tenths"), (-1.0, "f/5.6"), (1.5, "f/11 and 5 tenths")],
)  # fmt: skip
def test_tenths_count_up_from_the_whole_stop_below(stops: float, says: str) -> None:
    assert f(F8 * 2**stops) == says


@given(st.floats(250 * 125 / 400, 200_000))  # f/1: what is darker is told in lux
def test_an_f_number_is_shown_as_a_meter_shows_it(lux: float) -> None:
    mark, tenths = re.fullmatch(r"f/([\d.]+)(?: and (\d) tenths?)?", f(lux)).groups()
    back = lux_of_meter("f", float(mark), meter=Meter(), receptor="flat", iso=400,
                        shutter_s=1 / 125, tenths=float(tenths or 0))  # fmt: skip
    assert abs(log2(back / lux)) <= 0.05 + 1e-9


@given(st.floats(1, 20_000), st.sampled_from(["100", "400", "1600"]))
def test_ev_is_shown_as_colour_hdri_says(lux: float, iso: str) -> None:
    told = meter_words(lux, Kept("ev", iso), Meter(), "flat").replace("−", "-")
    value, set_to = re.fullmatch(r"EV (-?[\d.]+) at ISO (\d+)", told).groups()
    assert float(value) == pytest.approx(float(illuminance_to_exposure_value(lux, float(iso))),
                                         abs=0.0501)  # fmt: skip
    assert set_to == iso


def test_what_no_stop_is_marked_for_is_told_in_lux_and_once() -> None:
    assert f(20.0) == "20 lux"
    assert meter_words(0.0, Kept("f"), Meter(), "flat") == "too dark to read"
    assert expected_words(0.3, Kept("f"), Meter(), "flat") == "hardly anything, 0.3 lux"
    assert expected_words(0.0, Kept(), Meter(), "flat") == ""


def read(head: str, lux: float, shaded: bool = False) -> Reading:
    at = datetime(2026, 5, 1, 12, tzinfo=UTC)
    placed = Placement() if head else None
    return Reading("hair", head, lux, 0.25 if head else 0.0, at, placed, shaded=shaded)


@pytest.mark.parametrize(
    ("head", "stops", "asked"),
    [("Key", 0.99, False), ("Key", 1.01, True), ("Key", -0.99, False), ("Key", -1.01, True),
     ("", 1.99, False), ("", 2.01, True), ("", -1.99, False), ("", -2.01, True)],
)  # fmt: skip
def test_a_head_is_asked_about_beyond_one_stop_and_the_room_beyond_two(
    head: str, stops: float, asked: bool
) -> None:
    said = far_words(read(head, 100 * 2**stops), 100.0)
    assert bool(said) is asked
    assert not asked or f"{abs(stops):.1f} stops {'over' if stops > 0 else 'under'}" in said


def test_nothing_where_it_is_bright_and_more_than_can_be_are_asked_about() -> None:
    assert "reads nothing" in far_words(read("Key", 0.0), 500.0)
    assert far_words(read("Key", 0.0), 1.5) == ""
    assert "half of the heads" in far_words(read("", 300.0), 0.0, most_lux=250.0)
    assert far_words(read("", 200.0), 0.0, most_lux=250.0) == ""
    assert "more in its shade" in far_words(read("Key", 300.0, True), 0.0, most_lux=250.0)
    assert far_words(read("Key", 200.0, True), 9.0, most_lux=250.0) == ""


def test_which_way_the_stand_in_faces_and_how_much_is_left() -> None:
    assert stand_in_words(0.0) == "The stand-in faces the camera."
    assert stand_in_words(-15.0) == "The stand-in’s nose is turned 15° to camera left."
    assert left_words(14, 12.0) == "14 left, about 3 minutes"
    assert left_words(1, 12.0) == "1 left, about 1 minute"


def test_the_key_beside_a_question_says_what_was_typed() -> None:
    assert typed_words(Kept("f"), "5.6", "9", False) == "f/5.6 and 9 tenths"
    assert typed_words(Kept("lux"), "812", "9", False) == "812 lux"
    assert typed_words(Kept(), "", "", True) == "“too dark to read”"


@pytest.mark.parametrize("text", ["", "|", "f|0|1/125|1||", "f|400|soon|1||", "x|400|1/125|1||",
                                  "f|400|1/125|one||", "f|400|1/125|1|noon|"])  # fmt: skip
def test_what_a_device_brings_that_makes_no_sense_is_forgotten(text: str) -> None:
    assert Kept.of(text) == Kept()
    there = Kept("f", "1600", "1/60", 3, "2026-05-01T12:00:00+00:00", ("ab12", "cd34"))
    assert Kept.of(there.text) == there
