"""Looks carried to another room keep their light. Plain units: f/8 is 64, f/5.6 is 32.

Throws and losses by the inverse square; oracle of the fit in stops: scipy.optimize.least_squares.
"""

from dataclasses import replace
from math import log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from server.errors import OutOfRange, Refused
from server.studio.carry import carried, paired
from server.studio.document import rig_from_document
from server.studio.light import light_matrix
from server.studio.look import Look
from server.studio.matching import Wish, matched
from server.studio.rig import Lens, Rig
from server.studio.setting import exact_stops

UNIT = 250 / (400 / 125)
HALF = 0.5**0.5


def room(key_m: float, fill_m: float, background: bool = True, name: str = "A") -> Rig:
    """Key square on cheek right and past cheek left, fill on both cheeks alike."""
    cheek = {"on": "face", "x": 0, "y": 0, "z": 0, "ny": 0, "receptor": "flat"}
    beam = [{"focus": 0, "candela": 20000, "beam_deg": 60, "field_deg": 90}]
    wall = {"on": "room", "name": "background", "x": 0, "y": 0, "z": -2, "nx": 0, "ny": 0, "nz": 1}
    heads = [
        {"name": "Key", "role": "key", "address": 1, "beam": beam, "bits": 16,
         "placement": {"azimuth_deg": 90, "distance_m": key_m, "rise_m": 0, "focus": 0}},
        {"name": "Fill", "role": "fill", "address": 3, "beam": beam, "bits": 16,
         "placement": {"azimuth_deg": 0, "distance_m": fill_m, "rise_m": 0, "focus": 0}},
    ]  # fmt: skip
    if background:
        heads.append(
            {"name": "Ground", "role": "background", "address": 5, "beam": beam, "bits": 16,
             "placement": {"azimuth_deg": 110, "distance_m": 2.0, "rise_m": 0, "focus": 0,
                           "aim": "background"}})  # fmt: skip
    points = [
        {**cheek, "name": "cheek right", "nx": HALF, "nz": HALF},
        {**cheek, "name": "cheek left", "nx": -HALF, "nz": HALF},
    ]
    return rig_from_document(
        {"room": {"name": name}, "lens": {"iso": 400, "shutter_s": 1 / 125, "f_number": 10},
         "points": [*points, wall] if background else points, "heads": heads}
    )  # fmt: skip


def look_of(rig: Rig, name: str = "Three to one", **outputs: float) -> Look:
    stops = {h.name: exact_stops(outputs.get(h.name, 0.0)) for h in rig.heads}
    lens = Lens(400, 1 / 125, 10)
    return Look(1, name, stops, {h.name: h.placement for h in rig.heads}, lens, 0.0)


def three_to_one(rig: Rig, share: float) -> Look:
    """Key f/8 and fill f/5.6 in plain units, with the fill at full times `share`."""
    matrix = light_matrix(rig, 0.0)
    key, fill = matrix.at["cheek right"]["Key"], matrix.at["cheek left"]["Fill"]
    lit = 3 * share * fill
    lens = Lens(400, 96 * UNIT / lit / 125, 10)  # lit is f/9.8, as 64 + 32 units are
    return replace(look_of(rig, Key=2 * share * fill / key, Fill=share), lens=lens)


def moved(carry, head: str) -> float:
    was, now = carry.look.stops[head], carry.setting.stops[head]
    return float(was - now)


def test_story_27_levels_move_by_the_throw_and_the_light_stays() -> None:
    """Key 1.5 to 1.9 m is -0.68 stop, fill 2.0 to 1.7 m +0.47: the heads make up for it."""
    here, there = room(1.5, 2.0, background=False), room(1.9, 1.7, background=False, name="B")
    found = carried(three_to_one(here, 0.4), here, there)
    assert found.verdict == "reached"
    assert moved(found, "Key") == pytest.approx(2 * log2(1.9 / 1.5), abs=0.003)
    assert moved(found, "Fill") == pytest.approx(2 * log2(1.7 / 2.0), abs=0.003)
    assert round(moved(found, "Key"), 2) == 0.68
    assert round(moved(found, "Fill"), 2) == -0.47
    assert found.ratio.label == found.before.label == "3:1"
    assert found.lit_stops == pytest.approx(0, abs=0.005)
    assert found.lens.lens.f_number == 10


