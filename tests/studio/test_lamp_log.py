"""Another lamp: readings of the one before count on, looks keep their light, the log is kept.

One head, plain figures: 9000 cd on the axis at 3 m give 1000 lx at full.
"""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange, Refused
from server.preview.light import at_mark
from server.preview.subject import subject_of
from server.studio.document import rig_document, rig_from_document
from server.studio.history import History, LiveRecord, Step
from server.studio.lamps import LampChange, gained_since, hours_since, renamed_lamps, unread
from server.studio.light import light_matrix
from server.studio.readings import Reading
from server.studio.relamp import Correction, new_lamp
from server.studio.rig import Rig
from server.studio.setting import Origin, Setting
from server.web.contract import RigDocument

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
RIG = rig_from_document(
    {
        "room": {"name": "Plain"},
        "points": [
            {"name": "front", "on": "face", "x": 0, "y": 0, "z": 0, "nx": 0, "ny": 0, "nz": 1},
            {"name": "up", "on": "face", "x": 0, "y": 0, "z": 0, "nx": 0, "ny": 1, "nz": 1},
        ],
        "heads": [
            {"name": "Key", "role": "key",
             "beam": [{"focus": 0.5, "candela": 9000, "beam_deg": 60, "field_deg": 90}],
             "placement": {"azimuth_deg": 0, "distance_m": 3, "rise_m": 0}},
            {"name": "Fill", "role": "fill", "address": 2},
        ],
    }
)  # fmt: skip
KEY = RIG.head("Key")


def changed(hours: float, stops: float | None = None) -> LampChange:
    return LampChange("Key", NOON + timedelta(hours=hours), 800, 0, "", stops, "front")


def read(lux: float, hours: float = 0.0) -> Reading:
    """A reading of the key alone at half output."""
    return Reading("front", "Key", lux, 0.5, NOON + timedelta(hours=hours), KEY.placement)


def with_(lamps: tuple[LampChange, ...] = (), readings: tuple[Reading, ...] = ()) -> Rig:
    return replace(RIG, lamps=lamps, readings=readings)


def front(rig: Rig) -> tuple[float, str]:
    matrix = light_matrix(rig, 0.0)
    return matrix.at["front"]["Key"], matrix.source["front"]["Key"]


def test_figures_follow_the_lamps_whether_metered_or_not() -> None:
    assert front(with_()) == (pytest.approx(1000.0), "predicted")
    # a stop brighter: twice the light, at the mark too; no other head is touched
    brighter = with_((changed(1, 1.0),))
    assert front(brighter) == (pytest.approx(2000.0), "predicted")
    assert light_matrix(brighter, 0.0).mark["Key"] == pytest.approx(2000.0)
    assert light_matrix(brighter, 0.0).at["front"]["Fill"] == pytest.approx(
        light_matrix(RIG, 0.0).at["front"]["Fill"]
    )
    # read 400 lx at half output: 800 at full; then a lamp that is a stop brighter: 1600
    assert front(with_((), (read(400),)))[0] == pytest.approx(800.0)
    assert front(with_((changed(1, 1.0),), (read(400),))) == (pytest.approx(1600.0), "metered")
    assert light_matrix(with_((changed(1, 1.0),), (read(400),)), 0.0).mark["Key"] == (
        pytest.approx(1600.0)
    )
    # read again afterwards: that reading is of the new lamp already
    assert front(with_((changed(1, 1.0),), (read(700, hours=2),)))[0] == pytest.approx(1400.0)
    # two changes: half a stop and half a stop make one
    twice = with_((changed(1, 0.5), changed(3, 0.5)), (read(400),))
    assert front(twice)[0] == pytest.approx(1600.0)


def test_until_it_is_read_a_new_lamp_is_not_trusted() -> None:
    assert front(with_((changed(1),), (read(400),))) == (pytest.approx(800.0), "moved")
    assert front(with_((changed(1),), (read(700, hours=2),)))[1] == "metered"


def test_the_drawn_face_has_the_new_lamp_too() -> None:
    lit = dict(subject_of(with_((changed(1, 1.0),)), 0.0, ("Key",)).lights)["Key"]
    assert at_mark(lit) == pytest.approx(2000.0, rel=1e-4)


