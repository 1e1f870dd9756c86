"""Darker here, lighter here. Numbers in plain units of light; (common practice) for zones."""

import pytest

from server.errors import Refused
from server.studio.document import rig_from_document
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
    reading = spot_reading(spot, {"Key": 1.0, "Fill": 1.0}, 400.0)
    assert reading.over_grey_stops == pytest.approx(0)
    assert reading.zone == 5
    assert reading.makers == (("Key", pytest.approx(0.75)), ("Fill", pytest.approx(0.25)))
    assert reading.luminance_cd_m2 == pytest.approx(72 / 3.14159265)
    assert spot_reading(spot, {"Key": 2.0, "Fill": 2.0}, 400.0).zone == 6
    assert spot_reading(spot, {}, 400.0).over_grey_stops is None
