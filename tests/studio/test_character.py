"""What a placement means. Lengths by similar triangles and inverse square (ANSI/IES LS-1), worked
by hand: a 150 mm lens at 1.5 m with the background 1.5 m behind the sitter; key f/8 is 64 units,
fill f/5.6 is 32, f/4 is 16.
"""

from dataclasses import replace
from datetime import UTC, datetime
from math import sqrt

import pytest

from server.studio.character import Character, character, even_from_m, moved_stops
from server.studio.document import rig_from_document
from server.studio.light import light_matrix
from server.studio.readings import Reading
from server.studio.rig import Rig

UNIT = 30.0
"""Lux that make one unit: any number, since only ratios are told."""
BEAM = [{"focus": 0.5, "candela": 64 * UNIT * 1.5**2, "beam_deg": 60, "field_deg": 90}]
ON_AXIS = {"azimuth_deg": 0, "rise_m": 0, "distance_m": 1.5}
RIG = rig_from_document(
    {
        "room": {"name": "Test"},
        "points": [
            {"name": "cheek", "on": "face", "x": 0, "y": 0, "z": 0, "nx": 0, "ny": 0, "nz": 1},
            {"name": "background", "on": "room", "x": 0, "y": 0, "z": -1.5,
             "nx": 0, "ny": 0, "nz": 1},
        ],
        "heads": [
            {"name": "Key", "role": "key", "lens_diameter_m": 0.15, "beam": BEAM,
             "placement": ON_AXIS},
            {"name": "Fill", "role": "fill", "address": 2, "beam": BEAM, "placement": ON_AXIS},
        ],
    }
)  # fmt: skip
# the fill is flagged off the background, as the meter says
RIG = replace(
    RIG,
    readings=(
        Reading("background", "Fill", 0.0, 1.0, datetime(2026, 1, 1, tzinfo=UTC),
                RIG.head("Fill").placement),
    ),
)  # fmt: skip
LIT = {"Key": 1.0, "Fill": 0.5}


def moved(rig: Rig, name: str, **changed: float) -> Rig:
    placement = replace(rig.head(name).placement, **changed)
    return rig.standing({name: placement})


def of(rig: Rig, name: str = "Key", outputs: dict[str, float] = LIT) -> Character:
    return character(rig, light_matrix(rig, 0.0), outputs, rig.head(name), 0.0)


def test_a_key_at_a_metre_and_a_half() -> None:
    told = of(RIG)
    assert told.ear_stops == pytest.approx(0.28, abs=0.005)
    assert 1000 * told.nose_edge_m == pytest.approx(2.5, abs=0.01)
    assert told.size_deg == pytest.approx(5.7, abs=0.05)
    assert told.background_stops == pytest.approx(2.0)  # twice as far: two stops
    assert [at.lux for at in told.points] == pytest.approx([64 * UNIT, 16 * UNIT])
    assert [at.all_lux for at in told.points] == pytest.approx([96 * UNIT, 16 * UNIT])


def test_story_20_how_far_the_sitter_may_lean() -> None:
    near, far = of(moved(RIG, "Key", distance_m=1.2)), of(moved(RIG, "Key", distance_m=2.0))
    assert (round(100 * near.lean_m), round(100 * far.lean_m)) == (7, 11)
    assert near.leaning_stops == pytest.approx(0.25, abs=0.005)
    assert far.leaning_stops == pytest.approx(0.15, abs=0.005)


def test_story_21_a_second_sitter_half_a_metre_farther() -> None:
    assert of(RIG).second_face_stops == pytest.approx(0.83, abs=0.005)
    back = of(moved(RIG, "Key", distance_m=3.0))
    assert back.second_face_stops == pytest.approx(0.44, abs=0.006)
    assert back.even_from_m == pytest.approx(2.64, abs=0.01)  # 0.5 / (2**0.25 - 1)
    assert of(moved(RIG, "Key", distance_m=even_from_m(0.5, 0.5))).second_face_stops == (
        pytest.approx(0.5)
    )


def test_story_22_the_background_comes_up_against_the_face() -> None:
    """Lit f/9.8 is 96, the background's f/4 is 16: 2.6 under. The key a stop back, 1.5 to 2.12 m:
    its spill loses only 2 log2(3.62 / 3) = 0.54, so it comes up by half a stop against the face."""
    before, after = of(RIG), of(moved(RIG, "Key", distance_m=1.5 * sqrt(2)))
    assert before.points[1].all_over_lit_stops == pytest.approx(-2.6, abs=0.02)
    change = moved_stops(before, after)
    assert change["cheek"] == pytest.approx(-1.0)
    assert change["background"] == pytest.approx(-0.54, abs=0.005)
    assert change["background"] - change["cheek"] == pytest.approx(0.46, abs=0.005)


def test_a_dark_head_is_told_as_it_would_be_at_full() -> None:
    told = of(RIG, "Key", {"Key": 0.0, "Fill": 0.5})
    assert told.at_full
    assert told.points[0].lux == pytest.approx(64 * UNIT)
    assert told.points[0].over_lit_stops == pytest.approx(1.0)  # 64 against the fill's 32
    dark = of(RIG, "Key", {"Key": 0.0, "Fill": 0.0})
    assert dark.points[0].over_lit_stops is None


@pytest.mark.parametrize(
    ("throw", "percent"), [(0.75, None), (0.7499, 1.0), (0.3, 6.25), (0.15, 25.0)]
)
def test_nearer_than_five_widths_the_square_law_says_too_much(
    throw: float, percent: float | None
) -> None:
    told = of(moved(RIG, "Key", distance_m=throw))
    if percent is None:
        assert told.too_bright is None
    else:
        assert 100 * told.too_bright == pytest.approx(percent, rel=0.01)


def test_no_background_no_figure_and_no_lean_at_arms_length() -> None:
    told = of(moved(replace(RIG, points=RIG.points[:1]), "Key", distance_m=0.1))
    assert told.background_stops is None
    assert told.leaning_stops is None


def test_a_head_behind_is_nearer_to_the_background() -> None:
    told = of(moved(RIG, "Key", azimuth_deg=180.0, distance_m=1.0))
    assert told.background_stops == pytest.approx(-2.0)  # half as far
    assert told.points[0].lux == 0.0  # behind the cheek
