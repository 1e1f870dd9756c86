"""Metering points: what happens to readings and aims when a point is moved, renamed, taken out."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import NotFound, OutOfRange, Refused
from server.studio.document import rig_from_document
from server.studio.light import light_matrix
from server.studio.points import (
    MOST_POINTS,
    PRESETS,
    changed_point,
    normal_of,
    point_of,
    pointed,
    presets,
    put_back,
    with_point,
    without_point,
)
from server.studio.readings import Reading
from server.studio.room import Point

NOON = datetime(2026, 1, 1, 12, tzinfo=UTC)
BARE = rig_from_document(
    {
        "room": {"name": "Test"},
        "heads": [
            {"name": "Key", "role": "key"},
            {"name": "Hair", "role": "hair", "address": 2,
             "placement": {"azimuth_deg": 180, "rise_m": 1.2, "aim": "hair"}},
        ],
    }
)  # fmt: skip


def reading(point: str, minute: int, lux: float = 500.0) -> Reading:
    at = NOON + timedelta(minutes=minute)
    return Reading(point, "Key", lux, 1.0, at, BARE.head("Key").placement)


RIG = replace(BARE, readings=(reading("cheek right", 0), reading("chin", 1), reading("hair", 2)))


def test_every_preset_stands_and_is_lit() -> None:
    rig = BARE
    for point in presets(rig):
        rig = with_point(rig, point)
    assert {p.name for p in rig.points} == {p.name for p in PRESETS}
    assert presets(rig) == ()
    light_matrix(rig, 20.0)


def test_presets_on_the_background_hang_where_the_background_hangs() -> None:
    hung = BARE.with_background(2.3)
    assert {p.z for p in presets(hung) if p.name.startswith("background")} == {-2.3}


def test_a_point_under_another_name_takes_its_readings_and_aims_along() -> None:
    change = changed_point(RIG, "hair", replace(point_of(RIG, "hair"), name="crown"))
    assert change.kept_out == ()
    assert [r.point for r in change.rig.readings] == ["cheek right", "chin", "crown"]
    assert change.rig.head("Hair").placement.aim == "crown"
    assert put_back(change.rig, change) == RIG


def test_what_was_read_at_the_old_place_is_kept_out() -> None:
    here = point_of(RIG, "cheek right")
    change = changed_point(RIG, "cheek right", replace(here, x=0.07))
    assert change.kept_out == RIG.readings[:1]
    assert [r.point for r in change.rig.readings] == ["chin", "hair"]
    matrix = light_matrix(change.rig, 0.0)
    assert matrix.source["cheek right"]["Key"] == "predicted"
    assert put_back(change.rig, change) == RIG
    dome = changed_point(RIG, "cheek right", replace(here, receptor="dome"))
    assert dome.kept_out == ()  # flat and dome readings are never mixed anyway


def test_a_point_that_was_metered_since_stays() -> None:
    here = point_of(RIG, "cheek right")
    change = changed_point(RIG, "cheek right", replace(here, x=0.07))
    since = replace(change.rig, readings=(*change.rig.readings, reading("cheek right", 9)))
    with pytest.raises(Refused, match="metered since"):
        put_back(since, change)


def test_a_point_taken_out_and_brought_back() -> None:
    change = without_point(RIG, "cheek right")
    assert change.kept_out == RIG.readings[:1]
    again = with_point(change.rig, replace(change.before, x=0.05))
    assert "cheek right" not in {r.point for r in again.readings}  # never the old readings
    assert put_back(change.rig, change) == RIG
    with pytest.raises(OutOfRange, match="cheek right"):
        put_back(again, change)


@pytest.mark.parametrize(
    ("call", "kind", "said"),
    [
        (lambda: without_point(RIG, "hair"), Refused, "Hair is aimed at hair"),
        (lambda: without_point(RIG, "knee"), NotFound, "knee"),
        (lambda: with_point(RIG, PRESETS[0]), OutOfRange, "cheek right"),
        (lambda: with_point(RIG, Point("far", "face", 0, 0, 0.5, 0, 0, 1)), OutOfRange, "room"),
        (lambda: with_point(RIG, Point("none", "room", 0, 0, 1, 0, 0, 0)), OutOfRange, "normal"),
        (lambda: normal_of(0, 91), OutOfRange, "pointed up"),
    ],
)
def test_what_cannot_be_is_refused(call, kind: type[Exception], said: str) -> None:
    with pytest.raises(kind, match=said):
        call()


def test_the_last_point_on_the_face_stays() -> None:
    rig = RIG
    for name in ("cheek right", "cheek left"):
        rig = without_point(rig, name).rig
    with pytest.raises(OutOfRange, match="at least one on the face"):
        without_point(rig, "forehead")


def test_there_is_an_end_to_them() -> None:
    rig = RIG
    while len(rig.points) < MOST_POINTS:
        rig = with_point(rig, Point(f"p{len(rig.points)}", "room", 1, 0, 0, 0, 0, 1))
    with pytest.raises(Refused, match="64"):
        with_point(rig, Point("one more", "room", 1, 0, 0, 0, 0, 1))


def test_where_a_meter_is_pointed() -> None:
    """By hand: 90 degrees to camera right is +x, straight up is +y, behind is -z."""
    assert normal_of(90, 0) == pytest.approx((1, 0, 0), abs=1e-12)
    assert normal_of(0, 90) == pytest.approx((0, 1, 0), abs=1e-12)
    assert normal_of(180, 0) == pytest.approx((0, 0, -1), abs=1e-12)
    assert pointed((0.77, 0.0, 0.64)) == pytest.approx((50.27, 0), abs=0.01)


@given(st.floats(-179, 179), st.floats(-89, 89))
def test_pointed_is_the_inverse(turn: float, tilt: float) -> None:
    assert pointed(normal_of(turn, tilt)) == pytest.approx((turn, tilt), abs=1e-6)
