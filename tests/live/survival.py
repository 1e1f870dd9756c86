"""The whole program under nudges, its processes killed at random moments.

What must hold (E1.31-2018, 6.7.1: receivers give up after 2.5 s; here the limit is 1 s): no gap
between packets over 1 s, no packet without light, no end of the stream, every answered change in
the record, and after each kill the levels that were there before.
"""

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
from contextlib import closing
from dataclasses import dataclass, field
from http.client import HTTPException
from pathlib import Path

from tests.live.fakes import Listener, gaps, wait_for
from tests.live.keeper_process import ROOT

LIMIT_S = 1.0
NUDGED = ("Key", "Fill", "Hair", "Background")


@dataclass
class Answers:
    """What the operator was told, and what it was not told in the end."""

    state: dict = field(default_factory=dict)
    revisions: list[int] = field(default_factory=list)
    open_wishes: int = 0  # sent since the last answer, and never answered
    unanswered: int = 0


class Studio:
    """The start command with the demo studio, lamps that listen, and an operator who nudges."""

    def __init__(self, folder: Path, port: int, seed: int) -> None:
        self.listener = Listener()
        self.url = f"http://127.0.0.1:{port}"
        self.faults: list[str] = []
        self.answers = Answers()
        self.back_after_s: dict[str, list[float]] = {"web": [], "keeper": []}
        self._database = folder / "s.db"
        self._random = random.Random(seed)
        self._nudging = threading.Event()
        self._ending = False
        self.process = subprocess.Popen(
            [sys.executable, "-m", "server", "--host", "127.0.0.1", "--port", str(port),
             "--database", str(self._database), "--faces", "none", "--output", "network",
             "--to", f"127.0.0.1:{self.listener.port}"],
            cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        wait_for(lambda: self._state() is not None, 60.0, "the server")
        self.answers.state = self.ask("/api/recall", {"look": 4, "fade_s": 0}, 5.0)
        self.answers.revisions.append(self.answers.state["revision"])
        wait_for(lambda: len(self.listener.sent) > 3, 3.0, "the first light")
        self._operator = threading.Thread(target=self._operate)
        self._operator.start()

    # -- the operator --------------------------------------------------------------------------

    def ask(self, path: str, body: dict | None, timeout_s: float = 3.0) -> dict:
        """One call of the contract."""
        data = None if body is None else json.dumps(body).encode()
        headers = {"Content-Type": "application/json"}
        request = urllib.request.Request(self.url + path, data, headers)
        with urllib.request.urlopen(request, timeout=timeout_s) as answer:
            return json.load(answer)

    def _state(self) -> dict | None:
        try:
            return self.ask("/api/state", None, 1.0)
        except (OSError, HTTPException):
            return None

    def _operate(self) -> None:
        thirds = 1
        while not self._ending:
            if not self._nudging.wait(0.05):
                continue
            thirds = -thirds  # up and down, so that nothing runs into its end
            wish = {"head": self._random.choice(NUDGED), "thirds": thirds}
            self.answers.open_wishes += 1
            try:
                told = self.ask("/api/nudge", wish, 3.0)
            except (OSError, ValueError, HTTPException):  # broken off before or in the answer
                self.answers.unanswered += 1
                time.sleep(0.05)
                continue
            self.answers.open_wishes = 0
            self.answers.state = told
            self.answers.revisions.append(told["revision"])
            time.sleep(self._random.uniform(0.0, 0.03))

    # -- the kills -------------------------------------------------------------------------------

    def pid(self, which: str) -> int | None:
        """Process id of the web server or the keeper."""
        for task in Path(f"/proc/{self.process.pid}/task").iterdir():
            for pid in (task / "children").read_text().split():
                try:
                    words = Path(f"/proc/{pid}/cmdline").read_text()
                except OSError:
                    continue
                if ("server.live.keeper" in words) == (which == "keeper") and words:
                    return int(pid)
        return None

    def kill(self, which: str) -> None:
        """kill -9 at a random moment under nudges; then everything must be as it was."""
        self._nudging.set()
        time.sleep(self._random.uniform(0.05, 0.6))
        before = self.pid(which)
        assert before is not None, f"no {which} process"
        assert self._operator.is_alive(), "nobody nudges"
        os.kill(before, signal.SIGKILL)
        began = time.monotonic()
        if which == "web":
            self._nudging.clear()  # what was under way is broken off or answered
        count = len(self.listener.sent)
        wait_for(lambda: self.pid(which) not in (None, before), 10.0, f"a new {which}")
        if which == "keeper":
            wait_for(lambda: len(self.listener.sent) > count, 5.0, "light again")
            self.back_after_s[which].append(self.listener.sent[count].at - began)
            time.sleep(self._random.uniform(0.0, 0.3))
        wait_for(lambda: self._state() is not None, 60.0, "the server")
        if which == "web":
            self.back_after_s[which].append(time.monotonic() - began)
        self._nudging.clear()
        time.sleep(0.1)
        self.compare(which)

    def compare(self, which: str) -> None:
        """The state is as it was answered last, and the lamps show it."""
        told, last = self._state(), self.answers.state
        assert told is not None
        more = told["revision"] - last["revision"]
        if not 0 <= more <= self.answers.open_wishes:
            self.faults.append(
                f"{which}: revision {told['revision']} after {last['revision']} was answered and"
                f" {self.answers.open_wishes} were not"
            )
        if more == 0 and _signals(told) != _signals(last):
            self.faults.append(f"{which}: levels {_signals(told)} were {_signals(last)}")
        # a nudge that was stored but not answered may stand beside the last answer
        self.answers.state, self.answers.open_wishes = told, 0
        wanted = _slots(told)

        def lit() -> bool:
            slots = self.listener.sent[-1].slots
            return all(slots[at - 1] == value for at, value in wanted.items())

        try:
            wait_for(lit, 2.5, "the lamps")
        except AssertionError:
            self.faults.append(f"{which}: the lamps do not show what the state tells")

    def end(self) -> None:
        """A wanted stop, and the judgement."""
        self._ending = True
        self._operator.join(30)
        count = len(self.listener.sent)
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(30)
        time.sleep(0.1)
        sent = self.listener.sent[:count]
        self.listener.close()
        self.longest_gap_s = max(gaps(sent))
        self.packets = len(sent)
        if self.longest_gap_s > LIMIT_S:
            self.faults.append(f"a gap of {self.longest_gap_s:.2f} s between packets")
        if any(not any(packet.slots) for packet in sent):
            self.faults.append("a packet without light")
        if any(packet.terminated for packet in sent):
            self.faults.append("the stream was ended")
        with closing(sqlite3.connect(self._database)) as file:
            stored = {row[0] for row in file.execute("SELECT revision FROM event")}
        missing = set(self.answers.revisions) - stored
        if missing:
            self.faults.append(f"answered and not stored: revisions {sorted(missing)}")


def _signals(state: dict) -> dict[str, list[int]]:
    return {head["name"]: head["signal"] for head in state["heads"]}


ADDRESSES = {"Key": 1, "Fill": 5, "Hair": 9, "Background": 10}  # demo_data/rig.json


def _slots(state: dict) -> dict[int, int]:
    """Address -> value, of the first slot of each head that is nudged."""
    signals = _signals(state)
    return {address: signals[name][0] for name, address in ADDRESSES.items()}
