"""The lamp keeper: the light stays when the client, or the keeper itself, is killed.

Limits: no gap between packets longer than 1 s (E1.11: loss of data after 1 s; E1.31-2018 6.6.2:
keep-alive within 1000 ms), and no packet without light.
"""

import json
import os
import resource
import signal
import socket
import stat
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

from server.live.keeper_link import KeeperOutput
from server.live.keeper_protocol import ask, hello, pack, play_message, read_timeline, receive
from server.live.keeper_state import KeeperState
from server.live.output import Timeline
from tests.live.fakes import Listener, frame_of, gaps, slots_of, wait_for
from tests.live.keeper_process import ROOT, KeeperProcess, keeper_command, now_ramp

pytestmark = pytest.mark.alone


@pytest.fixture
def listener():
    with Listener() as made:
        yield made


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "k"
    made.mkdir(mode=0o700)
    return made


@pytest.fixture
def keeper(folder, listener):
    made = KeeperProcess(folder, listener)
    made.start()
    made.ready()
    yield made
    made.end()


@pytest.fixture
def output(keeper):
    made = KeeperOutput(keeper.socket)
    yield made
    made.stop(terminate=False)


def play(output: KeeperOutput, *values: int) -> None:
    output.play(Timeline(((time.monotonic(), frame_of(*values)),)))


def lit(listener: Listener, value: int, within_s: float = 1.0) -> float:
    def shown() -> bool:
        return bool(listener.sent) and listener.sent[-1].slots[0] == value

    return wait_for(shown, within_s, f"slot 1 at {value}")


def test_timelines_survive_the_journey():
    timeline = Timeline(((1.25, {1: slots_of(1, 2), 300: bytes(512)}), (2.5, {1: b"\xff" * 512})))
    message = json.loads(json.dumps(play_message(timeline, "t")))
    assert read_timeline(message) == timeline
    assert message["slots"] == ["0102", "", "ff" * 512]


def test_it_plays_what_it_is_given(output, listener):
    time.sleep(0.1)
    assert listener.sent == [], "nothing before the first play"
    play(output, 77)
    lit(listener, 77)
    assert listener.sent[0].slots == slots_of(77)
    wait_for(lambda: output.status().live, 1.0, "status says live")
    assert (output.status().kind, output.status().message) == ("network", "")
    assert output.hello().frame == frame_of(77)


def test_only_this_user_may_open_the_socket(keeper, folder):
    assert stat.S_IMODE(os.stat(keeper.socket).st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_a_folder_that_others_may_write_in_is_refused(tmp_path, listener):
    tmp_path.chmod(0o777)
    command = keeper_command(KeeperProcess(tmp_path, listener).options)
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=5)
    assert done.returncode == 78
    assert "not this user's own" in done.stderr


def test_a_second_keeper_is_refused(keeper):
    done = subprocess.run(
        keeper_command(keeper.options), cwd=ROOT, capture_output=True, text=True, timeout=5
    )
    assert done.returncode == 78
    assert "already running" in done.stderr
    assert f"kill -9 {keeper.process.pid})" in done.stderr


@pytest.mark.parametrize(
    "body",
    [
        b"nonsense",
        b"[1]",
        b'{"do":"dance"}',
        b'{"do":"play","slots":[],"frames":[]}',
        b'{"do":"play","slots":["00"],"frames":[[0,{"1":5}]]}',
        b'{"do":"play","slots":["zz"],"frames":[[0,{"1":0}]]}',
        b'{"do":"play","slots":["00"],"frames":[[0,{"0":0}]]}',
    ],
)
def test_bad_requests_are_refused_and_change_nothing(output, keeper, listener, body):
    play(output, 50)
    lit(listener, 50)
    with socket.socket(socket.AF_UNIX) as client:
        client.connect(keeper.socket)
        client.sendall(struct.pack("!I", len(body)) + body)
        answer = json.loads(receive(client))
        assert answer["ok"] is False
        assert answer["error"]
        client.sendall(pack({"do": "status"}))  # the connection is still good
        assert json.loads(receive(client))["ok"] is True
    assert output.hello().frame == frame_of(50)


def test_an_oversized_message_is_refused(keeper):
    with socket.socket(socket.AF_UNIX) as client:
        client.connect(keeper.socket)
        client.sendall(struct.pack("!I", 16 * 1024 * 1024 + 1))
        assert "at most" in json.loads(receive(client))["error"]
    with pytest.raises(ValueError, match="at most"):
        pack({"do": "x" * (16 * 1024 * 1024)})


