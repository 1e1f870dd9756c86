"""How evenly light leaves while faces are drawn beside it. By hand:

    python -m tests.bench.bench_jitter [SECONDS]

The whole program with the demo studio, lamps on loopback, for SECONDS (default 1800): fades of two
seconds one after another, a rest now and then, and the sitter turned every few seconds, so that all
faces are drawn anew all the time. Moments are the kernel's own (SO_TIMESTAMPNS), taken when a
packet arrives. Prints the gaps between packets in fades and in rests, as ratios to 1/44 s and to
the second that E1.31-2018, 6.6.2 allows. Exits with 1 when the 99th percentile of a fade's gaps is
more than 1 ms off.
"""

import json
import socket
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from itertools import pairwise
from pathlib import Path

from tests.live.keeper_process import ROOT
from tests.web.test_light_on_the_network import answers, free_port

FRAME_S = 1 / 44
FADE_S = 2.0
EDGE_S = 0.1  # the first and the last of a fade's packets belong half to the rest beside it
SO_TIMESTAMPNS = 35  # Linux, asm-generic/socket.h


class Receiver:
    """Arrivals of all packets, by the kernel's clock. [s]"""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
        self.port: int = self._socket.getsockname()[1]
        self.arrivals: list[float] = []
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        while True:
            _, extra, _, _ = self._socket.recvmsg(2048, 256)
            seconds, nanoseconds = struct.unpack("qq", extra[0][2][:16])
            self.arrivals.append(seconds + nanoseconds * 1e-9)


def ask(port: int, path: str, body: object, method: str = "POST") -> dict:
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}",
        json.dumps(body).encode() if body is not None else None,
        {"Content-Type": "application/json"},
        method=method,
    )
    with urllib.request.urlopen(request, timeout=10) as answer:
        return json.load(answer)


def drive(port: int, seconds: float) -> list[tuple[float, float]]:
    """Fades, rests and turned heads; the fades' spans on the wall clock."""
    rig = ask(port, "/api/rig", None, "GET")
    until, spans, number = time.monotonic() + seconds, [], 0
    while time.monotonic() < until:
        number += 1
        if number % 4 == 0:  # everything is drawn anew
            rig["sitter"]["yaw_deg"] = float(number % 60 - 30)
            ask(port, "/api/rig", rig, "PUT")
            for page in ("/", "/board"):  # faces are drawn when a page wants them
                urllib.request.urlopen(f"http://127.0.0.1:{port}{page}", timeout=10).close()
        began = time.time()
        ask(port, "/api/recall", {"look": (4, 9, 5, 7)[number % 4], "fade_s": FADE_S})
        spans.append((began + EDGE_S, began + FADE_S - EDGE_S))
        time.sleep(FADE_S + (4.0 if number % 8 == 0 else 0.2))
    return spans


def told(name: str, found: list[float], unit_s: float) -> None:
    cuts = statistics.quantiles(found, n=1000)
    line = "  ".join(
        f"{word} {value * 1e3:.2f} ms ({value / unit_s:.3f})"
        for word, value in (
            ("p1", cuts[9]), ("median", cuts[499]), ("p99", cuts[989]),
            ("p99.9", cuts[998]), ("shortest", min(found)), ("longest", max(found)),
        )
    )  # fmt: skip
    print(f"{name}, {len(found)} gaps: {line}")


def main() -> int:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 1800.0
    receiver, port = Receiver(), free_port()
    with tempfile.TemporaryDirectory() as folder:
        process = subprocess.Popen(
            [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(port),
             "--database", str(Path(folder) / "s.db"), "--output", "network",
             "--to", f"127.0.0.1:{receiver.port}"],
            cwd=ROOT, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            answers(process, port)
            spans = drive(port, seconds)
        finally:
            process.terminate()
            process.wait(15)
        drawn = sum(1 for path in Path(folder, "s.faces").rglob("*") if path.is_file())
    gaps = list(pairwise(receiver.arrivals))
    fades = [b - a for a, b in gaps if any(begin <= a and b <= end for begin, end in spans)]
    rests = [b - a for a, b in gaps if b - a > 0.8]
    print(f"{len(receiver.arrivals)} packets, {len(spans)} fades, {drawn} files of faces kept")
    told("fades, ratio to 1/44 s", fades, FRAME_S)
    if len(rests) > 1:
        told("rests, ratio to 1 s", rests, 1.0)
    p99 = statistics.quantiles(fades, n=100)[98]
    return 1 if abs(p99 - FRAME_S) > 0.001 or max(rests, default=0.0) > 1.0 else 0


if __name__ == "__main__":
    sys.exit(main())