def test_story_28_a_key_with_half_a_stop_left_takes_all_down_and_the_lens_follows() -> None:
    here, there = room(1.5, 2.0, background=False), room(1.9, 1.7, background=False, name="B")
    matrix = light_matrix(here, 0.0)
    # the key of the look has half a stop left
    share = 2**-0.5 * matrix.at["cheek right"]["Key"] / matrix.at["cheek left"]["Fill"] / 2
    look = three_to_one(here, share)
    assert float(look.stops["Key"]) == pytest.approx(0.5)
    found = carried(look, here, there)
    assert found.verdict == "reached"
    assert found.setting.stops["Key"] == pytest.approx(0, abs=0.002)
    assert found.lit_stops == pytest.approx(0.5 - 2 * log2(1.9 / 1.5), abs=0.005)
    assert round(found.lit_stops, 2) == -0.18
    assert found.ratio.label == "3:1"
    assert found.lens.exact_f_number == pytest.approx(9.2, abs=0.05)
    assert found.setting.lens.f_number == 9
    assert [(s.head, round(s.stops, 2)) for s in found.short] == [("Key", 0.18)]


def test_measured_beats_reckoned() -> None:
    """A key that was metered 0.4 stop over its figures in the new room comes down by as much."""
    from tests.studio.test_readings import read

    here, there = room(1.5, 2.0, background=False), room(1.5, 2.0, background=False, name="B")
    plain = light_matrix(there, 0.0).at["cheek right"]["Key"]
    reading = read(there, "cheek right", "Key", plain / UNIT * 2**0.4)
    found = carried(three_to_one(here, 0.4), here, replace(there, readings=(reading,)))
    assert moved(found, "Key") == pytest.approx(-0.4, abs=0.003)
    assert moved(found, "Fill") == pytest.approx(0, abs=0.003)


outputs = st.floats(0.05, 0.3)
throws = st.floats(1.5, 2.2)


@given(outputs, outputs, throws, throws)
@settings(max_examples=60, deadline=None)
def test_there_and_back_is_the_same_look(
    key: float, fill: float, key_m: float, fill_m: float
) -> None:
    here, there = room(1.8, 1.8, False), room(key_m, fill_m, False, name="B")
    look = look_of(here, Key=key, Fill=fill)
    away = carried(look, here, there)
    assert away.verdict == "reached"
    stand = {h.name: h.placement for h in there.heads}
    kept = replace(look, stops=away.setting.stops, placements=stand)
    back = carried(kept, there, here)
    for name, stops in look.stops.items():
        assert float(back.setting.stops[name]) == pytest.approx(float(stops or 0), abs=1e-4)


def test_a_room_without_a_background_head_says_so_and_keeps_the_face() -> None:
    here, there = room(1.8, 1.8), room(1.8, 1.8, name="B")
    there = replace(there, heads=there.heads[:2])
    look = look_of(here, Key=0.2, Fill=0.1, Ground=0.9)
    found = carried(look, here, there)
    assert [(a.head, a.point) for a in found.absent] == [("Ground", "background")]
    assert found.verdict == "not reached"
    off = dict(found.off)
    assert off["background"] < -1
    # what cannot be reached does not drag the face along
    assert abs(off["cheek right"]) < 1 / 6
    assert abs(off["cheek left"]) < 1 / 6


def test_a_head_too_weak_by_far_is_told_and_does_not_take_all_down() -> None:
    """The ground light 3.5 stops short: the face stays as it was, the missing stops are said."""
    here, there = room(1.8, 1.8), room(1.8, 1.8, name="B")
    weak = there.heads[2]
    row = weak.beam[0]
    weak = replace(weak, beam=(replace(row, beam=replace(row.beam, candela=row.beam.candela
                                                         / 2**4)),))  # fmt: skip
    there = replace(there, heads=(*there.heads[:2], weak))
    found = carried(look_of(here, Key=0.2, Fill=0.1, Ground=2**-0.5), here, there)
    assert [s.head for s in found.short] == ["Ground"]
    assert found.short[0].stops == pytest.approx(3.5, abs=0.1)
    assert found.short[0].point == "background"
    assert found.lit_stops == pytest.approx(0, abs=0.1)
    assert found.ratio.value == pytest.approx(found.before.value, rel=0.06)


@pytest.mark.parametrize(("name", "short"), [("Key", 1.5), ("Ground", 1.5)])
def test_the_lens_opens_for_key_and_fill_further_than_for_an_edge_of_light(
    name: str, short: float
) -> None:
    """A key 1.5 stops short takes all down by as much; a background head is only told."""
    here, there = room(1.8, 1.8), room(1.8, 1.8, name="B")
    weak = there.head(name)
    row = weak.beam[0]
    beam = replace(row.beam, candela=row.beam.candela / 2**short)
    weak = replace(weak, beam=(replace(row, beam=beam),))
    heads = tuple(weak if h.name == name else h for h in there.heads)
    outputs = {"Key": 0.3, "Fill": 0.1, "Ground": 0.3} | {name: 1.0}
    found = carried(look_of(here, **outputs), here, replace(there, heads=heads))
    assert [(s.head, s.carried) for s in found.short] == [(name, name == "Key")]
    assert found.short[0].stops == pytest.approx(short, abs=0.05)
    assert found.down_stops == pytest.approx(short if name == "Key" else 0.0, abs=0.05)
    assert (found.verdict == "reached") == (name == "Key")


