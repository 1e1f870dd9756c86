"""What is drawn is what the rig says: the same light at the mark, the same places."""

import json
from dataclasses import replace

import pytest

from server.errors import OutOfRange
from server.paths import DEMO_DATA
from server.physics.beam import Beam, BeamRow
from server.preview.light import at_mark
from server.preview.scene import STAND_INS, Ambient
from server.preview.subject import AMBIENT, keys_of, subject_of
from server.studio import room
from server.studio.document import rig_from_document
from server.studio.light import light_matrix


@pytest.fixture(scope="module")
def rig():
    return rig_from_document(json.loads((DEMO_DATA / "rig.json").read_text("utf-8")))


def test_every_head_gives_the_same_light_at_the_mark_as_the_studio_reckons(rig):
    """Two ways to one figure: the drawing's own formula and the studio's (design: light)."""
    subject = subject_of(rig, 20.0, tuple(h.name for h in rig.heads))
    studio = light_matrix(rig, 20.0).mark
    drawn = {name: at_mark(light) for name, light in subject.lights if name != AMBIENT}
    assert drawn == pytest.approx(studio, rel=1e-4)


def test_the_stand_ins_of_a_rig_are_those_that_can_be_drawn():
    assert tuple(STAND_INS) == room.STAND_INS


def test_the_background_hangs_where_its_point_is(rig):
    assert subject_of(rig, 0.0, ()).scene.background_distance_m == 2.3
    points = tuple(replace(p, z=-2.4) if p.name == "background" else p for p in rig.points)
    assert subject_of(replace(rig, points=points), 0.0, ()).scene.background_distance_m == 2.4
    points = tuple(p for p in rig.points if p.name != "background")
    heads = tuple(h for h in rig.heads if h.placement.aim != "background")
    without = replace(rig, points=points, heads=heads)
    assert subject_of(without, 0.0, ()).scene.background_distance_m == 1.5


def test_the_room_s_own_light_is_one_of_the_lights(rig):
    assert dict(subject_of(rig, 0.0, ()).lights) == {AMBIENT: Ambient(2.0)}


def test_the_key_follows_what_changes_the_picture_and_nothing_else(rig):
    lit = ("Key", "Fill")
    same = subject_of(rig, 0.0, lit).key
    lens = replace(rig.lens, f_number=2.0)
    assert subject_of(replace(rig, lens=lens), 0.0, lit).key == same
    moved = rig.standing({"Key": replace(rig.head("Key").placement, distance_m=2.3)})
    brighter = replace(rig, room=replace(rig.room, ambient_lux=9.0))
    other = replace(rig, sitter=replace(rig.sitter, stand_in="three"))
    keys = {subject_of(r, 0.0, lit).key for r in (rig, moved, brighter, other)}
    assert len(keys | {subject_of(rig, 5.0, lit).key, subject_of(rig, 0.0, ("Key",)).key}) == 6


def test_a_pattern_is_read_from_the_lit_keys_whatever_their_common_level(rig):
    bright = keys_of(rig, 0.0, {"Key": 0.8, "Key side": 0.4, "Fill": 1.0, "Hair": 1.0})
    dim = keys_of(rig, 0.0, {"Key": 0.08, "Key side": 0.04, "Fill": 0.0})
    assert bright is not None
    assert bright == dim
    assert bright.weights == (1.0, 0.5)
    assert len(bright.sources) == 2


def test_without_a_key_what_else_lights_the_face_makes_the_pattern(rig):
    edges = keys_of(rig, 0.0, {"Rim": 0.5, "Hair": 1.0, "Background": 1.0})
    assert edges is not None
    assert len(edges.sources) == 1
    assert keys_of(rig, 0.0, {"Hair": 1.0}) is None
    assert keys_of(rig, 0.0, {}) is None


def test_a_head_that_cannot_be_drawn_says_why(rig):
    needle = (BeamRow(0.5, Beam(9000.0, 0.05, 0.09)),)
    heads = tuple(replace(h, beam=needle) if h.name == "Key" else h for h in rig.heads)
    with pytest.raises(OutOfRange, match="beam_deg must be between"):
        subject_of(replace(rig, heads=heads), 0.0, ("Key",))
    assert keys_of(replace(rig, heads=heads), 0.0, {"Key": 1.0}) is None
