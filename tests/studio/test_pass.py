"""The metering pass: its length, its walk, its pace, and what is left out of it."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations, pairwise
from pathlib import Path

import pytest

from server.errors import OutOfRange, Refused
from server.studio.document import rig_from_document
from server.studio.figures import figures
from server.studio.light import light_matrix
from server.studio.metering import (
    USUAL_READING_S,
    asked_steps,
    expected_room_lux,
    far_stops,
    seconds_a_reading,
    steps,
)
from server.studio.points import PRESETS, same_receptor, with_point
from server.studio.readings import Reading, ambient_read
from server.studio.rig import Rig
from server.studio.room import USUAL_POINTS
from server.studio.setting import Setting, exact_stops
from tests.studio.simulated import Studio
from tests.studio.test_simulated import boathouse

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
DEMO = rig_from_document(json.loads(Path("demo_data/rig.json").read_text()))


def choices() -> Iterator[Rig]:
    """Every eight heads at every three points of the demo that make a rig."""
    for points in combinations(DEMO.points, 3):
        for heads in combinations(DEMO.heads, 8):
            try:
                yield replace(DEMO, points=points, heads=heads)
            except OutOfRange:  # no point on the face, or a head aimed at a point left out
                continue


def test_eight_heads_at_three_points_are_thirty_readings_at_most() -> None:
    """30 readings of 12 s (common practice) are six minutes."""
    counts = [len(steps(rig, 0.0)) for rig in choices()]
    assert len(counts) == 33
    assert max(counts) * USUAL_READING_S <= 6 * 60


def test_the_pass_walks_to_every_point_once_and_begins_there_with_the_rooms_own_light() -> None:
    """So many walks as there are points less one: fewer there cannot be."""
    order = steps(DEMO, 0.0)
    walks = [(a, b) for a, b in pairwise(order) if a.point != b.point]
    assert len(walks) == len(DEMO.points) - 1
    assert order[0].head == ""
    assert all(b.head == "" for _, b in walks)
    assert [s.point for s in order if not s.head] == [p.name for p in DEMO.points]


def test_a_head_that_is_out_is_not_asked_for() -> None:
    out = replace(DEMO, heads=tuple(replace(h, out=h.name == "Fill") for h in DEMO.heads))
    assert "Fill" not in {s.head for s in steps(out, 0.0)}
    assert {s.head for s in steps(out, 0.0)} == {"", *(h.name for h in out.heads if not h.out)}
    asked = [("cheek left", "Fill", False), ("cheek left", "Key high", False)]
    assert [s.head for s in asked_steps(out, 0.0, asked, NOON)] == ["Key high"]


def room_reading(point: str, lux: float, seconds: float = 0.0, receptor: str = "flat") -> Reading:
    return Reading(point, "", lux, 0.0, NOON + timedelta(seconds=seconds), receptor=receptor)


def test_the_rooms_own_light_is_expected_as_at_the_other_points() -> None:
    assert expected_room_lux(DEMO, "hair") == DEMO.room.ambient_lux
    read = tuple(room_reading(p, lux) for p, lux in [("forehead", 5.0), ("background", 3.0),
                                                     ("cheek left", 4.0)])  # fmt: skip
    known = replace(DEMO, readings=read)
    assert expected_room_lux(known, "hair") == 4.0
    assert expected_room_lux(known, "background") == 3.0


def test_too_dark_and_nearly_too_dark_are_the_same_to_a_meter() -> None:
    assert far_stops(0.0, 0.4) == 0.0
    assert far_stops(0.0, 8.0) == -3.0
    assert far_stops(500.0, 0.0) == 0.0  # nothing is known
    assert far_stops(8.0, 2.0) == 2.0


def test_a_shade_is_measured_by_its_head_where_that_reaches() -> None:
    most = {s.pair: s.most_lux for s in steps(DEMO, 0.0) if s.shaded}
    lit = {s.pair[:2]: s.expected_lux for s in steps(DEMO, 0.0) if not s.shaded}
    assert most["cheek right", "Key", True] == lit["cheek right", "Key"] > 100
    assert most["cheek left", "Key", True] == 0.0  # the far cheek gets nothing but bounce of it


def test_the_pace_is_that_of_the_pass_without_its_breaks() -> None:
    assert seconds_a_reading(steps(DEMO, 0.0)) == USUAL_READING_S
    names = [p.name for p in DEMO.points]
    at = [0, 8, 16, 616, 624]  # ten minutes for a coffee
    read = tuple(room_reading(n, 2.0, s) for n, s in zip(names, at, strict=True))
    assert seconds_a_reading(steps(replace(DEMO, readings=read), 0.0)) == 8.0
    table = tuple(replace(r, at=NOON) for r in read)
    assert seconds_a_reading(steps(replace(DEMO, readings=table), 0.0)) == USUAL_READING_S


def test_what_was_too_dark_to_read_is_no_light() -> None:
    head = DEMO.head("Fill")
    dark = Reading("cheek left", "Fill", 0.0, 0.25, NOON, head.placement)
    matrix = light_matrix(replace(DEMO, readings=(dark,)), 0.0)
    assert matrix.at["cheek left"]["Fill"] == 0.0
    assert matrix.source["cheek left"]["Fill"] == "metered"
    assert matrix.at["forehead"] == light_matrix(DEMO, 0.0).at["forehead"]


def test_a_face_point_of_another_receptor_is_no_side_of_the_ratio() -> None:
    """A dome reads more than a flat receptor from the side: it would take the lit side."""
    setting = Setting(stops={"Key": exact_stops(0.5), "Fill": exact_stops(0.2)}, lens=DEMO.lens)
    plain = figures(DEMO, light_matrix(DEMO, 0.0), setting, None).ratio
    nose = replace(USUAL_POINTS[2], name="nose", receptor="dome", nx=0.5, nz=0.87)
    mixed = replace(DEMO, points=(*DEMO.points, nose))
    told = figures(mixed, light_matrix(mixed, 0.0), setting, None)
    light = {p.point.name: p.lux for p in told.points}
    assert light["nose"] > light[plain.lit]
    assert told.ratio == plain
    all_dome = replace(mixed, points=tuple(replace(p, receptor="dome") for p in mixed.points))
    assert figures(all_dome, light_matrix(all_dome, 0.0), setting, None).ratio.lit == "nose"


def test_the_page_keeps_one_receptor_on_the_face_and_lets_other_points_have_their_own() -> None:
    cheek = DEMO.points[0]
    with pytest.raises(Refused, match="a ratio never mixes them"):
        same_receptor(DEMO, replace(cheek, receptor="dome"), cheek)
    background = DEMO.points[-1]
    assert same_receptor(DEMO, replace(background, receptor="dome"), background)
    alone = replace(DEMO, points=(cheek, *DEMO.points[3:]))
    assert same_receptor(alone, replace(cheek, receptor="dome"), cheek)
    chin = next(p for p in PRESETS if p.name == "chin, dome")
    assert with_point(DEMO, same_receptor(DEMO, chin)).side_points == DEMO.side_points


def test_readings_of_the_other_receptor_are_kept_and_count_again_when_it_comes_back() -> None:
    flat = Studio(boathouse(), 3).after_a_pass()
    dome = replace(flat, points=tuple(replace(p, receptor="dome") for p in flat.points))
    assert ambient_read(dome.alike) == {}
    setting = Setting(stops={"Key": exact_stops(0.5)}, lens=DEMO.lens)
    told = figures(dome, light_matrix(dome, 0.0), setting, None)
    assert {p.source for p in told.points} == {"predicted"}
    key = flat.head("Key")
    later = Reading("cheek right", "Key", 900.0, 0.25, NOON + timedelta(days=1), key.placement,
                    receptor="dome")  # fmt: skip
    both = replace(flat, readings=(*flat.readings, later, room_reading("hair", 9.0, 9e4, "dome")))
    assert light_matrix(both, 0.0).at == light_matrix(flat, 0.0).at
    assert ambient_read(both.alike) == ambient_read(flat.alike)
