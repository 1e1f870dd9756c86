"""What a carried look is missing, and the ways to it. Each way is walked, and the look reached.

Throws by the inverse-square law (d = d0 * 2**(-stops / 2)); scrims in stops add; the peak candela
between two focus rows is interpolated in its logarithm, as design of the beam rows has it.
"""

from dataclasses import replace
from math import log2

import pytest

from server.physics.beam import Beam, BeamRow
from server.studio.carry import Carry, Short, carried
from server.studio.light import light_matrix
from server.studio.missing import instead_of_the_lens, remedies, stood_as_there
from server.studio.readings import Reading
from server.studio.rig import Rig
from tests.studio.simulated import NOON
from tests.studio.test_carry import look_of, room, three_to_one


def short_of_key(here: Rig, there: Rig, left: float = 0.5):
    """Story 28: the key of the look has half a stop left, and needs 0.68 more."""
    matrix = light_matrix(here, 0.0)
    share = 2**-left * matrix.at["cheek right"]["Key"] / matrix.at["cheek left"]["Fill"] / 2
    return three_to_one(here, share)


def changed(rig: Rig, name: str, **placement: object) -> Rig:
    return rig.standing({name: replace(rig.head(name).placement, **placement)})


def pair(**there: object) -> tuple[Rig, Rig]:
    a, b = room(1.5, 2.0, background=False), room(1.9, 1.7, background=False, name="B")
    return a, changed(b, "Key", **there) if there else b


def test_story_28_six_per_cent_nearer_or_iso_500_instead() -> None:
    here, there = pair()
    found = carried(short_of_key(here, there), here, there)
    assert found.down_stops == pytest.approx(2 * log2(1.9 / 1.5) - 0.5, abs=0.005)
    assert [r.text for r in instead_of_the_lens(found)] == ["ISO 500, and the lens stays f/10"]
    ways = {r.kind: r for r in remedies(found.short[0], there, 0.0)}
    nearer = ways["distance"].placement
    assert nearer.distance_m == pytest.approx(1.5 * 2**0.25, abs=0.002)
    assert ways["distance"].text == "Key 6 % nearer: 1.78 m from the mark, not 1.90 m"
    again = carried(found.look, here, there.standing({"Key": nearer}))
    assert again.verdict == "reached"
    assert again.down_stops == pytest.approx(0, abs=0.002)
    assert again.setting.lens == found.look.lens


def test_the_smallest_scrim_that_is_enough_comes_out() -> None:
    here, there = pair(scrims=(1.0, 0.5))
    look = short_of_key(here, there, left=1.7)
    found = carried(look, here, there)
    missing = 2 * log2(1.9 / 1.5) + 1.5 - 1.7
    assert found.short[0].stops == pytest.approx(missing, abs=0.005)
    scrim = remedies(found.short[0], there, 0.0)[0]
    assert scrim.text == "Key: the scrim of 0.5 stop out"
    assert scrim.placement.scrims == (1.0,)
    assert scrim.missing_stops == 0
    again = carried(look, here, there.standing({"Key": scrim.placement}))
    assert again.verdict == "reached"
    assert again.short == ()


def test_scrims_that_are_not_enough_say_what_they_leave() -> None:
    _, there = pair(scrims=(0.5,))
    scrim = remedies(Short("Key", 1.3, "cheek right"), there, 0.0)[0]
    assert scrim.missing_stops == pytest.approx(0.8)
    assert scrim.text == "Key: the scrim of 0.5 stop out, which leaves 0.8 stop"


def test_toward_spot_by_the_candela_of_the_beam_rows() -> None:
    """80,000 cd spotted, 10,000 flooded: three stops over the whole travel, the lens on axis."""
    _, there = pair()
    rows = (BeamRow(0, Beam(80000.0, 60.0, 90.0)), BeamRow(1, Beam(10000.0, 60.0, 90.0)))
    key = replace(there.heads[0], beam=rows)
    key = replace(key, placement=replace(key.placement, focus=0.8))
    there = replace(there, heads=(key, *there.heads[1:]))
    ways = {r.kind: r for r in remedies(Short("Key", 0.6, "cheek right"), there, 0.0)}
    assert ways["focus"].placement.focus == pytest.approx(0.8 - 0.6 / 3, abs=0.001)
    assert ways["focus"].text == "Key toward spot: 60 % of the way to flood"