def test_sigterm_is_a_wanted_stop(output, keeper, listener, folder):
    play(output, 60)
    lit(listener, 60)
    time.sleep(0.1)
    assert keeper.kill(signal.SIGTERM) == 0
    assert [s.terminated for s in listener.sent[-3:]] == [True] * 3  # E1.31 6.2.6
    assert {s.slots[0] for s in listener.sent} == {60}
    assert not os.path.exists(keeper.socket)
    output.stop(terminate=False)  # a living client would hand its timeline over again
    count = len(listener.sent)
    keeper.start()
    keeper.ready()
    time.sleep(0.1)
    assert len(listener.sent) == count, "after a wanted stop nothing is shown unasked"


def test_hold_ceases_without_terminating_and_resumes(folder, listener):
    keeper = KeeperProcess(folder, listener, "--hold")
    keeper.start()
    keeper.ready()
    output = KeeperOutput(keeper.socket)
    play(output, 60)
    lit(listener, 60)
    output.stop(terminate=False)
    assert keeper.kill(signal.SIGTERM) == 0
    assert not any(s.terminated for s in listener.sent)
    count = len(listener.sent)
    keeper.start()
    wait_for(lambda: len(listener.sent) > count, 2.0, "light again")
    assert {s.slots for s in listener.sent} == {slots_of(60)}
    keeper.end()


def test_stop_by_the_client_ends_the_light(output, keeper, listener):
    play(output, 60)
    lit(listener, 60)
    output.stop()
    assert keeper.process.wait(3.0) == 0
    assert [s.terminated for s in listener.sent[-3:]] == [True] * 3


def test_a_client_killed_in_a_fade_leaves_the_fade_running(keeper, listener):
    script = Path(__file__).with_name("fading_client.py")
    client = subprocess.Popen(
        [sys.executable, str(script), keeper.socket, "1.5"], cwd=ROOT, stdout=subprocess.PIPE
    )
    assert client.stdout.readline() == b"playing\n"
    client.kill()
    client.wait()
    client.stdout.close()
    killed_at = time.monotonic()
    assert listener.sent[-1].slots[0] < 100, "killed early in the fade"
    lit(listener, 220, within_s=2.0)
    time.sleep(1.0)
    after = [s for s in listener.sent if s.at > killed_at]
    assert len({s.slots[0] for s in after}) > 20, "the fade went on in steps"
    levels = [s.slots[0] for s in listener.sent]
    assert levels == sorted(levels)
    assert max(gaps(listener.sent)) <= 1.0


def test_a_keeper_killed_five_times_in_a_fade(output, keeper, listener):
    """kill -9 and start again, as the parent does; the light goes on where the fade should be."""
    play(output, 20, 33)
    lit(listener, 20)
    output.play(now_ramp(4.0, 20, 220))
    output.stop(terminate=False)  # no client may help
    for _ in range(5):
        time.sleep(0.45)
        keeper.kill()
        time.sleep(0.05)  # the parent's first delay
        keeper.start()
    keeper.ready()
    lit(listener, 220, within_s=5.0)
    time.sleep(0.1)
    assert hello(keeper.socket).frame == frame_of(220, 33)
    assert max(gaps(listener.sent)) <= 1.0
    levels = [s.slots[0] for s in listener.sent]
    assert min(levels) == 20, "no packet without light"
    assert levels == sorted(levels), "and no step back"
    assert not any(s.terminated for s in listener.sent)
    assert {s.slots[1] for s in listener.sent} == {33}


def test_a_restarted_keeper_is_fast_and_keeps_its_cid(output, keeper, listener, folder):
    play(output, 90)
    lit(listener, 90)
    wait_for(lambda: b"play" in (folder / "keeper.state").read_bytes(), 1.0, "the state file")
    before = json.loads((folder / "keeper.state").read_bytes().split(b"\n")[0])["cid"]
    output.stop(terminate=False)
    keeper.kill()
    time.sleep(0.1)  # what is still on the way
    count, began = len(listener.sent), time.monotonic()
    keeper.start()
    wait_for(lambda: len(listener.sent) > count, 2.0, "the first packet")
    assert listener.sent[count].at - began < 0.6  # 0.1 s on an idle machine; see tests/bench
    assert listener.sent[count].slots == slots_of(90)
    keeper.ready()
    after = json.loads((folder / "keeper.state").read_bytes().split(b"\n")[0])["cid"]
    assert before == after


def test_the_link_reconnects_and_says_so(output, keeper, listener):
    play(output, 40)
    lit(listener, 40)
    keeper.kill()
    wait_for(lambda: "away" in output.status().message, 1.0, "status tells")
    assert not output.status().live
    play(output, 41)  # while nobody is there
    keeper.start()
    lit(listener, 41, within_s=3.0)
    wait_for(lambda: output.status().live, 1.0, "status is well again")
    assert output.status().message == ""


