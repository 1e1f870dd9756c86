"""Browser-less pages: clients of the events stream, and operators who nudge. For test and bench."""

import json
import socket
import subprocess
import sys
import threading
import time
from http.client import HTTPConnection
from pathlib import Path


class Served:
    """`python -m server` on a free port of 127.0.0.1, without faces."""

    def __init__(self, folder: Path, *more: str) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port: int = free.getsockname()[1]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(self.port),
             "--database", str(folder / "s.db"), "--faces", "none", *more],
            stdout=subprocess.DEVNULL,
        )  # fmt: skip
        self.post("/api/recall", {"look": 4})

    def post(self, path: str, body: object) -> dict:
        """One request on a connection of its own; waits for a server that is starting."""
        until = time.monotonic() + 60  # a loaded machine takes its time
        while True:
            connection = HTTPConnection("127.0.0.1", self.port, timeout=10)
            try:
                headers = {"Content-Type": "application/json"}
                connection.request("POST", path, json.dumps(body), headers)
                return json.load(connection.getresponse())
            except OSError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.05)
            finally:
                connection.close()

    def close(self) -> None:
        self.process.terminate()
        self.process.wait(30)


class Page(threading.Thread):
    """Reads the events stream and notes when each revision was heard. [s, monotonic]"""

    def __init__(self, port: int) -> None:
        super().__init__(daemon=True)
        self.heard: dict[int, float] = {}
        self.state: dict = {}
        self._connection = HTTPConnection("127.0.0.1", port, timeout=10)
        self._connection.request("GET", "/api/events?view=board")
        self._answer = self._connection.getresponse()

    def run(self) -> None:
        kind = ""
        try:
            while line := self._answer.readline():
                if line.startswith(b"event: "):
                    kind = line[7:].strip().decode()
                elif line.startswith(b"data: ") and kind == "state":
                    self.state = json.loads(line[6:])
                    self.heard.setdefault(self.state["revision"], time.monotonic())
        except (OSError, ValueError, AttributeError):
            return  # closed

    def close(self) -> None:
        self._connection.sock.shutdown(socket.SHUT_RDWR)  # wakes the reading thread
        self.join()
        self._connection.close()


class Operator(threading.Thread):
    """Nudges one role up and down, as fast as it is told, and notes when each was sent."""

    def __init__(self, port: int, role: str, every_s: float, until: float) -> None:
        super().__init__(daemon=True)
        self.sent: dict[int, float] = {}
        self.role = role
        self._port, self._every_s, self._until = port, every_s, until

    def run(self) -> None:
        connection = HTTPConnection("127.0.0.1", self._port, timeout=10)
        thirds = -1
        while time.monotonic() < self._until:
            at = time.monotonic()
            body = json.dumps({"role": self.role, "thirds": thirds})
            connection.request("POST", "/api/nudge", body, {"Content-Type": "application/json"})
            self.sent[json.load(connection.getresponse())["revision"]] = at
            thirds = -thirds
            time.sleep(self._every_s)
        connection.close()


def listened(port: int, pages: int, seconds: float) -> tuple[list[Page], list[Operator]]:
    """So many pages open while two operators nudge; then all that was heard and sent."""
    open_pages = [Page(port) for _ in range(pages)]
    for page in open_pages:
        page.start()
    until = time.monotonic() + seconds
    operators = [Operator(port, role, 0.1, until) for role in ("key", "fill")]
    for operator in operators:
        operator.start()
    for operator in operators:
        operator.join()
    time.sleep(0.6)  # the last fade ends and is told
    for page in open_pages:
        page.close()
    return open_pages, operators


def delays_ms(pages: list[Page], operators: list[Operator]) -> list[float]:
    """From sending a nudge to hearing it, on every page that was told that revision itself."""
    return sorted(
        1000 * (page.heard[revision] - at)
        for operator in operators
        for revision, at in operator.sent.items()
        for page in pages
        if revision in page.heard
    )
