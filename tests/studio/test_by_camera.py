"""The camera as the meter: spots of known light, times what skin and wall reflect, come back."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from server.errors import Refused
from server.studio.by_camera import by_camera, camera_readings
from server.studio.document import reading_document, reading_from_document
from server.studio.light import light_matrix
from server.studio.readings import METERED_STOPS, Reading
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops
from server.studio.trust import trust_of
from server.studio.unsure import CAMERA_STOPS
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
    assert matrix.source["cheek right"]["Key"] == "camera"
    assert matrix.source["cheek right"]["Fill"] == "metered"


def test_the_camera_never_agrees_with_itself() -> None:
    rig, real = studio()
    rig = read(rig, real, ("cheek right", "Fill"))
    first = by_camera(rig, seen(real), stood(rig))
    kept = camera_readings(rig, first, stood(rig), 0.0, NOON)
    assert {r.by for r in kept} == {"camera"}
    again = by_camera(replace(rig, readings=(*rig.readings, *kept)), seen(real), stood(rig))
    assert again.agreement == ()
    assert again.new == ()  # all of it is kept already
    assert [p.camera_lux for p in again.pairs] == [p.camera_lux for p in first.pairs]
    # an old document knows of no camera; a new one keeps who read it
    old = {k: v for k, v in reading_document(kept[0]).items() if k != "by"}
    assert reading_from_document(old).by == "meter"
    assert reading_from_document(reading_document(kept[0])) == kept[0]


def test_what_the_camera_told_by_one_reading_is_off_with_it() -> None:
    """Against drawn lots: the meter's tenth is common to all pairs of the face, so that it is in
    the lit side whole and in the ratio not at all; each spot's own error is in both."""
    rig, real = studio()
    rig = read(rig, real, ("cheek right", "Fill"))
    kept = camera_readings(rig, by_camera(rig, seen(real), stood(rig)), stood(rig), 0.0, NOON)
    known = replace(rig, readings=(*rig.readings, *kept))
    setting = Setting(stops={"Key": exact_stops(1.0), "Fill": exact_stops(1.0)}, lens=rig.lens)
    trust = trust_of(known, light_matrix(known, 0.0), setting, {})
    assert trust is not None
    lots = np.random.default_rng(5)
    meter = lots.normal(0, METERED_STOPS, 100_000)
    spot = lots.normal(0, CAMERA_STOPS, (2, 100_000))
    right, left = real["cheek right"], real["cheek left"]
    lit = right["Key"] * 2 ** (meter + spot[0]) + right["Fill"] * 2**meter
    shadow = left["Fill"] * 2 ** (meter + spot[1])
    assert trust.lit_stops == pytest.approx(np.std(np.log2(lit)), rel=0.02)
    dark = next(t for t in trust.terms if t.pair == ("cheek left", "Key", True))
    both = np.hypot(np.std(np.log2(lit / shadow)), dark.ratio)  # bounce was not read at all
    assert trust.ratio_stops == pytest.approx(both, rel=0.02)


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