def test_a_stuck_keeper_never_holds_up_the_caller(output, keeper, listener):
    play(output, 40)
    lit(listener, 40)
    keeper.process.send_signal(signal.SIGSTOP)
    longest = 0.0
    end = time.monotonic() + 1.6
    big = Timeline(tuple((time.monotonic() + i, {1: bytes([i % 256]) * 512}) for i in range(256)))
    while time.monotonic() < end:
        began = time.monotonic()
        output.play(big)
        longest = max(longest, time.monotonic() - began)
        time.sleep(0.02)
    assert longest <= 0.05
    assert "does not answer" in output.status().message
    assert not output.status().live
    play(output, 42)
    keeper.process.send_signal(signal.SIGCONT)
    lit(listener, 42, within_s=3.0)


def test_a_client_without_light_of_its_own_changes_nothing(output, keeper, listener):
    play(output, 40)
    lit(listener, 40)
    second = KeeperOutput(keeper.socket)  # a restarted web server
    assert second.hello().frame == frame_of(40)
    second.stop(terminate=False)
    time.sleep(0.1)
    assert {s.slots[0] for s in listener.sent} == {40}
    assert ask(keeper.socket, {"do": "status"})["ok"]


def test_after_a_reboot_only_the_end_of_the_old_fade_counts(tmp_path):
    """Moments of another boot mean nothing: they may lie days ahead."""
    path = tmp_path / "state"
    state = KeeperState(path)
    timeline = Timeline(((1e9, frame_of(1)), (1e9 + 5, frame_of(2))))
    state.remember(pack(play_message(timeline, "t"))[4:])
    state.close()
    assert KeeperState(path).timeline(7.0) == timeline
    who, request = path.read_bytes().split(b"\n", 1)
    other = json.dumps(json.loads(who) | {"boot": "another"}).encode()
    path.write_bytes(other + b"\n" + request)
    assert KeeperState(path).timeline(7.0) == Timeline(((7.0, frame_of(2)),))


@pytest.mark.parametrize("content", [b"", b"nonsense", b'{"cid": "no"}\n', b"[]\n", b"\xff\n"])
def test_an_unreadable_state_file_is_told_and_shows_nothing(tmp_path, content):
    path = tmp_path / "state"
    path.write_bytes(content)
    state = KeeperState(path)
    assert state.timeline(0.0) is None
    assert state.is_new
    state.close()


def test_a_state_file_that_cannot_be_written_is_told(tmp_path):
    state = KeeperState(tmp_path / "state")
    (tmp_path / "state.new").mkdir()
    state.remember(b"{}")
    wait_for(lambda: "cannot be written" in state.error, 1.0, "the fault is told")
    state.close()


def test_the_keeper_imports_little():
    """It must start in well under 0.3 s: nothing outside the standard library, nothing large."""
    probe = (
        "import sys, server.live.keeper; "
        "print([m for m in ('asyncio','http','fastapi','numpy','serial','ssl','sqlite3','logging')"
        " if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], cwd=ROOT, capture_output=True, text=True, timeout=10
    )
    assert done.stdout.strip() == "[]", done.stderr


def test_the_keeper_is_served_first_where_that_is_allowed():
    """Round robin with a guard against spinning (sched_setscheduler(2), RLIMIT_RTTIME)."""
    probe = (
        "import os, resource; from server.live.priority import served_first; "
        "print(served_first(), os.sched_getscheduler(0) == os.SCHED_RR, "
        "resource.getrlimit(resource.RLIMIT_RTTIME)[0])"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], cwd=ROOT, capture_output=True, text=True, timeout=10
    )
    told, round_robin, limit_us = done.stdout.split()
    assert told == round_robin, done.stderr
    if told == "True":
        assert int(limit_us) <= 2_000_000


def test_a_keeper_that_can_open_no_more_files_goes_on(keeper: KeeperProcess) -> None:
    """EMFILE of accept(2), made real by setrlimit(2)'s RLIMIT_NOFILE."""
    pid = hello(keeper.socket).pid
    before = resource.prlimit(pid, resource.RLIMIT_NOFILE)
    resource.prlimit(pid, resource.RLIMIT_NOFILE, (3, before[1]))
    with pytest.raises((OSError, ValueError)):
        ask(keeper.socket, {"do": "status"}, timeout_s=0.3)
    resource.prlimit(pid, resource.RLIMIT_NOFILE, before)
    wait_for(lambda: hello(keeper.socket).pid == pid, 3.0, "the same keeper answers")
