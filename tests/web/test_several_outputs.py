"""Network, a serial adapter and a desk set by hand at once; the adapter unplugged and back.

Octets on the serial line: ANSI E1.11: null START code, then the slots. A pseudo-terminal carries no
break, so a packet is found by its values.
"""

import json
import os
import pty
import select
import socket
import termios
import threading
import time
import tty
import urllib.request
from pathlib import Path

from tests.web.test_light_on_the_network import end, free_port, held, listener, post, start

__all__ = ["listener"]


class Adapter:
    """A pseudo-terminal under a name that stays, as /dev/serial/by-id does."""

    def __init__(self, name: Path) -> None:
        self.name = name
        self._seen = b""
        self.plug()

    def plug(self) -> None:
        far, near = pty.openpty()
        tty.setraw(near, termios.TCSANOW)
        self.name.symlink_to(os.ttyname(near))
        os.close(near)
        self._plugged = True
        self._reader = threading.Thread(target=self._read, args=(far,), daemon=True)
        self._reader.start()

    def unplug(self) -> None:
        self.name.unlink()
        self._plugged = False
        self._reader.join(2.0)

    def _read(self, far: int) -> None:
        while self._plugged:
            if not select.select([far], [], [], 0.05)[0]:
                continue
            try:
                self._seen = (self._seen + os.read(far, 4096))[-4096:]
            except OSError:  # nobody has opened it yet
                time.sleep(0.05)
        os.close(far)

    def carries(self, packet: bytes, within_s: float) -> bool:
        """Whether these octets come by."""
        until = time.monotonic() + within_s
        while packet not in self._seen and time.monotonic() < until:
            time.sleep(0.05)
        return packet in self._seen


def output(port: int) -> dict:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/state", timeout=3) as answer:
        return json.load(answer)["output"]


def told(port: int, words: str, within_s: float) -> dict:
    until = time.monotonic() + within_s
    while words not in (found := output(port))["message"] or (not words and found["message"]):
        assert time.monotonic() < until, found
        time.sleep(0.05)
    return found


def test_three_at_once_and_an_adapter_that_comes_and_goes(
    tmp_path: Path, listener: socket.socket
) -> None:
    adapter, port = Adapter(tmp_path / "adapter"), free_port()
    process = start(
        tmp_path, port, listener, "--output", "serial", "--device", str(adapter.name),
        "--output", "by-hand",
    )  # fmt: skip
    try:
        lit = post(port, "/api/recall", {"look": 4, "fade_s": 0})
        slots = held(listener, 2.0)
        key = next(h for h in lit["heads"] if h["name"] == "Key")
        assert list(slots[:2]) == key["signal"]
        assert adapter.carries(b"\0" + slots, 2.0), "the same light on both lines"
        assert output(port) == {"kind": "network + serial + by hand", "live": True, "message": ""}
        page = urllib.request.urlopen(f"http://127.0.0.1:{port}/by-hand", timeout=3).read()
        assert b"faders to move" in page

        adapter.unplug()
        state = told(port, "nothing gets out to", 3.0)
        assert not state["live"]
        assert str(adapter.name) in state["message"]
        post(port, "/api/nudge", {"head": "Fill", "thirds": 1})
        slots = held(listener, 1.5)  # the other line goes on meanwhile

        adapter.plug()
        assert adapter.carries(b"\0" + slots, 3.0), "back by itself, with the newest light"
        assert told(port, "", 2.0)["live"]
    finally:
        end(process)
