"""Faces on a running server. Run by hand: `python -m tests.bench.bench_faces`.

Twenty-four looks with eight turns of the face, drawn from nothing; the network sender's gaps
meanwhile, against its gaps while nothing is drawn; memory; and from a tap to the changed face.

Aims: first tiles of all looks in 6 s; tap to face 50 ms at p95; 400 MB; gaps as without drawing.
"""

import json
import os
import re
import signal
import socket
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
from http.client import HTTPConnection
from itertools import pairwise
from pathlib import Path
from urllib.parse import urlencode

from playwright.sync_api import sync_playwright

from tests.bench.bench_server import free_port, wait
from tests.browser.conftest import CHROMIUM, FLAGS

SO_TIMESTAMPNS = 35
WATCH = """() => {
  const box = document.querySelector('figure[data-face="now"]');
  window.times = [];
  let tapped = 0;
  addEventListener('pointerdown', () => { tapped = performance.now(); }, true);
  new MutationObserver(() => {
    if (!tapped) return;
    const begun = tapped, drawn = performance.now();
    tapped = 0;
    requestAnimationFrame(() => times.push([drawn - begun, performance.now() - begun]));
  }).observe(box, { attributeFilter: ['data-revision'] });
}"""


class Server:
    """A server that sends to a listener of ours, and the times at which packets came."""

    def __init__(self, folder: Path) -> None:
        self._listener = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._listener.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
        self._listener.bind(("127.0.0.1", 0))
        self.came: list[float] = []
        threading.Thread(target=self._listen, daemon=True).start()
        self.port = free_port()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(self.port),
             "--database", str(folder / "s.db"), "--output", "network",
             "--to", f"127.0.0.1:{self._listener.getsockname()[1]}"],
            stdout=subprocess.DEVNULL,
        )  # fmt: skip
        wait(self.port)

    def _listen(self) -> None:
        """The system's own time of arrival: this program may be late to read it."""
        while True:
            _, extra, _, _ = self._listener.recvmsg(1000, 100)
            seconds, nano = struct.unpack("qq", extra[0][2])
            self.came.append(seconds + nano * 1e-9)

    def ask(self, method: str, path: str, body: object = None, form: object = None) -> bytes:
        text = urlencode(form) if form else json.dumps(body) if body is not None else ""
        kind = "application/x-www-form-urlencoded" if form else "application/json"
        connection = HTTPConnection("127.0.0.1", self.port)
        connection.request(method, path, text, {"Content-Type": kind})
        answer = connection.getresponse()
        found = answer.read()
        connection.close()
        assert answer.status < 400, (path, answer.status, found)
        return found

    def gaps(self, seconds: float) -> list[float]:
        """Gaps between packets while one long fade goes on."""
        first = len(self.came)
        time.sleep(seconds)
        return [b - a for a, b in pairwise(self.came[first:])]


def told(name: str, gaps: list[float]) -> float:
    gaps.sort()
    p99 = gaps[int(0.99 * len(gaps))]
    print(f"{name}: {len(gaps)} gaps, p50 {1e3 * statistics.median(gaps):.1f},"
          f" p99 {1e3 * p99:.1f}, longest {1e3 * gaps[-1]:.1f} ms")  # fmt: skip
    return p99


def processes(pid: int) -> list[tuple[int, str]]:
    """A process and all that it started."""
    found = [(pid, Path(f"/proc/{pid}/cmdline").read_text().replace("\0", " "))]
    for thread in Path(f"/proc/{pid}/task").iterdir():
        for child in (thread / "children").read_text().split():
            found += processes(int(child))
    return found


def memory(pid: int) -> float:
    """Most that a process and all that it started held, each by itself. [MB]"""
    total = 0.0
    for each, name in processes(pid):
        peak = re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{each}/status").read_text())
        total += int(peak[1]) / 1024
        print(f"  {int(peak[1]) / 1024:4.0f} MB  ...{name[-45:]}")
    return total


def twelve_more_looks(server: Server) -> None:
    for i, yaw in enumerate((-40, -25, 25, 50)):
        for look in (4, 5, 7):
            server.ask("POST", "/api/recall", {"look": look, "fade_s": 0})
            form = {"yaw_deg": yaw, "white_over_lit_stops": 0.7}
            server.ask("POST", "/rig/sitter", form=form)
            server.ask("POST", "/api/looks", {"name": f"more {i} {look}"})
    looks = json.loads(server.ask("GET", "/api/looks"))
    assert len(looks) == 24
    server.ask("PUT", "/api/running-order", {"looks": sorted(look["id"] for look in looks)})


def main() -> None:
    server = Server(Path(tempfile.mkdtemp()))
    try:
        measure(server)
    finally:
        server.process.terminate()
        server.process.wait()


def measure(server: Server) -> None:
    twelve_more_looks(server)
    began = time.monotonic()
    server.ask("GET", "/")
    print(f"first page: {1e3 * (time.monotonic() - began):.0f} ms")
    marks: dict[int, float] = {}
    addresses: set[str] = set()

    def note_faces() -> None:
        page = server.ask("GET", "/library").decode()
        found = set(re.findall(r'src="(/faces/look/\d+)', page))
        addresses.update(found)
        for count in range(1, len(found) + 1):
            marks.setdefault(count, time.monotonic() - began)

    while len(addresses) < 24:
        note_faces()
        time.sleep(0.2)
    for count in (1, 6, 12, 24):
        print(f"  {count} of 24 looks can be seen after {marks[count]:.1f} s")
    (worker,) = (pid for pid, name in processes(server.process.pid) if "preview.worker" in name)
    still, drawing = [], []
    for i in range(14):  # in turn, so that whatever else runs here weighs on both alike
        os.kill(worker, signal.SIGCONT if i % 2 else signal.SIGSTOP)
        server.ask("POST", "/api/recall", {"look": 4 + i % 2, "fade_s": 8})
        (drawing if i % 2 else still).extend(server.gaps(1.5))
    quiet, busy = told("sender, worker stopped", still), told("sender, worker drawing", drawing)
    print(f"ratio of p99, drawing : stopped = {busy / quiet:.2f}")
    print(f"memory together {memory(server.process.pid):.0f} MB")

    with sync_playwright() as tools:
        browser = tools.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_context(
            viewport={"width": 820, "height": 1180}, has_touch=True
        ).new_page()
        server.ask("POST", "/api/recall", {"look": 5, "fade_s": 0})
        page.goto(f"http://127.0.0.1:{server.port}/board")
        page.wait_for_selector('figure[data-drawn$="-2.bin"]', timeout=60_000)
        page.evaluate(WATCH)
        for i in range(100):
            page.tap(f'[data-group="f"] .row-{"up" if i % 2 else "down"} button')
            page.wait_for_timeout(250)
        times = page.evaluate("times")
        for what, column in (("drawn", 0), ("next frame begun", 1)):
            each = sorted(t[column] for t in times)
            print(f"tap -> face {what}: p50 {statistics.median(each):.1f},"
                  f" p95 {each[int(0.95 * len(each))]:.1f} ms (n {len(each)})")  # fmt: skip
        browser.close()


if __name__ == "__main__":
    main()
