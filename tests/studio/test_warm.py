"""How warm heads are, and the studio's own record of their drift."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.studio.drift import NO_DRIFT, Drift, drifts
from server.studio.figures import outputs_of, ratio_of
from server.studio.light import light_matrix
from server.studio.readings import Reading, metered
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops
from server.studio.warm import (
    Warmth,
    followed,
    warm_document,
    warm_from_document,
    woken,
)
from tests.studio.test_readings import metered_rig, rig

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


def after(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


def test_minutes_count_up_while_lit_and_down_while_dark() -> None:
    warm = followed({}, {"Key": True, "Fill": False}, NOON)
    assert set(warm) == {"Key"}
    assert warm["Key"].minutes_at(after(4)) == pytest.approx(4)
    assert followed(warm, {"Key": True, "Fill": False}, after(5)) is warm
    dark = followed(warm, {"Key": False, "Fill": True}, after(12))
    assert dark["Key"].minutes_at(after(15)) == pytest.approx(9)
    assert dark["Key"].minutes_at(after(60)) == 0
    again = followed(dark, {"Key": True, "Fill": True}, after(15))
    assert again["Key"].minutes_at(after(16)) == pytest.approx(10)
    assert again["Fill"].minutes_at(after(16)) == pytest.approx(4)
    assert again["Key"].minutes_at(after(2000)) == 60


def test_a_start_after_a_closed_studio_finds_heads_cold() -> None:
    warm = {"Key": Warmth(NOON, 3.0, True), "Fill": Warmth(NOON, 9.0, False)}
    assert woken(warm, after(5), after(20)) is warm
    cold = woken(warm, after(5), after(900))
    assert cold == {"Key": Warmth(after(900), 0.0, True)}
    assert warm_from_document(warm_document(warm)) == warm


def run(
    head: str, pairs: list[tuple[float, float]], *, start: float = 0.0, full: float = 5000.0,
    point: str = "cheek right",
) -> list[Reading]:  # fmt: skip
    """Readings of one warming-up: (minutes on, stops from `full`)."""
    placement = rig().head(head).placement
    return [
        Reading(point, head, full * 2**stops * 0.25, 0.25, after(start + minutes), placement,
                minutes_on=minutes)
        for minutes, stops in pairs
    ]  # fmt: skip


STORY = [(4.0, 0.0), (8.0, -0.05), (12.0, -0.09), (20.0, -0.12)]


def test_four_minutes_on_and_steady_in_about_sixteen() -> None:
    drift = drifts(run("Key", STORY), {})["Key"]
    assert drift.steady_at - 4 == pytest.approx(16)
    assert drift.to_come(4) == pytest.approx(-0.12)
    assert drift.to_come(10) == pytest.approx(-0.05)  # half way between 8 and 12: -0.07
    assert drift.to_come(30) == 0


def test_the_ratio_would_drift_from_three_to_two_point_eight() -> None:
    """Key f/8 (64), fill f/5.6 (32): 96 : 32. Key -0.12: 64 * 2**-0.12 = 58.9; 90.9 : 32 = 2.84."""
    plain = metered_rig()
    studio = replace(plain, readings=(*plain.readings, *run("Key", STORY)))
    assert studio.drifts["Key"].to_come(4) == pytest.approx(-0.12)
    setting = Setting(stops={"Key": exact_stops(1.0), "Fill": exact_stops(1.0)})
    matrix = light_matrix(plain, 0.0)
    outputs = outputs_of(plain, setting)
    assert ratio_of(plain, matrix, outputs).label == "3:1"
    there = outputs["Key"] * 2 ** studio.drifts["Key"].to_come(4)
    assert ratio_of(plain, matrix, {**outputs, "Key": there}).label == "2.8:1"


def test_a_tungsten_head_settles_at_once() -> None:
    plain = rig()
    lamp = replace(plain.head("Key"), lamp="tungsten")
    studio = replace(
        plain, heads=(lamp, plain.head("Fill")), readings=tuple(run("Key", STORY))
    )  # fmt: skip
    assert studio.drifts == {}
    assert NO_DRIFT.to_come(0) == 0
    assert NO_DRIFT.steady_at == 0


@given(st.floats(2, 15), st.floats(-0.4, 0.4), st.floats(-1, 1))
def test_warming_ups_of_different_light_lie_over_each_other(
    tau: float, size: float, other: float
) -> None:
    """Two mornings with the meter elsewhere: the same first-order lag, another height. What lies
    between two readings is read off a straight line, so both are read at the same minutes."""
    minutes = [0.0, 3.0, 6.0, 12.0, 20.0, 30.0]
    lag = [(m, size * (1 - exp(-m / tau))) for m in minutes]
    second = run("Key", lag[1:], start=3000, full=5000 * 2**other, point="cheek left")
    drift = drifts([*run("Key", lag), *second], {})["Key"]
    assert len(drift.points) == len(minutes)
    for m, stops in lag:
        assert drift.stops(m) == pytest.approx(stops, abs=1e-9)


def test_readings_that_tell_no_drift() -> None:
    moved = run("Key", STORY)
    moved[1:] = [
        replace(r, placement=replace(r.placement, distance_m=3)) for r in moved[1:2]
    ]  # fmt: skip
    assert drifts(moved, {}) == {}
    assert drifts(run("Key", STORY[:1]), {}) == {}
    assert drifts(run("Key", [(4.0, 0.0), (7.0, -0.1)]), {}) == {}  # three minutes: too short
    unknown = [replace(r, minutes_on=None) for r in run("Key", STORY)]
    assert drifts(unknown, {}) == {}


def test_a_cold_reading_is_no_repeat_of_a_warm_one() -> None:
    cold, *_, warm = run("Key", STORY)
    assert metered([cold, warm], {})[warm.pair].count == 1
    again = replace(warm, at=after(21), minutes_on=21.0)
    assert metered([cold, warm, again], {})[warm.pair].count == 2


def test_a_drift_is_flat_outside_what_was_read() -> None:
    drift = Drift(((4.0, 0.0), (20.0, -0.12)))
    assert drift.stops(0) == 0
    assert drift.stops(99) == pytest.approx(-0.12)


def test_drifts_travel_with_the_rig() -> None:
    studio: Rig = replace(rig(), readings=tuple(run("Key", STORY)))
    assert set(studio.drifts) == {"Key"}
