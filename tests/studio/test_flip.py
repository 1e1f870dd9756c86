"""A look turned round, and half-way. Where a rig is its own mirror image, the answer is known."""

from dataclasses import replace
from itertools import pairwise
from math import log2
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import Refused
from server.studio.document import rig_from_document
from server.studio.figures import outputs_of, ratio_of
from server.studio.flip import flipped, mirror_of
from server.studio.light import light_matrix
from server.studio.mix import mixed
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops


def mirrored_rig(both: bool = True) -> Rig:
    """A key on either side, a fill on the camera line."""

    def head(name: str, role: str, address: int, azimuth: float) -> dict[str, Any]:
        stand = {"azimuth_deg": azimuth, "distance_m": 2, "rise_m": 0.6}
        return {"name": name, "role": role, "address": address, "bits": 16, "placement": stand}

    heads = [head("Right", "key", 1, 40), head("Fill", "fill", 3, 0)]
    if both:
        heads.append(head("Left", "key", 5, -40))
    return rig_from_document({"room": {"name": "Test"}, "heads": heads})


def lit(yaw_deg: float = 0.0, **outputs: float) -> Setting:
    return Setting({n: exact_stops(o) for n, o in outputs.items()}, yaw_deg=yaw_deg)


@pytest.mark.parametrize("yaw", [0.0, 20.0])
def test_where_both_sides_have_a_key_the_other_one_takes_over(yaw: float) -> None:
    rig = mirrored_rig()
    setting = lit(yaw, Right=0.5, Fill=0.2, Left=0.0)
    found = flipped(rig, setting)
    then = outputs_of(rig, found.setting)
    assert found.reached
    assert found.off == ()
    assert found.setting.yaw_deg == -yaw
    assert then["Left"] == pytest.approx(0.5, rel=0.01)
    assert then["Right"] < 0.01
    assert then["Fill"] == pytest.approx(0.2, rel=0.02)
    assert found.then.value == pytest.approx(found.was.value, rel=0.02)
    back = flipped(rig, found.setting)
    assert outputs_of(rig, back.setting)["Right"] == pytest.approx(0.5, rel=0.02)


def test_without_a_head_for_it_the_missing_stops_are_said() -> None:
    rig = mirrored_rig(both=False)
    found = flipped(rig, lit(Right=0.5, Fill=0.1))
    assert not found.reached
    assert any(abs(stops) > 0.5 for _, stops in found.off)


def test_points_mirror_each_other() -> None:
    rig = mirrored_rig()
    by_name = {p.name: p for p in rig.points}
    assert mirror_of(by_name["cheek right"], rig.points) == by_name["cheek left"]
    assert mirror_of(by_name["forehead"], rig.points) == by_name["forehead"]


def test_darkness_cannot_be_turned_round() -> None:
    with pytest.raises(Refused, match="dark"):
        flipped(mirrored_rig(), lit())


def test_story_32_half_way_in_stops_between_three_and_nine_to_one() -> None:
    """Key 64; fill 32 (3:1) and fill 8 (9:1): half-way in stops is fill 16, 5:1."""
    cheek = {"on": "face", "x": 0, "y": 0, "z": 0, "ny": 0, "receptor": "flat"}
    half = 0.5**0.5
    rig = rig_from_document(
        {"room": {"name": "Test"},
         "points": [{**cheek, "name": "cheek right", "nx": half, "nz": half},
                    {**cheek, "name": "cheek left", "nx": -half, "nz": half}],
         "heads": [{"name": "Key", "role": "key", "bits": 16,
                    "placement": {"azimuth_deg": 90, "distance_m": 2, "rise_m": 0}},
                   {"name": "Fill", "role": "fill", "address": 3, "bits": 16,
                    "placement": {"azimuth_deg": 0, "distance_m": 2, "rise_m": 0}}]}
    )  # fmt: skip
    matrix = light_matrix(rig, 0)
    unit = matrix.at["cheek left"]["Fill"] / 64
    key = 64 * unit / matrix.at["cheek right"]["Key"]
    three, nine = lit(Key=key, Fill=0.5), lit(Key=key, Fill=0.125)
    for setting, label in ((three, "3:1"), (nine, "9:1"), (mixed(rig, three, nine, 0.5), "5:1")):
        assert ratio_of(rig, matrix, outputs_of(rig, setting)).label == label


@pytest.mark.parametrize("part", [0.1, 0.5, 0.8])
def test_a_key_that_hands_over_to_its_like_leaves_the_face_as_it_was(part: float) -> None:
    """Two lamps in one place, one goes as the other comes: light adds, so the sum stays."""
    rig = mirrored_rig()
    one = rig.heads[0]
    twin = replace(one, name="Twin", address=200)
    rig = replace(rig, heads=(one, twin))
    there = mixed(rig, lit(**{one.name: 0.5}), lit(Twin=0.5), part)
    outputs = outputs_of(rig, there)
    assert outputs[one.name] + outputs["Twin"] == pytest.approx(0.5, rel=1e-6)
    assert outputs["Twin"] == pytest.approx(part * 0.5, rel=1e-6)


@given(st.lists(st.floats(0.02, 1.0), min_size=3, max_size=3), st.integers(2, 8))
@settings(max_examples=100, deadline=None)
def test_a_walk_goes_in_equal_steps_of_stops(outputs: list[float], steps: int) -> None:
    rig = mirrored_rig()
    names = [h.name for h in rig.heads]
    start, end = lit(**dict.fromkeys(names, 0.5)), lit(**dict(zip(names, outputs, strict=True)))
    for name, output in zip(names, outputs, strict=True):
        way = [mixed(rig, start, end, k / steps).stops[name] for k in range(steps + 1)]
        sizes = {float(b - a) for a, b in pairwise(way)}
        assert max(sizes) - min(sizes) < 1e-9
        assert float(way[-1]) == pytest.approx(-log2(output), abs=1e-9)
