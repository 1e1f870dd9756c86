"""A real server in a child process and a tablet-like browser. Left out without Chromium."""

import json
import os
import select
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.paths import ROOT

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


BOTH_WAYS = ("test_by_touch", "test_hold_and_places")
"""What keys do is tried on a tablet both ways up, all else upright only: it takes minutes."""


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Without Chromium there is no browser to test with; the test command says so too."""
    left_out = [
        item for item in items
        if "/browser/" in str(item.path).replace(os.sep, "/")
        and "lying" in item.name and item.path.stem not in BOTH_WAYS
    ]  # fmt: skip
    items[:] = [item for item in items if item not in left_out]
    config.hook.pytest_deselected(items=left_out)
    for item in items:
        if not CHROMIUM and "tests/browser" in str(item.path).replace(os.sep, "/"):
            item.add_marker(pytest.mark.skip(reason="Chromium is not installed"))


class LiveServer:
    """Pages at an address."""

    url: str

    def close(self) -> None:
        """A wanted stop."""
        raise NotImplementedError


class Started(LiveServer):
    """`python -m server` on a free port of 127.0.0.1, which can be killed and started again."""

    def __init__(self, folder: Path, faces: Path, *more: str, host: str = "127.0.0.1") -> None:
        self.host = self.address = host
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._folder, self._faces, self._more = folder, faces, more
        self._log = (folder / "server.log").open("ab")
        self.start()

    def start(self) -> None:
        """Start and wait until it answers; the log is in the failure."""
        self._process = subprocess.Popen(
            [sys.executable, "-m", "server", "--host", self.host, "--port", str(self.port),
             "--database", str(self._folder / "studio.db"), "--faces", str(self._faces),
             *self._more],
            stdout=self._log, stderr=subprocess.STDOUT,
        )  # fmt: skip
        until = time.monotonic() + 60  # a loaded machine takes its time
        while time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"{self.url}/api/state", timeout=1):
                    return
            except OSError:
                time.sleep(0.1)
        self.kill()
        self._log.flush()
        raise AssertionError((self._folder / "server.log").read_text())

    @property
    def pid(self) -> int:
        """Process id of the start command."""
        return self._process.pid

    def kill(self, how: int = signal.SIGKILL) -> None:
        """End it, by default without a chance to clean up."""
        self._process.send_signal(how)
        self._process.wait(10)

    def close(self) -> None:
        if self._process.poll() is None:
            self.kill(signal.SIGTERM)
        self._log.close()


class Forked(LiveServer):
    """The same pages from a fork of a process that has everything imported (ready.py)."""

    def __init__(self, pid: int, port: int) -> None:
        self.url = f"http://127.0.0.1:{port}"
        self._pid = pid
        self._ends = os.pidfd_open(pid)

    def close(self) -> None:
        for how in (signal.SIGTERM, signal.SIGKILL):
            if select.select([self._ends], [], [], 0)[0]:
                break  # ended by itself
            os.kill(self._pid, how)
            if select.select([self._ends], [], [], 10)[0]:
                break
        os.close(self._ends)


class Ready:
    """What makes such forks."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.browser.ready"], text=True, cwd=ROOT,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True,
        )  # fmt: skip

    def serve(self, folder: Path, faces: Path, *more: str) -> Forked:
        """A server of the studio in a folder; its log is there too."""
        words = ["--database", str(folder / "studio.db"), "--faces", str(faces), *more]
        assert self._process.stdin
        assert self._process.stdout
        self._process.stdin.write(json.dumps([str(folder / "server.log"), *words]) + "\n")
        self._process.stdin.flush()
        return Forked(*json.loads(self._process.stdout.readline()))

    def close(self) -> None:
        """End it, and with it what it made."""
        self._process.communicate()


@pytest.fixture(scope="session")
def ready() -> Iterator[Ready]:
    """Imports done once for all tests."""
    ready = Ready()
    yield ready
    ready.close()


@pytest.fixture
def server(tmp_path: Path, faces: Path, ready: Ready, demo_studio: Path) -> Iterator[LiveServer]:
    """The demo studio, served by a process of its own."""
    shutil.copy(demo_studio, tmp_path / "studio.db")
    live = ready.serve(tmp_path, faces)
    yield live
    live.close()


@pytest.fixture
def started(tmp_path: Path, faces: Path) -> Iterator[Started]:
    """The demo studio from the start command, for tests that kill what it started."""
    live = Started(tmp_path, faces)
    yield live
    live.close()


@pytest.fixture
def open_server(tmp_path: Path, faces: Path) -> Iterator[Started]:
    """The demo studio, open to the network. Left out on a machine that has no address in one."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: a documentation address, nothing is sent
            address = probe.getsockname()[0]
        except OSError:
            pytest.skip("this machine has no address in a network")
    live = Started(tmp_path, faces, host="0.0.0.0")
    live.address = address
    yield live
    live.close()


@pytest.fixture(scope="session")
def read_only(
    tmp_path_factory: pytest.TempPathFactory, faces: Path, ready: Ready
) -> Iterator[LiveServer]:
    """The demo studio for tests that only look: served once for all of them."""
    live = ready.serve(tmp_path_factory.mktemp("read_only"), faces)
    yield live
    live.close()


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, object]:
    """Debian's Chromium."""
    return {"executable_path": CHROMIUM, "args": FLAGS}


@pytest.fixture(params=[(820, 1180), (1180, 820)], ids=["upright", "lying"])
def browser_context_args(request: pytest.FixtureRequest) -> dict[str, object]:
    """A ten-inch tablet, both ways up."""
    width, height = request.param
    return {"viewport": {"width": width, "height": height}, "has_touch": True}
