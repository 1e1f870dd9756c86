"""The parent process: restarts, wanted stops, and a keeper that outlives its parent."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from server.live.keeper_link import KeeperOutput
from server.live.keeper_protocol import hello
from server.live.output import Timeline
from tests.live.fakes import Listener, frame_of, gaps, wait_for
from tests.live.keeper_process import ROOT, now_ramp

pytestmark = pytest.mark.alone

SLEEPS = "import time; time.sleep(60)"


class Parent:
    """One run of `supervised.py`."""

    def __init__(self, folder: Path, port: object, web: str) -> None:
        self.folder = folder
        script = str(Path(__file__).with_name("supervised.py"))
        self.process = subprocess.Popen(
            [sys.executable, script, str(folder), str(port), web],
            cwd=ROOT,
            stderr=subprocess.PIPE,
            text=True,
            process_group=0,
        )

    def starts(self) -> list[int]:
        """Process ids of the stand-in web servers started so far."""
        path = self.folder / "starts"
        return [int(line) for line in path.read_text().split()] if path.exists() else []

    def started(self, count: int) -> int:
        wait_for(lambda: len(self.starts()) >= count, 5.0, f"{count} starts of the web server")
        return self.starts()[count - 1]

    def end(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(10.0)


@pytest.fixture
def run(tmp_path):
    tmp_path.chmod(0o700)
    parents: list[Parent] = []

    def start(port: object, web: str) -> Parent:
        parents.append(Parent(tmp_path, port, web))
        return parents[-1]

    yield start
    for parent in parents:
        if parent.process.poll() is None:
            parent.end()
        parent.process.stderr.close()


def gone(pid: int) -> bool:
    """Whether a process has ended (a zombie of somebody else's counts as ended)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] == "Z"
    except FileNotFoundError:
        return True


def keeper_pid(folder: Path) -> int | None:
    try:
        return hello(str(folder / "keeper.sock")).pid
    except (OSError, ValueError):
        return None


def test_a_dead_child_is_started_again_at_once(run):
    parent = run("-", SLEEPS)
    first = parent.started(1)
    os.kill(first, signal.SIGKILL)
    began = time.monotonic()
    assert parent.started(2) != first
    assert time.monotonic() - began < 1.0
    assert parent.end() == 0
    assert "ended unasked (exit code -9)" in parent.process.stderr.read()


def test_restarts_wait_longer_and_longer(run):
    """0.05, 0.1, 0.2 and 0.4 s: five starts take at least 0.75 s."""
    began = time.monotonic()
    parent = run("-", "import sys; sys.exit(1)")
    parent.started(5)
    assert time.monotonic() - began >= 0.75
    assert parent.process.poll() is None, "exit code 1 is not hopeless"
    assert parent.end() == 0


@pytest.mark.parametrize("code", [2, 78])
def test_a_hopeless_child_is_given_up_with_its_code(run, code):
    parent = run("-", f"import sys; sys.exit({code})")
    assert parent.process.wait(8.0) == code
    assert len(parent.starts()) == 1  # it has never been well: trying again will not help
    assert parent.process.stderr.read() == ""  # it says why itself, once


def test_a_wanted_stop_ends_the_web_server_first_and_then_the_light(run, tmp_path):
    tells = (
        "import os, signal, sys, time\n"
        "def end(*_):\n"
        f"    time.sleep(0.3); os.mkdir({str(tmp_path / 'web-ended')!r}); sys.exit(0)\n"
        "signal.signal(signal.SIGTERM, end)\n"
        f"os.mkdir({str(tmp_path / 'web-ready')!r})\n"
        "time.sleep(60)"
    )
    with Listener() as listener:
        parent = run(listener.port, tells)
        wait_for((tmp_path / "web-ready").exists, 5.0, "the web server")
        wait_for(lambda: keeper_pid(tmp_path) is not None, 5.0, "the keeper")
        output = KeeperOutput(str(tmp_path / "keeper.sock"))
        output.play(Timeline(((time.monotonic(), frame_of(50)),)))
        wait_for(lambda: bool(listener.sent), 1.0, "light")
        output.stop(terminate=False)
        assert parent.end() == 0
        wait_for(lambda: listener.sent[-1].terminated, 0.5, "the end of the stream")
        assert [s.terminated for s in listener.sent[-3:]] == [True] * 3  # E1.31 6.2.6
        ended = [s.at for s in listener.sent if s.terminated]
    web_ended = (tmp_path / "web-ended").stat().st_mtime - time.time() + time.monotonic()
    assert web_ended < ended[0], "the web server was gone before the light ended"
    assert keeper_pid(tmp_path) is None


def test_ctrl_c_reaches_only_the_parent(run):
    parent = run("-", SLEEPS)
    web = parent.started(1)
    assert os.getpgid(web) != os.getpgid(parent.process.pid)
    os.killpg(parent.process.pid, signal.SIGINT)  # what a terminal does on Ctrl-C
    assert parent.process.wait(5.0) == 0
    assert gone(web)


def test_the_keeper_outlives_a_killed_parent_and_is_adopted(run, tmp_path):
    with Listener() as listener:
        parent = run(listener.port, SLEEPS)
        web = parent.started(1)
        wait_for(lambda: keeper_pid(tmp_path) is not None, 5.0, "the keeper")
        keeper = keeper_pid(tmp_path)
        output = KeeperOutput(str(tmp_path / "keeper.sock"))
        output.play(now_ramp(1.5, 20, 220))
        output.stop(terminate=False)
        parent.process.kill()
        parent.process.wait()
        wait_for(lambda: gone(web), 2.0, "the web server ends with its parent")
        second = run(listener.port, SLEEPS)
        second.started(2)
        wait_for(lambda: listener.sent[-1].slots[0] == 220, 3.0, "the fade to end")
        assert keeper_pid(tmp_path) == keeper, "the same keeper"
        os.kill(keeper, signal.SIGKILL)  # an adopted one is watched like any other
        wait_for(lambda: keeper_pid(tmp_path) not in (None, keeper), 3.0, "a new keeper")
        time.sleep(0.2)
        assert second.end() == 0
        assert "taking it over" in second.process.stderr.read()
        wait_for(lambda: listener.sent[-1].terminated, 0.5, "the end of the stream")
        assert max(gaps(listener.sent)) <= 1.0
        assert min(s.slots[0] for s in listener.sent) == 20
        assert {s.slots[0] for s in listener.sent[-3:]} == {220}


def test_a_keeper_with_other_options_is_replaced_without_an_end(run, tmp_path):
    with Listener() as before, Listener() as after:
        parent = run(before.port, SLEEPS)
        parent.started(1)
        wait_for(lambda: keeper_pid(tmp_path) is not None, 5.0, "the keeper")
        output = KeeperOutput(str(tmp_path / "keeper.sock"))
        output.play(Timeline(((time.monotonic(), frame_of(50)),)))
        output.stop(terminate=False)
        wait_for((tmp_path / "keeper.state").exists, 1.0, "the state")
        time.sleep(0.15)
        parent.process.kill()
        parent.process.wait()
        run(after.port, SLEEPS)
        wait_for(lambda: bool(after.sent), 4.0, "light at the new destination")
        assert after.sent[0].slots == frame_of(50)[1]
        assert not any(s.terminated for s in before.sent)


def test_a_keeper_that_hangs_is_killed_and_the_light_goes_on(run, tmp_path):
    with Listener() as listener:
        parent = run(listener.port, SLEEPS)
        parent.started(1)
        wait_for(lambda: keeper_pid(tmp_path) is not None, 5.0, "the keeper")
        keeper = keeper_pid(tmp_path)
        output = KeeperOutput(str(tmp_path / "keeper.sock"))
        output.play(Timeline(((time.monotonic(), frame_of(50)),)))
        output.stop(terminate=False)
        wait_for((tmp_path / "keeper.state").exists, 1.0, "the state")
        time.sleep(1.1)  # it is given a second to settle
        os.kill(keeper, signal.SIGSTOP)
        wait_for(lambda: keeper_pid(tmp_path) not in (None, keeper), 6.0, "a new keeper")
        seen = len(listener.sent)
        wait_for(lambda: len(listener.sent) > seen, 2.0, "light again")
        assert {s.slots[0] for s in listener.sent} == {50}
        assert not any(s.terminated for s in listener.sent)
        # a receiver gives up after 2.5 s without data (ANSI E1.31-2018, 6.7.1)
        assert max(gaps(listener.sent)) < 2.5
        assert parent.end() == 0
        assert "does not answer; killing it" in parent.process.stderr.read()
