"""The started program on loopback: first light, restart without a step, a wanted stop.

Octets of the E1.31 data packet: ANSI E1.31-2018, 6.2.6 (options, octet 112) and 7.7 (slots from
octet 126).
"""

import json
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


def start(folder: Path, port: int, listener: socket.socket) -> subprocess.Popen[bytes]:
    """Start the program and wait until it answers."""
    process = subprocess.Popen(
        [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(port),
         "--database", str(folder / "s.db"), "--output", "network",
         "--to", f"127.0.0.1:{listener.getsockname()[1]}"],
        stdout=subprocess.DEVNULL,
    )  # fmt: skip
    for _ in range(100):
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/api/state", timeout=1).close()
            return process
        except OSError:
            time.sleep(0.1)
    process.kill()
    raise AssertionError("the server did not answer within 10 s")


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
        process.wait(10)
        listener.settimeout(0.5)
        options = []
        try:
            while True:
                options.append(listener.recv(1000)[112])
        except TimeoutError:
            assert options[-3:] == [STREAM_TERMINATED] * 3
    finally:
        if process.poll() is None:
            process.kill()


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
