"""A lamp keeper as a real process, for tests that kill it."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from server.live.output import Timeline
from tests.live.fakes import Listener, slots_of, wait_for

ROOT = Path(__file__).resolve().parents[2]


def keeper_options(folder: Path, port: int, *more: str) -> list[str]:
    """Options of a keeper whose files are in one folder and whose lamps listen on one port."""
    return ["--socket", str(folder / "keeper.sock"), "--state", str(folder / "keeper.state"),
            "--to", f"127.0.0.1:{port}", *more]  # fmt: skip


def keeper_command(options: list[str]) -> list[str]:
    return [sys.executable, "-m", "server.live.keeper", *options]


class KeeperProcess:
    """Starts and ends one keeper; `start` may be called again after a kill."""

    def __init__(self, folder: Path, listener: Listener, *more: str) -> None:
        self.socket = str(folder / "keeper.sock")
        self.options = keeper_options(folder, listener.port, *more)
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(keeper_command(self.options), cwd=ROOT)

    def ready(self) -> None:
        wait_for(lambda: os.path.exists(self.socket), 3.0, "the keeper's socket")

    def kill(self, number: int = signal.SIGKILL) -> int:
        """Send a signal and wait for the end. [exit code]"""
        assert self.process is not None
        self.process.send_signal(number)
        return self.process.wait(5.0)

    def end(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.kill()


def ramp(start: float, seconds: float, low: int, high: int, rate: float = 40.0) -> Timeline:
    """A fade of slot 1 of universe 1 from one byte to another; slot 2 stays at 33."""
    steps = round(seconds * rate)
    return Timeline(
        tuple(
            (start + i / rate, {1: slots_of(low + round((high - low) * i / steps), 33)})
            for i in range(steps + 1)
        )
    )


def now_ramp(seconds: float, low: int, high: int) -> Timeline:
    return ramp(time.monotonic(), seconds, low, high)
