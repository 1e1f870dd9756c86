"""Darker here, lighter here. Numbers in plain units of light; (common practice) for zones."""

from dataclasses import replace
from math import log2
from random import Random

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from server.errors import Refused
from server.studio.document import rig_document, rig_from_document
from server.studio.light import light_matrix
from server.studio.setting import Setting, exact_stops
from server.studio.spot import Spot, spot_change, spot_reading

RIG = rig_from_document(
    {
        "room": {"name": "Test"},
        "heads": [
            {"name": "Key", "role": "key", "placement": {"azimuth_deg": 45, "rise_m": 0.8}},
            {"name": "Fill", "role": "fill", "address": 2, "placement": {"azimuth_deg": -10}},
            {"name": "Hair", "role": "hair", "address": 3,
             "placement": {"azimuth_deg": 180, "rise_m": 1.2}},
        ],
    }
)  # fmt: skip
MATRIX = light_matrix(RIG, 0.0)


def lit(**outputs: float) -> Setting:
    return Setting(stops={name: exact_stops(output) for name, output in outputs.items()})


def test_hair_a_third_darker_moves_the_hair_head_alone() -> None:
    """Hair head 64 and key spill 12 on the spot: 76 becomes 60.3, so the head gives 48.3, which is
    0.41 stop less; the cheeks do not move."""
    spot = Spot({"Hair": 128.0, "Key": 24.0, "Fill": 0.0}, 0.0)
    change = spot_change(RIG, MATRIX, lit(Key=0.5, Fill=0.25, Hair=0.5), spot, -1)
    moved = dict(change.heads)
    assert moved.pop("Hair") / 3 == pytest.approx(-0.41, abs=0.02)
    assert all(abs(thirds) / 3 < 0.02 for thirds in moved.values())
    assert change.got_stops == pytest.approx(-1 / 3, abs=0.01)
    assert not [name for name, _ in change.elsewhere if name.startswith("cheek")]
    assert change.why == ""


def test_what_else_moves_is_told_before_it_is_done() -> None:
    spot = Spot({"Key": 100.0}, 0.0)  # on the cheek that only the key makes
    change = spot_change(RIG, MATRIX, lit(Key=0.5, Fill=0.1, Hair=0.2), spot, 1)
    assert change.got_stops == pytest.approx(1 / 3, abs=0.02)
    assert any(name.startswith("cheek") and stops > 0.1 for name, stops in change.elsewhere)


def test_a_wish_out_of_reach_says_what_is_missing() -> None:
    spot = Spot({"Hair": 100.0}, 0.0)
    change = spot_change(RIG, MATRIX, lit(Key=0.5, Fill=0.25, Hair=0.9), spot, 3)
    assert change.got_stops == pytest.approx(0.152, abs=0.01)  # log2(1 / 0.9)
    assert "Hair at the top" in change.why
    assert "0.2 stop" in change.why
    dim = Spot({"Hair": 1.0}, 10.0)
    with pytest.raises(Refused, match="no lit head"):
        spot_change(RIG, MATRIX, lit(Key=0.5, Fill=0.2, Hair=0.1), dim, -3)
    with pytest.raises(Refused, match="no lit head"):
        spot_change(RIG, MATRIX, Setting(stops={}), spot, 1)


def test_a_spot_s_zone_and_makers() -> None:
    """18 % under the light that prints middle grey is zone V; a stop more is VI."""
    spot = Spot({"Key": 0.18 * 300.0, "Fill": 0.18 * 100.0}, 0.0)
    reading = spot_reading(spot, {"Key": 1.0, "Fill": 1.0}, 400.0, 800.0)
    assert reading.over_grey_stops == pytest.approx(0)
    assert reading.zone == 5
    assert reading.makers == (
        ("Key", pytest.approx(0.75), pytest.approx(-2)),  # a quarter is left
        ("Fill", pytest.approx(0.25), pytest.approx(-0.415, abs=0.001)),
    )
    assert reading.grey_card_lux == pytest.approx(400)
    assert reading.from_lit_stops == pytest.approx(-1)
    assert reading.luminance_cd_m2 == pytest.approx(72 / 3.14159265)
    assert spot_reading(spot, {"Key": 2.0, "Fill": 2.0}, 400.0, 400.0).zone == 6
    assert spot_reading(spot, {}, 400.0, 0.0).over_grey_stops is None


