"""Ctrl-C on a terminal asks what the light should do, and says what the dimmer does without."""

import os
import pty
import select
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.store.glance import signal_loss
from tests.web.test_light_on_the_network import (
    STREAM_TERMINATED,
    answers,
    drained,
    end,
    free_port,
    held,
    listener,
    post,
    start,
)

__all__ = ["listener"]


def read_until(terminal: int, words: str, within_s: float = 60.0) -> str:
    """What the terminal shows until these words stand there."""
    shown, until = "", time.monotonic() + within_s
    while words not in shown:
        ready, _, _ = select.select([terminal], [], [], max(0.0, until - time.monotonic()))
        assert ready, f"{words!r} did not come; there was {shown!r}"
        shown += os.read(terminal, 4096).decode()
    return shown


@pytest.mark.parametrize(
    ("answer", "told"), [(b"f\n", "fades"), (b"\n", "ends"), (b"h\n", "stays")]
)
def test_asked_on_a_terminal(
    tmp_path: Path, listener: socket.socket, answer: bytes, told: str
) -> None:
    port = free_port()
    terminal, other_end = pty.openpty()
    command = [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(port),
               "--database", str(tmp_path / "s.db"), "--faces", "none", "--output", "network",
               "--to", f"127.0.0.1:{listener.getsockname()[1]}"]  # fmt: skip
    process = subprocess.Popen(command, stdin=other_end, stdout=other_end, stderr=other_end)
    os.close(other_end)
    try:
        read_until(terminal, "Ctrl-C stops it")
        answers(process, port)
        rig = tmp_path / "s.db"
        assert signal_loss(rig) == "not tested"
        post(port, "/api/recall", {"look": 4, "fade_s": 0})
        lit = held(listener, 2.0)
        process.send_signal(signal.SIGINT)
        shown = read_until(terminal, "Enter: end now")
        assert "nobody has tested" in shown
        os.write(terminal, answer)
        assert process.wait(30) == 0
        packets = drained(listener) if told != "stays" else [listener.recv(1000)]
        levels = [p[126] for p in packets]
        if told == "stays":
            assert (packets[0][126:], packets[0][112]) == (lit, 0)
        else:
            assert [p[112] for p in packets[-3:]] == [STREAM_TERMINATED] * 3
            assert (len(set(levels)) > 10) == (told == "fades")
            assert levels[-1] == (0 if told == "fades" else lit[0])
    finally:
        if process.poll() is None:
            process.kill()
        os.close(terminal)
        again = subprocess.Popen([*command, "--on-stop", "end"], stdout=subprocess.DEVNULL)
        time.sleep(1.0)  # whatever keeper is left is adopted and ended
        again.send_signal(signal.SIGTERM)
        again.wait(30)


def test_the_habit_is_read_from_the_file(tmp_path: Path) -> None:
    assert signal_loss(tmp_path / "none.db") == "not tested"
    assert not (tmp_path / "none.db").exists()
    (tmp_path / "bad.db").write_text("shopping list")
    assert signal_loss(tmp_path / "bad.db") == "not tested"


@pytest.mark.parametrize(("light", "told"), [("fade", "fades"), ("hold", "stays")])
def test_stopped_from_a_page(
    tmp_path: Path, listener: socket.socket, light: str, told: str
) -> None:
    port = free_port()
    process = start(tmp_path, port, listener)
    post(port, "/api/recall", {"look": 4, "fade_s": 0})
    lit = held(listener, 2.0)
    page = urllib.request.urlopen(f"http://127.0.0.1:{port}/rig/stop", timeout=3).read().decode()
    assert "nobody has tested" in page
    form = f"light={light}".encode()
    answer = urllib.request.urlopen(f"http://127.0.0.1:{port}/rig/stop", form, timeout=3)
    assert answer.status == 200
    assert process.wait(30) == 0
    if told == "stays":
        packet = listener.recv(1000)
        assert (packet[126:], packet[112]) == (lit, 0)
        end(start(tmp_path, port, listener))
    else:
        packets = drained(listener)
        assert len({p[126] for p in packets}) > 10
        assert max(packets[-1][126:]) == 0
    assert [p[112] for p in drained(listener)[-3:] or packets[-3:]] == [STREAM_TERMINATED] * 3


def test_a_server_without_its_start_command_says_so(client: TestClient) -> None:
    assert client.post("/rig/stop", data={"light": "end"}).status_code == 409
    assert client.post("/rig/stop", data={"light": "explode"}).status_code == 422
