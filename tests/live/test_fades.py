"""Fades frame by frame: equal perceived steps, what waits for tungsten, compare and undo midway.

Perceived steps: lightness follows the cube root of the light (ISO/CIE 11664-4).
"""

import itertools
from math import log2

import pytest

from server.live.engine import Engine
from server.live.fade import FRAME_S, Fade, fade_to, resumed_fade, timeline_of, way_of
from server.live.output import Timeline
from server.physics.filament import heating_s
from server.studio.document import rig_from_document
from tests.live.test_engine_fades import Clock, Recorder

VOLTS = 120.0


def rig_of(*lamps: str, watts: float = 650.0):
    """Heads A, B, C ... of these lamps, 16 bits each, light equal to level."""
    return rig_from_document(
        {"room": {"name": "Test", "mains_volts": VOLTS},
         "heads": [{"name": name, "role": "key" if i == 0 else "fill", "lamp": lamp, "bits": 16,
                    "address": 1 + 2 * i, "watts": watts}
                   for i, (name, lamp) in enumerate(zip("ABC", lamps, strict=False))]}
    )  # fmt: skip


def light(timeline: Timeline, head: int) -> list[float]:
    """Light of a head in every frame, as the signal gives it."""
    at = 2 * head
    return [int.from_bytes(frame[1][at : at + 2], "big") / 65535 for _, frame in timeline.frames]


def roots(values: list[float]) -> list[float]:
    return [value ** (1 / 3) for value in values]


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def output() -> Recorder:
    return Recorder()


def engine_of(rig, output: Recorder, clock: Clock) -> Engine:
    return Engine(rig, output, lambda change: None, clock=clock)


def test_steps_are_even_and_come_44_a_second() -> None:
    timeline = timeline_of(rig_of("led"), Fade({"A": 0.0}, {"A": 0.8}, 50.0, 2.0))
    moments = [moment for moment, _ in timeline.frames]
    assert [b - a for a, b in itertools.pairwise(moments)] == pytest.approx(
        [FRAME_S] * (len(moments) - 1)
    )
    assert 43.9 < 1 / FRAME_S <= 44
    steps = [b - a for a, b in itertools.pairwise([0.0, *roots(light(timeline, 0))])]
    even = 0.8 ** (1 / 3) / len(moments)
    assert steps[3:] == pytest.approx([even] * (len(steps) - 3), rel=0.1)  # 16 bits, rounded
    assert sum(steps) == pytest.approx(0.8 ** (1 / 3), abs=1e-4)


def test_all_arrive_together_without_tungsten() -> None:
    fade = fade_to(rig_of("led", "led"), {"A": 0.1, "B": 0.5}, {"A": 0.9, "B": 0.2}, 0.0, 0.2)
    assert fade.waiting == frozenset()
    assert len(timeline_of(rig_of("led", "led"), fade).frames) == 9  # 0.2 s


def test_led_waits_for_tungsten_on_a_short_fade() -> None:
    rig = rig_of("tungsten", "led", "led")
    there = {"A": 0.8, "B": 0.8, "C": 0.4}
    fade = fade_to(rig, {"A": 0.2, "B": 0.2, "C": 0.4}, there, 0.0, 0.2)
    assert fade.waiting == {"B"}  # C does not move
    timeline = timeline_of(rig, fade)
    lamp, led = light(timeline, 0), light(timeline, 1)
    assert all(b <= a for a, b in zip(lamp, led, strict=True))
    assert led == sorted(led)
    assert (lamp[-1], led[-1]) == (pytest.approx(0.8, abs=1e-4), pytest.approx(0.8, abs=1e-4))
    control_done = next(i for i, value in enumerate(lamp) if value >= 0.7999)
    assert led[control_done] < 0.65
    seconds = len(led) * FRAME_S
    assert seconds == pytest.approx(0.2 + heating_s(650, VOLTS), abs=2 * FRAME_S)
    assert abs(log2(led[-1] / led[-2])) < 0.05, "and no jump at its end: a twentieth of a stop"


def test_a_long_fade_a_jump_and_a_still_lamp_need_no_waiting() -> None:
    rig = rig_of("tungsten", "led")
    start, end = {"A": 0.2, "B": 0.2}, {"A": 0.8, "B": 0.8}
    assert not fade_to(rig, start, end, 0.0, 5.0).waiting
    assert not fade_to(rig, start, end, 0.0, 0.0).waiting
    assert not fade_to(rig, start, {"A": 0.2, "B": 0.8}, 0.0, 0.2).waiting


