"""The started program on loopback: first light, restart without a step, a wanted stop.

Octets of the E1.31 data packet: ANSI E1.31-2018, 6.2.6 (options, octet 112) and 7.7 (slots from
octet 126).
"""

import itertools
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

STREAM_TERMINATED = 0x40


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    """Where the light is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listening:
        listening.bind(("127.0.0.1", 0))
        listening.settimeout(3)
        yield listening


def drained(listener: socket.socket) -> list[bytes]:
    """All packets that are there or come within half a second of each other."""
    listener.settimeout(0.5)
    packets = []
    try:
        while True:
            packets.append(listener.recv(1000))
    except TimeoutError:
        return packets
    finally:
        listener.settimeout(3)


def start(folder: Path, port: int, listener: socket.socket, *more: str) -> subprocess.Popen[bytes]:
    """Start the program and wait until it answers."""
    process = subprocess.Popen(
        [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(port),
         "--database", str(folder / "s.db"), "--faces", "none", "--output", "network",
         "--to", f"127.0.0.1:{listener.getsockname()[1]}", *more],
        stdout=subprocess.DEVNULL,
    )  # fmt: skip
    return answers(process, port)


def answers(process: subprocess.Popen[bytes], port: int) -> subprocess.Popen[bytes]:
    """Wait until the server answers."""
    until = time.monotonic() + 60  # a loaded machine takes its time
    while time.monotonic() < until:
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/api/state", timeout=1).close()
            return process
        except OSError:
            time.sleep(0.1)
    process.kill()
    raise AssertionError("the server did not answer within a minute")


def post(port: int, path: str, body: object) -> dict:
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}",
        json.dumps(body).encode(),
        {"Content-Type": "application/json"},
    )
    with urllib.request.urlopen(request, timeout=3) as answer:
        return json.load(answer)


def held(listener: socket.socket, seconds: float) -> bytes:
    """Slot values of the last packet within so many seconds."""
    until, slots = time.monotonic() + seconds, b""
    while time.monotonic() < until:
        slots = listener.recv(1000)[126:]
    return slots


def test_light_restart_and_wanted_stop(tmp_path: Path, listener: socket.socket) -> None:
    port = free_port()
    process = start(tmp_path, port, listener)
    try:
        listener.settimeout(1.2)
        with pytest.raises(TimeoutError):  # nothing before a first light was asked for
            listener.recv(1000)
        listener.settimeout(3)
        told = post(port, "/api/recall", {"look": 4})
        signals = {h["name"]: h["signal"] for h in told["heads"]}
        slots = held(listener, 2.5)
        assert list(slots[:2]) == signals["Key"]
        assert slots[4] == signals["Fill"][0]

        process.kill()
        process.wait()
        listener.setblocking(False)
        try:
            while True:
                listener.recv(1000)
        except BlockingIOError:
            listener.setblocking(True)
        listener.settimeout(5)
        process = start(tmp_path, port, listener)
        assert listener.recv(1000)[126:] == slots  # the very first packet, no step, no zero

        process.send_signal(signal.SIGTERM)
        process.wait(30)
        assert [p[112] for p in drained(listener)[-3:]] == [STREAM_TERMINATED] * 3
    finally:
        end(process)


def end(process: subprocess.Popen[bytes]) -> None:
    """A wanted stop, so that no lamp keeper is left behind."""
    process.send_signal(signal.SIGTERM)
    process.wait(30)


def children(process: subprocess.Popen[bytes]) -> dict[str, int]:
    """Process ids of the two that the start command keeps alive."""
    found = {}
    for task in Path(f"/proc/{process.pid}/task").iterdir():
        for pid in (task / "children").read_text().split():
            words = Path(f"/proc/{pid}/cmdline").read_text()
            found["keeper" if "server.live.keeper" in words else "web"] = int(pid)
    return found


@pytest.mark.parametrize("victim", ["web", "keeper"])
def test_either_one_killed_comes_back_and_no_light_is_lost(
    tmp_path: Path, listener: socket.socket, victim: str
) -> None:
    """In the middle of a fade. No gap over 1 s: receivers give up after 2.5 s (E1.31, 6.7.1)."""
    port = free_port()
    process = start(tmp_path, port, listener)
    try:
        post(port, "/api/recall", {"look": 4, "fade_s": 0})
        first = held(listener, 2.5)
        told = post(port, "/api/recall", {"look": 5, "fade_s": 3.0})
        wanted = {h["name"]: h["signal"] for h in told["heads"]}
        time.sleep(0.7)
        before = children(process)
        os.kill(before[victim], signal.SIGKILL)
        listener.settimeout(1.0)
        packets, until = [first], time.monotonic() + 4.5
        while time.monotonic() < until:
            packets.append(listener.recv(1000)[126:])
        fill = [slots[4] for slots in packets]
        steps = [abs(a - b) for a, b in itertools.pairwise(fill)]
        assert min(max(slots) for slots in packets) > 0
        assert max(steps) <= max(40, abs(fill[0] - fill[-1]) // 3)
        assert list(packets[-1][:2]) == wanted["Key"]
        assert packets[-1][4] == wanted["Fill"][0]
        state = json.load(urllib.request.urlopen(f"http://127.0.0.1:{port}/api/state", timeout=5))
        assert {h["name"]: h["signal"] for h in state["heads"]} == wanted
        assert state["output"] == {"kind": "network", "live": True, "message": ""}
        assert children(process)[victim] != before[victim]
    finally:
        end(process)


def test_a_wanted_stop_can_fade_down_and_the_next_start_is_back(
    tmp_path: Path, listener: socket.socket
) -> None:
    port = free_port()
    process = start(tmp_path, port, listener, "--on-stop", "fade")
    post(port, "/api/recall", {"look": 4})
    lit = held(listener, 2.5)
    process.send_signal(signal.SIGTERM)
    process.wait(30)
    packets = drained(listener)
    assert packets[-1][112] == STREAM_TERMINATED
    keys = [p[126] for p in packets]
    assert keys == sorted(keys, reverse=True)
    assert len(set(keys)) > 10  # down in many steps
    assert max(packets[-1][126:]) == 0
    process = start(tmp_path, port, listener)
    try:
        assert listener.recv(1000)[126:] == lit
    finally:
        end(process)


def test_a_wanted_stop_can_leave_the_light_as_it_is(
    tmp_path: Path, listener: socket.socket
) -> None:
    port = free_port()
    process = start(tmp_path, port, listener, "--on-stop", "hold")
    post(port, "/api/recall", {"look": 4})
    lit = held(listener, 2.5)
    end(process)
    listener.settimeout(1.1)
    for _ in range(3):  # the keeper goes on by itself
        packet = listener.recv(1000)
        assert packet[126:] == lit
        assert packet[112] == 0
    process = start(tmp_path, port, listener)
    end(process)
    assert drained(listener)[-1][112] == STREAM_TERMINATED


def test_a_port_in_use_says_so(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        done = subprocess.run(
            [sys.executable, "-m", "server", "--host", "127.0.0.1",
             "--port", str(taken.getsockname()[1]), "--database", str(tmp_path / "s.db")],
            capture_output=True, text=True, timeout=20, check=False,
        )  # fmt: skip
    assert done.returncode == 78
    assert "cannot be used" in done.stderr
    assert not (tmp_path / "s.db").exists()
