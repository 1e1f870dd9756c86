"""Nudges commute and come back to the very byte; more heads never darken; keeping holds."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.live.engine import Engine
from server.live.null import NullOutput
from server.studio.document import rig_from_document
from server.studio.figures import outputs_of
from server.studio.mix import thirds_text
from server.studio.rig import Rig
from server.studio.setting import signal


def rig(curve: str, bits: int) -> Rig:
    head = {"curve": curve, "bits": bits}
    return rig_from_document(
        {
            "room": {"name": "Test"},
            "heads": [
                {"name": "Key", "role": "key", "address": 1, **head},
                {"name": "Fill", "role": "fill", "address": 3, **head,
                 "placement": {"azimuth_deg": 0}},
                {"name": "Rim", "role": "rim", "address": 5, **head,
                 "placement": {"azimuth_deg": 150}},
            ],
        }
    )  # fmt: skip


def engine(curve: str, bits: int, percents: dict[str, float]) -> Engine:
    made = Engine(rig(curve, bits), NullOutput(), lambda change: None)
    made.set_levels(percents)
    return made


def bytes_of(made: Engine) -> list[tuple[int, ...]]:
    now = made.now()
    return [signal(h, now.setting.output(h)) for h in now.rig.heads]


CURVES = st.sampled_from(["linear", "square", "s-curve"])
BITS = st.sampled_from([8, 16])
MIDDLE = st.floats(40, 60)


@settings(deadline=None, max_examples=60)
@given(CURVES, BITS, MIDDLE, MIDDLE, st.permutations([1, 1, 1, -1, -1, -1]))
def test_thirds_up_and_down_in_any_order_end_at_the_very_byte(curve, bits, key, fill, thirds):
    made = engine(curve, bits, {"Key": key, "Fill": fill})
    # room for three thirds up is needed, or full ends the way: begin a stop down
    made.nudge(role="key", thirds=-3)
    before = bytes_of(made)
    for step in thirds:
        _, result = made.nudge(role="key", thirds=step)
        assert result.missing_stops == 0
    assert bytes_of(made) == before


@settings(deadline=None, max_examples=40)
@given(CURVES, MIDDLE, MIDDLE, st.integers(-3, 0), st.integers(-3, 0))
def test_nudges_of_two_roles_commute(curve, key, fill, first, second):
    one, other = (engine(curve, 8, {"Key": key, "Fill": fill}) for _ in range(2))
    one.nudge(role="key", thirds=first)
    one.nudge(role="fill", thirds=second)
    other.nudge(role="fill", thirds=second)
    other.nudge(role="key", thirds=first)
    assert one.now().setting.stops == other.now().setting.stops


@settings(deadline=None, max_examples=40)
@given(MIDDLE, MIDDLE, st.floats(1, 100))
def test_another_head_never_darkens_a_point(key, fill, rim):
    made = engine("square", 8, {"Key": key, "Fill": fill})
    before = [p.lux for p in made.now().figures.points]
    after = made.set_levels({"Rim": rim}).figures.points
    assert all(p.lux >= b for p, b in zip(after, before, strict=True))


@settings(deadline=None, max_examples=40)
@given(CURVES, MIDDLE, MIDDLE, st.sampled_from([-3, -2, -1, 1, 2, 3]))
def test_keep_exposure_leaves_the_lit_side_and_never_passes_full(curve, key, fill, thirds):
    made = engine(curve, 8, {"Key": key, "Fill": fill})
    before = made.now().figures.ratio.lit_lux
    now, _ = made.nudge(role="fill", thirds=thirds, keep="exposure")
    assert now.figures.ratio.lit_lux == pytest.approx(before, rel=1e-9)
    assert all(0 <= o <= 1 for o in outputs_of(now.rig, now.setting).values())


@pytest.mark.parametrize(
    ("thirds", "text"), [(1, "▲⅓"), (-2, "▼⅔"), (3, "▲1"), (-4, "▼1⅓"), (0.0, ""), (1.4, "~▲⅓")]
)
def test_thirds_in_words(thirds: float, text: str) -> None:
    assert thirds_text(thirds) == text
