"""The camera as the meter: spots of known light, times what skin and wall reflect, come back."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from server.errors import Refused
from server.studio.by_camera import by_camera, camera_readings
from server.studio.light import light_matrix
from server.studio.readings import Reading
from server.studio.rig import Rig
from tests.studio.test_carry import room

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
SKIN, WALL, CAMERA = 0.34, 0.3, 1.7
"""Reflectances, and a camera whose calibration is off by so much: one reading takes it all out."""


def studio() -> tuple[Rig, dict[str, dict[str, float]]]:
    """The rig, and what is really there: the key 0.3 stop over its figures."""
    rig = room(1.8, 1.8)
    real = {p: {h: lux * (2**0.3 if h == "Key" else 1.0) for h, lux in row.items()}
            for p, row in light_matrix(rig, 0.0).at.items()}  # fmt: skip
    return rig, real


def seen(real: dict[str, dict[str, float]]) -> dict[str, dict[str, float]]:
    return {
        point: {
            h: lux * CAMERA * (WALL if point == "background" else SKIN) for h, lux in row.items()
        }
        for point, row in real.items()
    }


def read(rig: Rig, real: dict[str, dict[str, float]], *pairs: tuple[str, str]) -> Rig:
    found = tuple(
        Reading(p, h, 0.25 * real[p][h], 0.25, NOON, rig.head(h).placement) for p, h in pairs
    )
    return replace(rig, readings=(*rig.readings, *found))


def stood(rig: Rig):
    return {h.name: h.placement for h in rig.heads}


def test_one_reading_makes_the_whole_face_known() -> None:
    rig, real = studio()
    rig = read(rig, real, ("cheek right", "Fill"))
    told = by_camera(rig, seen(real), stood(rig))
    lux = {(p.point, p.head): p.camera_lux for p in told.pairs}
    assert lux[("cheek right", "Key")] == pytest.approx(real["cheek right"]["Key"])
    assert lux[("cheek left", "Fill")] == pytest.approx(real["cheek left"]["Fill"])
    assert told.unknown == ("background",)  # another surface
    assert told.agreement == ()  # one reading agrees with itself
    assert ("cheek left", "Key") not in lux  # no light there, nothing to tell


def test_its_readings_make_the_figures_those_of_the_room() -> None:
    rig, real = studio()
    rig = read(rig, real, ("cheek right", "Fill"), ("background", "Ground"))
    told = by_camera(rig, seen(real), stood(rig))
    whole = replace(rig, readings=(*rig.readings,
                                   *camera_readings(rig, told, stood(rig), 0.0, NOON)))  # fmt: skip
    matrix = light_matrix(whole, 0.0)
    for point, row in real.items():
        for head, lux in row.items():
            assert matrix.at[point][head] == pytest.approx(lux, rel=1e-6, abs=1e-6)
    assert matrix.source["cheek right"]["Key"] == "metered"


def test_agreement_with_the_meter_is_told_pair_by_pair() -> None:
    rig, real = studio()
    off = {
        **real,
        "cheek left": {**real["cheek left"], "Fill": real["cheek left"]["Fill"] * 2**0.2},
    }
    rig = read(rig, off, ("cheek right", "Fill"), ("cheek left", "Fill"))
    told = by_camera(rig, seen(real), stood(rig))
    # the scale lies half-way between the two readings, so each is a tenth off
    stops = {p.point: p.off_stops for p in told.agreement}
    assert stops == pytest.approx({"cheek right": 0.1, "cheek left": -0.1})


def test_a_reading_of_a_head_that_stood_elsewhere_does_not_count() -> None:
    rig, real = studio()
    rig = read(rig, real, ("cheek right", "Fill"))
    elsewhere = {**stood(rig), "Fill": replace(rig.head("Fill").placement, distance_m=3.0)}
    assert by_camera(rig, seen(real), elsewhere).unknown == ("the face", "background")
    dome = replace(rig, points=tuple(replace(p, receptor="dome") for p in rig.points))
    with pytest.raises(Refused, match="dome"):
        by_camera(dome, seen(real), stood(rig))