def test_a_background_head_goes_nearer_to_what_it_lights_not_to_the_sitter() -> None:
    rig = room(1.8, 1.8)
    ways = {r.kind: r for r in remedies(Short("Ground", 1.0, "background"), rig, 0.0)}
    ground, new = rig.head("Ground").placement, ways["distance"].placement
    was = sum((a - b) ** 2 for a, b in zip(ground.position_m, (0, 0, -2), strict=True)) ** 0.5
    now = sum((a - b) ** 2 for a, b in zip(new.position_m, (0, 0, -2), strict=True)) ** 0.5
    assert now == pytest.approx(was * 2**-0.5, abs=0.002)  # along its axis: the same angle
    assert "from background" in ways["distance"].text


def test_what_no_stand_gets_needs_another_head() -> None:
    _, there = pair()
    ways = remedies(Short("Key", 5.0, "cheek right"), there, 0.0)
    assert [w.kind for w in ways] == ["stronger"]
    assert ways[0].text == "a head 32.0 times as strong in its place"


@pytest.mark.parametrize("weaker", [2.5, 3.1, 4.0])
def test_a_fill_too_weak_by_far_is_told_within_a_tenth(weaker: float) -> None:
    """Fill at full in the look, and a fill of 2**-n of its candela in the other room."""
    here, there = room(1.8, 1.8), room(1.8, 1.8, name="B")
    fill = there.head("Fill")
    beam = replace(fill.beam[0].beam, candela=20000 * 2**-weaker)
    fill = replace(fill, beam=(BeamRow(0, beam),))
    there = replace(there, heads=(there.heads[0], fill, there.heads[2]))
    found = carried(look_of(here, Key=0.4, Fill=1.0, Ground=0.3), here, there)
    assert [s.head for s in found.short] == ["Fill"]
    assert found.short[0].stops == pytest.approx(weaker, abs=0.1)
    assert found.verdict == "not reached"
    # and what the shadow side then really misses is in the list of points
    off = dict(found.off)
    assert off["cheek left, in the key's shadow"] == pytest.approx(-weaker, abs=0.1)


def test_a_missing_fill_is_told_at_the_shadow_side() -> None:
    here, there = room(1.8, 1.8, background=False), room(1.8, 1.8, background=False, name="B")
    there = replace(there, heads=there.heads[:1])
    found = carried(look_of(here, Key=0.4, Fill=0.4), here, there)
    assert [(a.head, a.point) for a in found.absent] == [("Fill", "cheek left")]
    assert found.verdict == "not reached"
    assert dict(found.off)["cheek left"] < -3


def test_no_background_head_says_what_the_background_misses() -> None:
    """Only the key's spill is left there: the stops between the two sums of light."""
    here, there = room(1.8, 1.8), room(1.8, 1.8, name="B")
    there = replace(there, heads=there.heads[:2])
    look = look_of(here, Key=0.2, Fill=0.1, Ground=0.9)
    found = carried(look, here, there)
    matrix = light_matrix(here, 0.0).at["background"]
    spill = 0.2 * matrix["Key"] + 0.1 * matrix["Fill"]
    missing = log2(spill / (spill + 0.9 * matrix["Ground"]))
    assert [(a.head, a.point) for a in found.absent] == [("Ground", "background")]
    assert dict(found.off)["background"] == pytest.approx(missing, abs=0.1)
    assert found.absent[0].lux == pytest.approx(0.9 * matrix["Ground"])


def test_a_key_that_stands_elsewhere_is_told_to_stand_as_it_stood_there() -> None:
    here, there = room(1.8, 1.8, background=False), room(1.8, 1.8, background=False, name="B")
    there = changed(there, "Key", azimuth_deg=20)
    carry = Carry(here, there)
    found = carry.carried(look_of(here, Key=0.3, Fill=0.1))
    assert found.verdict == "not reached"
    remedy, rest = stood_as_there(carry, found)
    assert remedy.text.startswith("Key as it stood there: 90° to camera right, 1.80 m")
    assert rest < 0.05
    placed = there.standing({"Key": remedy.placement})
    assert Carry(here, placed).carried(found.look).verdict == "reached"
    assert stood_as_there(carry, carry.carried(look_of(here, Fill=0.3))) is None


def test_what_was_read_of_other_heads_changes_no_way() -> None:
    here, there = pair()
    short = carried(short_of_key(here, there), here, there).short[0]
    fill, key = (there.head(name).placement for name in ("Fill", "Key"))
    of_key = Reading("cheek right", "Key", 90.0, 0.25, NOON, key, 0.0, "flat")
    of_fill = Reading("cheek right", "Fill", 333.0, 0.25, NOON, fill, 0.0, "flat")
    known = replace(there, readings=(of_key,))
    more = replace(there, readings=(of_key, of_fill))
    assert remedies(short, more, 0.0) == remedies(short, known, 0.0)
    assert light_matrix(more, 0.0) != light_matrix(known, 0.0)
