"""Faces on a running server. Run by hand: `python -m tests.bench.bench_faces`.

Twenty-four looks with eight turns of the face, drawn from nothing; the network sender's gaps
meanwhile, against its gaps while nothing is drawn; memory; and from a tap to the changed face.

Aims: first tiles of all looks in 6 s; tap to face 50 ms at p95; 400 MB; gaps as without drawing.
"""

import contextlib
import json
import re
import socket
import statistics
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
        while True:
            self._listener.recv(1000)
            self.came.append(time.monotonic())

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

    def gaps_while(self, done, seconds: float) -> list[float]:
        """Gaps between packets while one fade follows another, until `done` or for so long."""
        began, look, next_fade = time.monotonic(), 4, 0.0
        first = None
        while time.monotonic() - began < seconds and not done():
            if time.monotonic() > next_fade:
                look, next_fade = 9 - look, time.monotonic() + 1.0
                self.ask("POST", "/api/recall", {"look": look, "fade_s": 3.0})
                first = first or len(self.came) + 1
            time.sleep(0.2)
        return sorted(b - a for a, b in pairwise(self.came[first:]))


def told(name: str, gaps: list[float]) -> float:
    p99 = gaps[int(0.99 * len(gaps))]
    print(f"{name}: {len(gaps)} gaps, p50 {1e3 * statistics.median(gaps):.1f},"
          f" p99 {1e3 * p99:.1f}, longest {1e3 * gaps[-1]:.1f} ms")  # fmt: skip
    return p99


def memory(pid: int) -> float:
    """Most that a process and its children held at once, each by itself. [MB]"""
    total = 0.0
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    threads = Path(f"/proc/{pid}/task").iterdir()
    children += [c for t in threads for c in (t / "children").read_text().split()]
    for each in {str(pid), *children}:
        with contextlib.suppress(OSError):
            status = Path(f"/proc/{each}/status").read_text()
            peak = int(re.search(r"VmHWM:\s+(\d+)", status)[1]) / 1024
            print(f"  process {each}: peak {peak:.0f} MB")
            total += peak
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
    twelve_more_looks(server)
    quiet = told(
        "sender while nothing is drawn",
        server.gaps_while(lambda: not server.ask("GET", "/sitting"), 20),
    )

    began = time.monotonic()
    server.ask("GET", "/")
    print(f"first page: {1e3 * (time.monotonic() - began):.0f} ms")
    marks: dict[int, float] = {}
    addresses: set[str] = set()
    last_news = [time.monotonic()]

    def all_fine() -> bool:
        page = server.ask("GET", "/library").decode()
        found = set(re.findall(r'src="(/faces/look/[^"]+)"', page))
        for count in range(1, len(found) + 1):
            marks.setdefault(count, time.monotonic() - began)
        if found - addresses:
            addresses.update(found)
            last_news[0] = time.monotonic()
        return len(found) == 24 and time.monotonic() - last_news[0] > 5

    busy = told("sender while faces are drawn", server.gaps_while(all_fine, 120))
    print(f"ratio of p99, drawing : quiet = {busy / quiet:.2f}")
    for count in (1, 6, 12, 24):
        print(f"  {count} of 24 looks can be seen after {marks[count]:.1f} s")
    print(f"  all as fine as they get after {last_news[0] - began:.1f} s")
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
    server.process.terminate()
    server.process.wait()


if __name__ == "__main__":
    main()
