"""A real server in a child process and a tablet-like browser. Left out without Chromium."""

import os
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
        """A wanted stop."""
        if self._process.poll() is None:
            self.kill(signal.SIGTERM)
        self._log.close()


@pytest.fixture(scope="session")
def faces(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where faces are kept: drawn once for all tests."""
    return tmp_path_factory.mktemp("faces")


@pytest.fixture
def server(tmp_path: Path, faces: Path) -> Iterator[LiveServer]:
    """The demo studio, really served."""
    live = LiveServer(tmp_path, faces)
    yield live
    live.close()


@pytest.fixture
def open_server(tmp_path: Path, faces: Path) -> Iterator[LiveServer]:
    """The demo studio, open to the network. Left out on a machine that has no address in one."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: a documentation address, nothing is sent
            address = probe.getsockname()[0]
        except OSError:
            pytest.skip("this machine has no address in a network")
    live = LiveServer(tmp_path, faces, host="0.0.0.0")
    live.address = address
    yield live
    live.close()


@pytest.fixture(scope="session")
def read_only(tmp_path_factory: pytest.TempPathFactory, faces: Path) -> Iterator[LiveServer]:
    """The demo studio for tests that only look: served once for all of them."""
    live = LiveServer(tmp_path_factory.mktemp("read_only"), faces)
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
