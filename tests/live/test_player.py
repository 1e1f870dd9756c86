"""When packets go out. Limits from ANSI E1.31-2018: 6.2.6, 6.6.1 and 6.6.2."""

import itertools
import math
import threading
import time

import pytest

from server.live.null import ByHandWire, NullOutput
from server.live.output import Timeline
from server.live.player import Player
from server.live.schedule import LATE_S, MIN_GAP_S, Schedule
from tests.live.fakes import FakeWire, frame_of, gaps, run_schedule, slots_of, wait_for

pytestmark = pytest.mark.alone

RATE = 44  # 6.6.1 with E1.11: packets a second with 512 slots
SHORTEST_S = 92e-6 + 12e-6 + 513 * 44e-6  # E1.11: break, mark, START code and 512 slots
ROUNDING = 1e-9


def started(*frames: tuple[float, dict]) -> Schedule:
    schedule = Schedule()
    schedule.play(Timeline(tuple(frames)), 0.0)
    return schedule


def ramp(step_s: float, count: int) -> list[tuple[float, dict]]:
    return [(i * step_s, frame_of(1 + i % 255, 1 + i // 255)) for i in range(count)]


# --- the schedule, on an imagined clock ---


def test_nothing_before_the_first_play():
    schedule = Schedule()
    assert list(schedule.due(5.0)) == []
    assert schedule.next_due(5.0) == math.inf
    assert schedule.lit(5.0) == {}


def test_nothing_before_a_first_frame_in_the_future():
    sent = run_schedule(started((2.0, frame_of(9))), 0.0, 2.0)
    assert [s.at for s in sent] == [2.0]


def test_never_faster_than_44_a_second():
    """6.6.1: changes every millisecond for 3 s."""
    sent = run_schedule(started(*ramp(0.001, 3000)), 0.0, 3.5)
    assert min(gaps(sent)) >= 1 / RATE - ROUNDING
    for packet in sent:
        within = [s for s in sent if packet.at <= s.at < packet.at + 1.0 - ROUNDING]
        assert len(within) <= RATE
    assert len([s for s in sent if s.at < 3.0]) >= 3 * RATE - 1, "nor much slower"


def late_run(frames: list[tuple[float, dict]], lateness: list[float]) -> list[float]:
    """Moments of packets on a machine that wakes up late, by turns by so much."""
    schedule, sent = started(*frames), []
    now, until = 0.0, frames[-1][0]
    for late_s in itertools.cycle(lateness):
        for packet in schedule.due(now):
            schedule.sent(packet.universe, now)
            sent.append(now)
        now = max(now, schedule.next_due(now)) + late_s
        if now > until:
            return sent
    raise AssertionError("never")


def test_a_late_packet_delays_none_after_it():
    """A fade of 4 s on a machine that is up to 0.9 ms late: the frames stay on their moments."""
    moments = [i * MIN_GAP_S for i in range(4 * RATE)]
    frames = [(moment, frame_of(i)) for i, moment in enumerate(moments)]
    sent = late_run(frames, [0.0003, 0.0009, 0.0, 0.0005])
    assert len(sent) >= len(moments) - 1
    assert max(s - m for s, m in zip(sent, moments, strict=False)) < LATE_S


@pytest.mark.parametrize("lateness", [[0.0], [0.001, 0.0], [0.0025, 0.0, 0.0007], [0.03, 0.0]])
def test_no_second_holds_more_than_44_however_late_the_machine(lateness):
    assert MIN_GAP_S > SHORTEST_S
    sent = late_run(ramp(0.001, 5000), lateness)
    assert all(b - a >= 1.0 - ROUNDING for a, b in zip(sent, sent[RATE:], strict=False))
    assert min(b - a for a, b in itertools.pairwise(sent)) >= MIN_GAP_S - LATE_S - ROUNDING


def test_the_last_value_is_not_lost_to_the_rate_limit():
    sent = run_schedule(started(*ramp(0.001, 100)), 0.0, 0.2)
    last = frame_of(100, 1)[1]
    first_with_last = next(s.at for s in sent if s.slots == last)
    assert 0.099 <= first_with_last <= 0.099 + MIN_GAP_S + ROUNDING


def test_three_repeats_then_keep_alive():
    """6.6.2: three packets with unchanged values, then one every 800 to 1000 ms."""
    sent = run_schedule(started((0.0, frame_of(50))), 0.0, 10.0)
    assert len({s.slots for s in sent}) == 1
    spaces = gaps(sent)
    assert spaces[:3] == pytest.approx([MIN_GAP_S] * 3)
    assert len(spaces) >= 10
    assert all(0.8 <= gap <= 1.0 for gap in spaces[3:])


def test_identical_frames_are_not_sent_again():
    """A minute of the same frame 40 times a second is no more than the keep-alive."""
    still = run_schedule(started(*[(i / 40, frame_of(50)) for i in range(400)]), 0.0, 10.0)
    plain = run_schedule(started((0.0, frame_of(50))), 0.0, 10.0)
    assert [s.at for s in still] == pytest.approx([s.at for s in plain])


def test_a_repeat_does_not_delay_the_next_change():
    """Frames 25 ms apart: a repeat at 22.7 ms would push each change to 45.5 ms."""
    frames = ramp(0.025, 20)
    sent = run_schedule(started(*frames), 0.0, 0.49)
    assert [s.at for s in sent] == pytest.approx([moment for moment, _ in frames])


def test_a_frame_like_the_one_before_is_sent_in_its_place_in_a_fade():
    """A slow fade of 8 bits stands still for a frame or two; the packets go on evenly (6.6.2)."""
    frames = [(i * MIN_GAP_S, frame_of(10 + i // 3)) for i in range(90)]
    sent = run_schedule(started(*frames), 0.0, 89 * MIN_GAP_S + ROUNDING)
    assert [s.at for s in sent] == pytest.approx([moment for moment, _ in frames])


def test_a_still_universe_is_repeated_while_another_one_fades():
    frames = [(i / 40, {1: slots_of(i), 2: slots_of(77)}) for i in range(1, 200)]
    second = [s for s in run_schedule(started(*frames), 0.025, 4.5) if s.universe == 2]
    assert gaps(second)[:3] == pytest.approx([MIN_GAP_S] * 3)  # 6.6.2
    assert all(0.8 <= gap <= 1.0 for gap in gaps(second)[3:])


def test_a_universe_that_disappears_is_terminated_three_times():
    """6.2.6: three packets with Stream_Terminated; here with the last values."""
    both = {1: slots_of(10), 2: slots_of(20)}
    sent = run_schedule(started((0.0, both), (2.0, {1: slots_of(10)})), 0.0, 6.0)
    second = [s for s in sent if s.universe == 2]
    ended = [s for s in second if s.terminated]
    assert second[-3:] == ended
    assert [s.slots for s in ended] == [slots_of(20)] * 3
    assert 2.0 <= ended[0].at <= 2.0 + MIN_GAP_S + ROUNDING
    assert gaps(ended) == pytest.approx([MIN_GAP_S] * 2)
    assert not [s for s in sent if s.universe == 1 and s.terminated]


def test_a_universe_that_comes_back_while_ending_is_sent_again():
    both = {1: slots_of(10), 2: slots_of(20)}
    sent = run_schedule(started((0.0, both), (2.0, {1: slots_of(10)}), (2.03, both)), 0.0, 6.0)
    second = [s for s in sent if s.universe == 2]
    assert not second[-1].terminated
    assert min(gaps(second)) >= 1 / RATE - ROUNDING
    assert second[-1].at > 5.0, "kept alive again"


def test_frames_missed_in_sleep_are_skipped():
    schedule = started(*ramp(0.025, 400))
    run_schedule(schedule, 0.0, 1.0)
    woken = list(schedule.due(9.0))  # eight seconds gone
    assert [p.slots for p in woken] == [frame_of(1 + 360 % 255, 1 + 360 // 255)[1]]
    assert list(schedule.due(9.001)) == []


def test_a_new_timeline_replaces_the_old_one_and_starts_from_what_is_lit():
    schedule = started((0.0, frame_of(1)), (1.0, frame_of(2)), (3.0, frame_of(3)))
    run_schedule(schedule, 0.0, 1.5)
    schedule.play(Timeline(((2.0, frame_of(9)),)), 1.5)
    assert schedule.lit(1.6) == frame_of(2)
    sent = run_schedule(schedule, 1.6, 6.0)
    assert {s.slots[0] for s in sent} == {2, 9}


# --- timelines that cannot be ---


@pytest.mark.parametrize(
    "frames",
    [
        (),
        ((1.0, frame_of(1)), (0.5, frame_of(2))),
        ((math.nan, frame_of(1)),),
        ((math.inf, frame_of(1)),),
        ((0.0, {0: bytes(512)}),),  # 6.2.7
        ((0.0, {64000: bytes(512)}),),
        ((0.0, {True: bytes(512)}),),
        ((0.0, {1: bytes(511)}),),
        ((0.0, {1: bytearray(512)}),),
    ],
)
def test_impossible_timelines_are_refused(frames):
    with pytest.raises(ValueError, match=r"timeline|frame|universe"):
        Timeline(frames)


# --- the player, on the real clock ---


@pytest.fixture
def wire():
    return FakeWire()


@pytest.fixture
def player(wire):
    made = Player([wire])
    yield made
    made.stop(terminate=False)


def play(player: Player, *values: int) -> None:
    player.play(Timeline(((time.monotonic(), frame_of(*values)),)))


def test_the_first_frame_leaves_before_play_returns(player, wire):
    time.sleep(0.05)
    assert wire.sent == []
    play(player, 5)
    assert [(s.slots[0], s.thread) for s in wire.sent] == [(5, threading.get_ident())]


def test_gap_and_repeats_on_the_real_clock(player, wire):
    for value in range(1, 60):
        play(player, value)
        time.sleep(0.003)
    wait_for(lambda: [s.slots[0] for s in wire.sent[-4:]] == [59] * 4, 1.0, "three repeats")
    time.sleep(0.1)
    assert [s.slots[0] for s in wire.sent].count(59) == 4, "then quiet until the keep-alive"
    # The recorded moment is inside the send, the gap counts from its end: 0.2 ms for the machine.
    assert min(gaps(wire.sent)) >= MIN_GAP_S - LATE_S - 0.0002


def test_stop_sends_three_terminated_packets_one_gap_apart(player, wire):
    play(player, 80)
    time.sleep(0.12)
    player.stop()
    ended = [s for s in wire.sent if s.terminated]
    assert wire.sent[-3:] == ended  # 6.2.6
    assert [s.slots for s in ended] == [slots_of(80)] * 3
    assert min(gaps(ended)) >= MIN_GAP_S - LATE_S - 0.0002
    assert wire.closed
    count = len(wire.sent)
    player.stop()
    assert len(wire.sent) == count
    with pytest.raises(RuntimeError, match="stopped"):
        play(player, 1)


def test_stop_without_termination_only_ceases(player, wire):
    play(player, 80)
    player.stop(terminate=False)
    assert not any(s.terminated for s in wire.sent)
    assert wire.closed


def test_stop_before_any_play_sends_nothing(player, wire):
    player.stop()
    assert wire.sent == []


def test_one_broken_wire_does_not_stop_the_others_and_is_told():
    good, bad = FakeWire(), FakeWire(kind="serial", broken=True)
    player = Player([bad, good])
    play(player, 3)
    wait_for(lambda: len(good.sent) >= 4, 1.0, "repeats on the good wire")
    status = player.status()
    assert (status.kind, status.live) == ("serial + network", False)
    assert "made to fail" in status.message
    bad.broken = False
    play(player, 4)
    wait_for(lambda: bool(bad.sent), 1.0, "the wire is used again")
    assert player.status().live
    player.stop()


def test_shown_follows_the_timeline(player):
    assert player.shown() == {}
    now = time.monotonic()
    player.play(Timeline(((now, frame_of(1)), (now + 0.05, frame_of(2)))))
    assert player.shown() == frame_of(1)
    time.sleep(0.07)
    assert player.shown() == frame_of(2)


def test_many_threads_may_play(player, wire):
    def taps(first: int) -> None:
        for i in range(40):
            play(player, first, i)

    threads = [threading.Thread(target=taps, args=(n,)) for n in range(1, 6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    play(player, 99)
    wait_for(lambda: wire.sent[-1].slots[0] == 99, 0.5, "the last play wins")
    assert min(gaps(wire.sent)) >= MIN_GAP_S - LATE_S - 0.0002


def test_status_of_wires(player, wire):
    assert player.status().live is False, "nothing has been sent yet"
    play(player, 1)
    assert player.status().live is True
    wire.error = "nothing gets out"
    assert (player.status().live, player.status().message) == (False, "nothing gets out")


def test_outputs_without_a_line_are_never_live():
    hand = Player([ByHandWire()])
    play(hand, 1)
    assert (hand.status().kind, hand.status().live) == ("by hand", False)
    hand.stop()
    null = NullOutput()
    null.play(Timeline(((0.0, frame_of(1)),)))
    null.stop()
    assert (null.status().kind, null.status().live) == ("none", False)
    with pytest.raises(ValueError, match="by hand"):
        NullOutput("network")