def test_one_reading_tells_how_much_brighter_the_lamp_is() -> None:
    """Half output, 459.5 lx: 919 at full, log2(919 / 800) = 0.2000 stop over the metered 800."""
    rig = with_((changed(1),), (read(400),))
    lamp = new_lamp(rig, Setting({"Key": Fraction(1), "Fill": None}), KEY, "front", 459.5, 0.5)
    assert (lamp.stops, lamp.was_metered) == (Fraction(1, 5), True)
    # readings of the new lamp itself say nothing of the old one
    rig = with_((changed(1),), (read(400), read(459.5, hours=2)))
    assert new_lamp(rig, Setting(), KEY, "front", 459.5, 0.5).stops == Fraction(1, 5)
    assert not new_lamp(with_(), Setting(), KEY, "front", 500, 0.5).was_metered
    moved = replace(KEY, placement=replace(KEY.placement, distance_m=3.5))
    assert not new_lamp(rig, Setting(), moved, "front", 459.5, 0.5).was_metered


def test_no_lamp_is_off_by_so_much() -> None:
    with pytest.raises(OutOfRange, match=r"\+3\.3 stops"):
        new_lamp(with_(), Setting(), KEY, "front", 5000, 0.5)
    with pytest.raises(Refused, match="no light"):
        new_lamp(with_(), Setting(), KEY, "front", 0, 0.5)


@given(below=st.fractions(0, 10, max_denominator=300), hundredths=st.integers(-300, 300))
def test_there_and_back_is_the_same_where_nothing_was_held(
    below: Fraction, hundredths: int
) -> None:
    there = Correction("Key", Fraction(hundredths, 100), Fraction(10))
    back = replace(there, stops=-there.stops)
    after = there.of(below)
    assert 0 <= after <= 10
    if not there.missing(below):
        assert back.of(after) == below
    else:
        assert after in (0, 10)


def test_a_look_that_was_held_comes_back_as_it_was() -> None:
    """A lamp 0.3 stop weaker, a look at a tenth below full: it goes to full, 0.2 is missing."""
    weaker = Correction("Key", Fraction(-3, 10), Fraction(10))
    tenth = Fraction(1, 10)
    assert (weaker.of(tenth), weaker.missing(tenth)) == (0, Fraction(1, 5))
    back = Correction("Key", Fraction(3, 10), Fraction(10), {7: tenth})
    held = Setting({"Key": Fraction(0), "Fill": Fraction(1)})
    assert back.setting(held, 7).stops == {"Key": tenth, "Fill": Fraction(1)}
    assert back.setting(held, 8).stops["Key"] == Fraction(3, 10)
    since = Setting({"Key": Fraction(2)})  # kept anew meanwhile: no longer what it was held to
    assert back.setting(since, 7).stops["Key"] == Fraction(23, 10)


def test_every_step_back_is_corrected_and_dark_heads_stay_dark() -> None:
    lit = {"Key": Fraction(1), "Fill": Fraction(2)}
    origin = Origin(4, "look", lit)
    steps = (Step(1, Setting({"Key": None, "Fill": Fraction(2)})), Step(2, Setting(lit)))
    record = LiveRecord(History(steps, 1), good=Setting(lit, origin=origin))
    after = record.corrected(Correction("Key", Fraction(1, 5), Fraction(10)))
    assert [s.setting.stops["Key"] for s in after.history.steps] == [None, Fraction(6, 5)]
    assert after.good is not None
    assert not after.good.changed
    assert after.good.stops["Fill"] == Fraction(2)


def test_the_log_goes_out_and_comes_in_again() -> None:
    rig = with_((changed(1, -0.25), replace(changed(3), held=((4, "1/10"),))), (read(400),))
    document = json.loads(json.dumps(rig_document(rig)))
    again = rig_from_document(RigDocument.model_validate(document).model_dump())
    assert again == rig
    assert json.loads(json.dumps(rig_document(again))) == document
    assert [c.head for c in renamed_lamps(rig.lamps, {"Key": "Big"})] == ["Big", "Big"]
    assert unread(rig.lamps, "Key") == rig.lamps[1]
    assert unread(rig.lamps[:1], "Key") is None
    assert gained_since(rig.lamps, "Fill") == 1.0


def test_hours_are_those_since_the_last_change_of_the_lamp() -> None:
    log = (replace(changed(1), counted=100.0), replace(changed(5), counted=130.5, same_lamp=True))
    assert hours_since(log, "Key", 142.0) == 42.0
    assert hours_since(log, "Fill", 7.0) == 7.0
    assert hours_since(log, "Key", 3.0) == 0.0  # another studio's counter


@pytest.mark.parametrize(
    "wrong", [{"hours": -1.0}, {"hours": float("nan")}, {"stops": 9.0}, {"note": "x" * 201},
              {"head": ""}, {"at": datetime(2026, 5, 1)}],
)  # fmt: skip
def test_a_line_that_cannot_be_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(OutOfRange):
        replace(changed(1), **wrong)