def test_a_tap_while_something_waits_goes_on_from_where_it_is(
    output: Recorder, clock: Clock
) -> None:
    engine = engine_of(rig_of("tungsten", "led"), output, clock)
    engine.set_levels({"A": 20, "B": 20})
    clock.now += 5
    engine.set_levels({"A": 60, "B": 60}, fade_s=0.2)
    clock.now += 0.25  # the control has arrived, what waits has not
    before = engine.now().fade.at(clock.now)
    assert before["A"] == pytest.approx(0.6)
    assert 0.3 < before["B"] < 0.58
    assert engine.now().fading
    engine.undo()
    assert light(output.played[-1], 1)[0] == pytest.approx(before["B"], abs=0.03)
    assert light(output.played[-1], 1)[-1] == pytest.approx(0.2, abs=1e-4)


def test_a_server_that_starts_again_joins_what_waits() -> None:
    rig = rig_of("tungsten", "led")
    fade = fade_to(rig, {"A": 0.2, "B": 0.2}, {"A": 0.8, "B": 0.8}, 10.0, 0.2)
    way = way_of(fade, 10.3)
    assert way is not None
    assert resumed_fade(way, fade.end, 10.3).at(10.35) == fade.at(10.35)
    assert way_of(fade, 11.5) is None


def test_nudges_in_a_row_do_not_wait_longer_and_longer(output: Recorder, clock: Clock) -> None:
    engine = engine_of(rig_of("tungsten", "led"), output, clock)
    engine.set_levels({"A": 20, "B": 20})
    clock.now += 5
    for _ in range(6):
        engine.nudge_heads(engine.now().rig.heads, "all", 1)
        clock.now += 0.05
    assert engine.now().fade.lasts_s <= 0.2


def test_compare_has_no_dip_and_comes_back_midway(output: Recorder, clock: Clock) -> None:
    """Hold to see good, release for now, both before the fade is over: always between the two."""
    engine = engine_of(rig_of("led", "led"), output, clock)
    engine.set_levels({"A": 70, "B": 30})
    clock.now += 5
    engine.mark_good()
    engine.set_levels({"A": 40, "B": 50}, fade_s=0.2)
    clock.now += 5
    sent: list[tuple[float, float]] = []

    def run(seconds: float) -> None:
        until = clock.now + seconds
        timeline = output.played[-1]
        pairs = zip(light(timeline, 0), light(timeline, 1), strict=True)
        sent.extend(
            pair for (moment, _), pair in zip(timeline.frames, pairs, strict=True) if moment < until
        )
        clock.now = until

    revisions = engine.now().record.history.at
    engine.compare(True)
    run(0.1)
    engine.compare(False)
    run(0.06)
    engine.compare(True)
    run(0.3)
    assert sent[-1] == (pytest.approx(0.7, abs=1e-4), pytest.approx(0.3, abs=1e-4))
    engine.compare(False)
    run(0.3)
    assert sent[-1] == (pytest.approx(0.4, abs=1e-4), pytest.approx(0.5, abs=1e-4))
    assert all(0.3999 <= a <= 0.7001 and 0.2999 <= b <= 0.5001 for a, b in sent)
    jumps = [abs(b[0] - a[0]) for a, b in itertools.pairwise(sent)]
    assert max(jumps) < 0.05
    assert engine.now().record.history.at == revisions, "nothing to take back"


def test_undo_midway_goes_straight_back(output: Recorder, clock: Clock) -> None:
    """Story 33: a tap during the fade redirects from where the light is, no jump."""
    engine = engine_of(rig_of("led"), output, clock)
    engine.set_levels({"A": 40})
    clock.now += 5
    engine.set_levels({"A": 80}, fade_s=1.0)
    clock.now += 0.5
    here = engine.now().fade.at(clock.now)["A"]
    engine.undo()
    back = light(output.played[-1], 0)
    assert back == sorted(back, reverse=True)
    assert back[0] == pytest.approx(here, abs=0.02)
    assert back[-1] == pytest.approx(0.4, abs=1e-4)
    assert len(back) == 44  # as long as the step that it takes back