def test_story_24_the_hair_head_alone_makes_a_third_darker_hair() -> None:
    """Hair head 64 and key spill 12 make 76; a third less is 60.3, so the head falls to 48.3,
    0.41 stop, and neither cheek moves. With a hair head that reaches no other point."""
    document = rig_document(RIG)
    for head in document["heads"]:
        head["bits"] = 16
        head["address"] = 1 + 2 * document["heads"].index(head)
    rig = rig_from_document(document)
    matrix = light_matrix(rig, 0.0)
    at = {name: {**row, "Hair": row["Hair"] if name == "hair" else 0.0}
          for name, row in matrix.at.items()}  # fmt: skip
    spot = Spot({"Hair": 128.0, "Key": 24.0, "Fill": 0.0}, 0.0)
    setting = lit(Key=0.5, Fill=0.25, Hair=0.5)
    change = spot_change(rig, replace(matrix, at=at), setting, spot, -1)
    assert [name for name, _ in change.heads] == ["Hair"]
    assert change.heads[0][1] / 3 == pytest.approx(log2((76 * 2 ** (-1 / 3) - 12) / 64), abs=0.005)
    assert change.got_stops == pytest.approx(-1 / 3, abs=0.005)
    assert [name for name, _ in change.elsewhere] in ([], ["hair"])


def test_darker_says_what_stands_in_the_way() -> None:
    setting = lit(Key=0.5, Fill=0.25, Hair=2**-7.9)
    low = spot_change(RIG, MATRIX, setting, Spot({"Hair": 100.0}, 0.0), -3)
    assert "Hair at the lowest" in low.why
    room = spot_change(RIG, MATRIX, lit(Key=0.5, Fill=0.2, Hair=0.5), Spot({"Hair": 10.0}, 9.0), -3)
    assert "room's own light" in room.why
    assert room.got_stops > -1


@pytest.mark.parametrize("seed", range(200))
def test_random_rigs_reach_the_wish_or_say_why(seed: int) -> None:
    """Whatever the rig: the wish is met within a fiftieth of a stop, or the reason is said; never
    out of 0..1; and scipy's bounded least squares finds no answer nearer to the spot's wish."""
    random = Random(seed)
    roles = ["key", "fill", "kicker", "hair", "background"]
    heads = [
        {"name": f"H{i}", "role": random.choice(roles), "bits": 16, "address": 1 + 2 * i,
         "placement": {"azimuth_deg": random.uniform(-180, 180), "rise_m": random.uniform(-0.4, 1),
                       "distance_m": random.uniform(1.2, 3.5)}}
        for i in range(random.randint(2, 9))
    ]  # fmt: skip
    rig = rig_from_document({"room": {"name": "R", "ambient_lux": random.uniform(0, 5)},
                             "heads": heads})  # fmt: skip
    outputs = {h.name: random.uniform(0.05, 1.0) for h in rig.heads}
    setting = Setting({n: exact_stops(o) for n, o in outputs.items()})
    names = list(outputs)
    spot = Spot({n: random.uniform(0, 300) for n in random.sample(names, random.randint(1, 2))},
                random.uniform(0, 3))  # fmt: skip
    thirds = random.choice([-3, -2, -1, 1, 2, 3])
    change = spot_change(rig, light_matrix(rig, 0.0), setting, spot, thirds)
    after = {n: change.setting.output(rig.head(n)) for n in names}
    assert all(0 < o <= 1 for o in after.values())
    got = log2(spot.light(after) / spot.light(outputs))
    if change.why:
        # as near as anything comes: all heads of the spot at their end
        target = spot.light(outputs) * 2 ** (thirds / 3)
        row = np.array([[spot.heads.get(n, 0.0) for n in names]])
        best = lsq_linear(row, [target - spot.ambient], bounds=(0, 1)).x
        reach = log2(spot.light(dict(zip(names, best, strict=True))) / spot.light(outputs))
        assert abs(got - reach) < 0.03
    else:
        assert got == pytest.approx(thirds / 3, abs=0.021)
