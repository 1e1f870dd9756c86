"""The engine's fades: no jump on a new tap, no flinch, nothing before the first light."""

from dataclasses import replace

import pytest

from server.live.engine import Engine
from server.live.output import OutputStatus, Timeline
from server.studio.document import rig_from_document


class Recorder:
    """A `LightOutput` that remembers what it was asked to play."""

    def __init__(self) -> None:
        self.played: list[Timeline] = []

    def play(self, timeline: Timeline) -> None:
        self.played.append(timeline)

    def shown(self) -> dict[int, bytes]:
        return {}

    def status(self) -> OutputStatus:
        return OutputStatus("none", False)

    def stop(self, *, terminate: bool = True) -> None:
        """Nothing to end."""


class Clock:
    """A clock that stands until it is moved. [s]"""

    now = 100.0

    def __call__(self) -> float:
        return self.now


RIG = rig_from_document(
    {"room": {"name": "Test"}, "heads": [{"name": "Key", "role": "key"},
     {"name": "Fill", "role": "fill", "address": 2, "placement": {"azimuth_deg": 0}}]}
)  # fmt: skip


@pytest.fixture
def output() -> Recorder:
    return Recorder()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def engine(output: Recorder, clock: Clock) -> Engine:
    return Engine(RIG, output, lambda change: None, clock=clock)


def test_nothing_is_sent_before_the_first_light(engine: Engine, output: Recorder) -> None:
    engine.mark_good()
    engine.replace_rig(RIG)
    assert output.played == []
    engine.set_levels({"Key": 50})
    assert len(output.played) == 1


def test_a_face_never_brightens_suddenly(engine: Engine, clock: Clock) -> None:
    assert engine.set_levels({"Key": 80}).fade.lasts_s == 1.5
    clock.now += 2
    assert engine.set_levels({"Key": 90}).fade.lasts_s == 0


def test_a_nudge_never_hurries_a_recall_on_its_way(engine: Engine, clock: Clock) -> None:
    engine.set_levels({"Key": 40, "Fill": 10})
    clock.now += 5
    engine.set_levels({"Key": 80, "Fill": 20}, fade_s=1.0)
    clock.now += 0.25
    now, _ = engine.nudge(role="fill", thirds=1)
    assert now.fade.lasts_s == pytest.approx(0.75)
    clock.now += 5
    now, _ = engine.nudge(role="fill", thirds=1)
    assert now.fade.lasts_s == pytest.approx(0.2)


def test_a_tap_during_a_fade_goes_on_from_where_the_light_is(
    engine: Engine, output: Recorder, clock: Clock
) -> None:
    engine.set_levels({"Key": 80, "Fill": 10})
    clock.now += 0.75
    half_way = engine.now().fade.at(clock.now)["Key"]
    engine.set_levels({"Key": 20}, fade_s=1.0)
    first = output.played[-1].frames[0][1][1][0] / 255
    assert 0 < half_way < 0.8
    assert first == pytest.approx(half_way, abs=0.02)


def test_undo_in_the_middle_of_a_fade(engine: Engine, clock: Clock) -> None:
    engine.set_levels({"Key": 40})
    clock.now += 2
    engine.set_levels({"Key": 80}, fade_s=1.0)
    clock.now += 0.3
    now = engine.undo()
    assert now.setting.output(RIG.head("Key")) == pytest.approx(0.4)
    assert now.fade.start["Key"] > 0.4


def test_the_last_frame_is_exact(engine: Engine, output: Recorder) -> None:
    engine.set_levels({"Key": 80, "Fill": 50})
    assert output.played[-1].frames[-1][1][1][:2] == bytes([204, 128])


def test_a_change_that_cannot_be_stored_is_said_and_lit(output: Recorder, clock: Clock) -> None:
    def full(_change: object) -> None:
        raise OSError("changes are not being saved: disk full")

    now = Engine(RIG, output, full, clock=clock).set_levels({"Key": 50})
    assert "disk full" in now.unsaved
    assert output.played


def test_a_head_patched_elsewhere_sets_off_from_what_lights_it(
    engine: Engine, output: Recorder, clock: Clock
) -> None:
    """Key and Fill were swapped at the dimmer: no lamp jumps when the patch is mended."""
    engine.set_levels({"Key": 80, "Fill": 20})
    clock.now += 5
    key, fill = RIG.heads
    heads = (replace(key, address=fill.address), replace(fill, address=key.address))
    now = engine.replace_rig(replace(RIG, heads=heads))
    frames = [frame[1][:2] for _, frame in output.played[-1].frames]
    assert frames[0][0] == pytest.approx(204, abs=8)  # channel 1 goes on where it was
    assert frames[0][1] == pytest.approx(51, abs=12)
    assert frames[-1] == bytes([51, 204])
    assert now.fade.lasts_s == 1.0
    clock.now += 5
    engine.replace_rig(replace(RIG, heads=heads))  # nothing is patched anew: at once
    assert len(output.played[-1].frames) == 1