def test_heads_are_paired_by_name_and_role_then_by_role() -> None:
    here, there = room(1.8, 1.8), room(1.8, 1.8, name="B")
    names = {"Key": "Big one", "Fill": "Fill", "Ground": "Floor"}
    there = replace(there, heads=tuple(replace(h, name=names[h.name]) for h in there.heads))
    assert paired(here, there) == {"Key": "Big one", "Fill": "Fill", "Ground": "Floor"}
    look = look_of(here, Key=0.2, Fill=0.1, Ground=0.3)
    assert carried(look, here, there).verdict == "reached"
    with pytest.raises(OutOfRange, match="both"):
        carried(look, here, there, {"Fill": "Big one"})


def test_a_head_that_is_out_stands_for_nobody() -> None:
    here, there = room(1.8, 1.8), room(1.8, 1.8, name="B")
    there = replace(there, heads=(*there.heads[:2], replace(there.heads[2], out=True)))
    found = carried(look_of(here, Key=0.2, Fill=0.1, Ground=0.3), here, there)
    assert [a.head for a in found.absent] == ["Ground"]
    assert found.setting.stops["Ground"] is None
    with pytest.raises(OutOfRange, match="Ground is out"):
        carried(look_of(here, Key=0.2), here, there, {"Ground": "Ground"})
    # in the room the look comes from it gave its light all the same
    back = carried(look_of(here, Key=0.2, Fill=0.1, Ground=0.3), there, here)
    assert back.setting.stops["Ground"] is not None


def test_what_cannot_be_carried_is_said() -> None:
    here, there = room(1.8, 1.8), room(1.8, 1.8, name="B")
    with pytest.raises(Refused, match="dark"):
        carried(look_of(here), here, there)
    dome = replace(there, points=tuple(replace(p, receptor="dome") for p in there.points))
    with pytest.raises(Refused, match="never mixed"):
        carried(look_of(here, Key=0.2), here, dome)
    none = {"Key": None, "Fill": None, "Ground": None}
    with pytest.raises(Refused, match="stands for"):
        carried(look_of(here, Key=0.2), here, there, none)


@pytest.mark.parametrize("seed", range(200))
def test_the_fit_in_stops_is_as_near_as_scipy_comes(seed: int) -> None:
    """Some wishes are out of reach, some heads end at full, some rooms have light of their own.

    Oracle: least_squares with its "huber" loss, from the outputs that made the light and from
    what was found. The same bend of a sixth of a stop; a wish of weight 1 counts twice.
    """
    random = np.random.default_rng(seed)
    heads = int(random.integers(2, 8))
    points = heads + int(random.integers(0, 6))
    light = random.exponential(1.0, (points, heads)) + 0.05
    real = random.uniform(0.1, 1.6, heads)
    room_light = random.uniform(0, 0.2, points) * (seed % 2)
    lux = (room_light + light @ real) * 2 ** random.uniform(-0.5, 0.5, points)
    twice = random.integers(1, 3, points)
    wishes = [
        Wish(row.tolist(), float(a), float(t), 0.5 * float(n))
        for row, a, t, n in zip(light, room_light, lux, twice, strict=True)
    ]
    found = np.array(matched(wishes, []))
    rows = np.repeat(np.arange(points), twice)

    def off(x: np.ndarray) -> np.ndarray:
        return np.log2(np.maximum((light @ x + room_light) / lux, 1e-9))[rows]

    def cost(x: np.ndarray) -> float:
        e = np.abs(off(x))
        return float(np.sum(np.where(e <= 1 / 6, e**2, e / 3 - 1 / 36)))

    best = min(
        cost(least_squares(off, start, bounds=(0, 1), loss="huber", f_scale=1 / 6,
                           xtol=1e-12, ftol=1e-14, gtol=1e-14).x)
        for start in (np.clip(real, 0.01, 0.99), np.clip(found, 1e-6, 1 - 1e-6))
    )  # fmt: skip
    assert all(0 <= x <= 1 for x in found)
    assert cost(found) <= best * (1 + 5e-3) + 1e-6


def test_without_wishes_the_outputs_go_where_they_are_held() -> None:
    assert matched([], [([1.0, 0.0], 0.4), ([0.0, 1.0], 2.0)]) == pytest.approx((0.4, 1.0))
    assert matched([], []) == ()
