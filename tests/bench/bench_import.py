"""Run by hand: what others wait for while a large studio comes in from its file, and goes out.

python -m tests.bench.bench_import [LOOKS]

Someone nudges and someone reads the state, a tenth of a second apart, all the while. Printed are
the seconds each step takes and the longest wait of each, beside the longest while nothing comes in.
"""

import json
import re
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from http.client import HTTPConnection
from pathlib import Path

from tests.web.listening import Served

GAP_S = 0.1


class Others:
    """Those who nudge and look meanwhile: the longest wait since it was asked last. [s]"""

    def __init__(self, port: int) -> None:
        self._port, self._over, self.longest = port, threading.Event(), [0.0, 0.0]
        for which, ask in enumerate((self._nudge, self._look)):
            threading.Thread(target=self._again, args=(which, ask), daemon=True).start()

    def _again(self, which: int, ask: Callable[[HTTPConnection, int], None]) -> None:
        connection, turn = HTTPConnection("127.0.0.1", self._port, timeout=60), 0
        while not self._over.is_set():
            began = time.monotonic()
            ask(connection, turn)
            answer = connection.getresponse()
            state = json.load(answer)
            assert answer.status == 200, state
            assert not state["unsaved"], state["unsaved"]
            self.longest[which] = max(self.longest[which], time.monotonic() - began)
            turn += 1
            time.sleep(GAP_S)

    def _nudge(self, connection: HTTPConnection, turn: int) -> None:
        body = json.dumps({"role": "key", "thirds": 1 if turn % 2 else -1})
        connection.request("POST", "/api/nudge", body, {"Content-Type": "application/json"})

    def _look(self, connection: HTTPConnection, turn: int) -> None:
        connection.request("GET", "/api/state")

    def during(self, what: str, work: Callable[[], bytes]) -> bytes:
        """Do it, and tell how long it took and how long the others waited."""
        self.longest = [0.0, 0.0]
        began = time.monotonic()
        done = work()
        took, (nudge, look) = time.monotonic() - began, self.longest
        print(f"{what:22} {took:6.2f} s; longest wait: nudge {nudge:.2f} s, state {look:.2f} s")
        return done

    def stop(self) -> None:
        self._over.set()


def asked(port: int, method: str, path: str, body: bytes = b"", kind: str = "") -> bytes:
    """One request; the answer's text."""
    connection = HTTPConnection("127.0.0.1", port, timeout=300)
    connection.request(method, path, body, {"Content-Type": kind} if kind else {})
    answer = connection.getresponse()
    text = answer.read()
    connection.close()
    assert answer.status < 400, text[:400]
    return text


def large(port: int, count: int) -> bytes:
    """The demo studio with so many looks."""
    told = json.loads(asked(port, "GET", "/rooms/export"))
    kept = told["looks"]
    told["looks"] = [
        {**kept[i % len(kept)], "name": f"Look {i}", "stops": {
            head: below and f"{i % 97 + 1}/{i % 13 + 12}"
            for head, below in kept[i % len(kept)]["stops"].items()}}
        for i in range(count)
    ]  # fmt: skip
    return json.dumps(told).encode()


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    served = Served(Path(tempfile.mkdtemp()))
    try:
        text, port = large(served.port, count), served.port
        body = (
            b'--x\r\nContent-Disposition: form-data; name="document"; filename="s.json"\r\n\r\n'
            + text
            + b"\r\n--x--\r\n"
        )
        print(f"{count} looks, {len(text) / 1e6:.1f} MB")
        others = Others(port)
        others.during("nothing", lambda: bytes(time.sleep(3) or 0))
        page = others.during(
            "looked at",
            lambda: asked(port, "POST", "/rooms/import", body, "multipart/form-data; boundary=x"),
        )
        number = re.findall(rb"/rooms/import/([0-9a-f]+)", page)[0].decode()
        others.during("put in place", lambda: asked(port, "POST", f"/rooms/import/{number}"))
        out = others.during("saved again", lambda: asked(port, "GET", "/rooms/export"))
        others.stop()
        assert len(json.loads(out)["looks"]) == count
    finally:
        served.close()


if __name__ == "__main__":
    main()
