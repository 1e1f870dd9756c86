"""Run by hand: nudge to packet, nudge against a bare handler, recall, start, memory.

python tests/bench/bench_server.py
"""

import contextlib
import json
import resource
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from http.client import HTTPConnection
from pathlib import Path

BARE = """
import uvicorn
from starlette.applications import Starlette
from starlette.responses import JSONResponse
from starlette.routing import Route
async def nudge(request):
    return JSONResponse({"got": (await request.json())["thirds"]})
uvicorn.run(Starlette(routes=[Route("/api/nudge", nudge, methods=["POST"])]),
            host="127.0.0.1", port=PORT, log_level="error")
"""


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def wait(port: int) -> None:
    for _ in range(600):
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.1):
            return
        time.sleep(0.01)


def post(connection: HTTPConnection, path: str, body: object) -> float:
    started = time.perf_counter()
    connection.request("POST", path, json.dumps(body), {"Content-Type": "application/json"})
    answer = connection.getresponse()
    text = answer.read()
    assert answer.status < 300, text
    return 1000 * (time.perf_counter() - started)


def peak_mb(pid: str) -> float:
    """Peak resident memory of a process. [MB]"""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / 1000


def recalls(connection: HTTPConnection) -> list[float]:
    return [post(connection, "/api/recall", {"look": 2 + i % 6}) for i in range(200)]


def told(name: str, values: list[float]) -> float:
    values = sorted(values)
    p50, p99 = statistics.median(values), values[int(0.99 * len(values))]
    print(f"{name}: p50 {p50:.2f} ms, p99 {p99:.2f} ms (n {len(values)})")
    return p50


def main() -> None:
    folder = Path(tempfile.mkdtemp())
    listener = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    listener.bind(("127.0.0.1", 0))
    listener.settimeout(2)
    port, bare_port = free_port(), free_port()
    started = time.perf_counter()
    command = [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(port),
               "--database", str(folder / "s.db"), "--output", "network",
               "--to", f"127.0.0.1:{listener.getsockname()[1]}"]  # fmt: skip
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    wait(port)
    connection = HTTPConnection("127.0.0.1", port)
    post(connection, "/api/recall", {"look": 4})
    listener.recv(1000)
    print(
        f"new database, start and first look -> first packet: {time.perf_counter() - started:.2f} s"
    )
    time.sleep(2)

    packets = []
    for i in range(100):
        time.sleep(0.3)
        listener.setblocking(False)
        with contextlib.suppress(BlockingIOError):
            while True:
                before = listener.recv(1000)
        listener.setblocking(True)
        begin = time.perf_counter()
        body = json.dumps({"role": "key", "thirds": 1 if i % 2 else -1})
        connection.request("POST", "/api/nudge", body, {"Content-Type": "application/json"})
        while listener.recv(1000)[126:] == before[126:]:
            pass
        packets.append(1000 * (time.perf_counter() - begin))
        connection.getresponse().read()
    told("POST nudge -> first changed packet", packets)

    bare = subprocess.Popen([sys.executable, "-c", BARE.replace("PORT", str(bare_port))])
    wait(bare_port)
    other = HTTPConnection("127.0.0.1", bare_port)
    mine, floor = [], []
    for i in range(500):
        wish = {"role": "key", "thirds": 1 if i % 2 else -1}
        mine.append(post(connection, "/api/nudge", wish))
        floor.append(post(other, "/api/nudge", wish))
    ratio = told("nudge POST", mine) / told("bare Starlette handler", floor)
    print(f"ratio nudge : bare = {ratio:.1f}")
    bare.terminate()

    few = told("recall among 12 looks", recalls(connection))
    database = sqlite3.connect(folder / "s.db")
    columns = [c[1] for c in database.execute("PRAGMA table_info(look)") if c[1] != "id"]
    names = ", ".join(columns)
    values = ", ".join("NULL" if c == "place" else c for c in columns)
    database.execute(
        f"INSERT INTO look ({names}) WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n"
        f" WHERE i < 9990) SELECT {values} FROM look, n WHERE look.id = 1"
    )
    database.commit()
    many = told("recall among 10,000 looks", recalls(connection))
    print(f"ratio 10,000 : 12 = {many / few:.2f}")

    watched = Path(f"/proc/{server.pid}/task/{server.pid}/children").read_text().split()
    peaks = [peak_mb(pid) for pid in (str(server.pid), *watched)]
    print(f"memory, peak: {' + '.join(f'{p:.0f}' for p in peaks)} = {sum(peaks):.0f} MB")
    server.terminate()
    server.wait()
    started = time.perf_counter()
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    listener.setblocking(False)
    with contextlib.suppress(BlockingIOError):
        while True:
            listener.recv(1000)
    listener.settimeout(10)
    listener.recv(1000)
    print(f"restart -> first packet: {time.perf_counter() - started:.2f} s")
    server.terminate()
    server.wait()
    print(f"(children's peak {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024} MB)")


if __name__ == "__main__":
    main()
