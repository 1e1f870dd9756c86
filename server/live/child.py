"""One child of the start command: what it is, its process while it runs, when to start it again.

Linux only (pidfd, prctl).
"""

import contextlib
import ctypes
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import FrameType

from server.live.priority import served_first

FIRST_DELAY_S, LONGEST_DELAY_S = 0.05, 1.0
WELL_AFTER_S = 5.0
"""A child that lived this long is well: the next restart waits the first delay again. [s]"""
HOPELESS_CODES = (2, 78)
"""Exit codes that say "trying again will not help": wrong usage, EX_CONFIG."""
HOPELESS_DEATHS = 5
ASK_EVERY_S, STUCK_AFTER, SETTLES_WITHIN_S = 0.25, 2, 1.0
"""How often a child is asked, after how many silences it is stuck, and how long it settles. [s]"""
STOP_WITHIN_S = 8.0
"""Time a child has to end after SIGTERM before it is killed. [s]"""

_PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None, use_errno=True)


@dataclass(frozen=True)
class Child:
    """A process to keep alive.

    Parameters
    ----------
    name : str
        For messages.
    argv : sequence of str
        Program and arguments.
    env : mapping or None
        Its whole environment; None hands ours on.
    outlives : bool
        It goes on when the parent is killed.
    living : callable or None
        Process id of one that already runs and does what we want, or None. Asked before each start.
    answers : callable or None
        Whether it still answers; one that does not, twice running, is killed and started
        again. Must return within half a second.
    first_time : sequence of str
        Arguments added the first time only.
    pass_fds : sequence of int
        Open files handed on.
    delays_s : (float, float)
        Wait before a restart: doubling from the first to the longest. [s]
    urgent : bool
        It is served before all others from its first moment on, where the system allows that.
    """

    name: str
    argv: Sequence[str]
    env: Mapping[str, str] | None = None
    outlives: bool = False
    living: Callable[[], int | None] | None = None
    answers: Callable[[], bool] | None = None
    first_time: Sequence[str] = ()
    pass_fds: Sequence[int] = ()
    delays_s: tuple[float, float] = (FIRST_DELAY_S, LONGEST_DELAY_S)
    urgent: bool = False


class StopSignals:
    """Counts the wanted stops and makes them wake a select."""

    def __init__(self) -> None:
        self.seen = 0
        self.fd, self._wake = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._before = {
            number: signal.signal(number, self._note)
            for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
        }

    def _note(self, number: int, frame: FrameType | None) -> None:
        self.seen += 1
        with contextlib.suppress(BlockingIOError):  # full: then it wakes anyway
            os.write(self._wake, b"!")

    def drain(self) -> None:
        with contextlib.suppress(BlockingIOError):
            os.read(self.fd, 4096)

    def close(self) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)
        os.close(self.fd)
        os.close(self._wake)


class Run:
    """One child: its process, if it runs, and when to start it again."""

    def __init__(self, child: Child) -> None:
        self.child = child
        self.start_at = 0.0
        self.fd: int | None = None  # becomes readable when the process ends
        self._process: subprocess.Popen[bytes] | None = None  # None for an adopted one
        self._started = 0.0
        self._delay = child.delays_s[0]
        self._hopeless_deaths = 0
        self._ask_at, self._silent = 0.0, 0
        self.starts = 0

    @property
    def hopeless(self) -> bool:
        return self._hopeless_deaths >= (HOPELESS_DEATHS if self.starts > 1 else 1)

    @property
    def adopted(self) -> bool:
        """It was there before us."""
        return self.fd is not None and self._process is None

    def start_when_due(self, now: float) -> None:
        if self.fd is not None or now < self.start_at:
            return
        adopted = self.child.living() if self.child.living is not None else None
        if adopted is not None:
            try:
                self.fd = os.pidfd_open(adopted)
            except ProcessLookupError:
                adopted = None  # gone between answer and now
            else:
                say(f"{self.child.name} still runs (process {adopted}); taking it over")
        if adopted is None:
            self._process = subprocess.Popen(
                [*self.child.argv, *(self.child.first_time if not self.starts else ())],
                env=None if self.child.env is None else dict(self.child.env),
                stdin=subprocess.DEVNULL,
                process_group=0,
                pass_fds=self.child.pass_fds,
                preexec_fn=self._prepare,
            )
            self.fd = os.pidfd_open(self._process.pid)
        self.starts += 1
        self._started = time.monotonic()

    def _prepare(self) -> None:
        """In the child, before its program starts: die when the parent is gone, and so on."""
        if not self.child.outlives:
            _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
        if self.child.urgent:
            served_first()

    @property
    def ask_at(self) -> float:
        """When to ask next whether it still answers. [s]"""
        return self._ask_at if self.child.answers else float("inf")

    def kill_when_stuck(self, now: float) -> None:
        """A process that lives but does not answer is no use: kill it, and it is started anew."""
        if self.fd is None or self.child.answers is None or now < self._ask_at:
            return
        if now - self._started < SETTLES_WITHIN_S or self.child.answers():
            self._silent = 0
        else:
            self._silent += 1
        if self._silent >= STUCK_AFTER:
            say(f"{self.child.name} lives but does not answer; killing it")
            self._signal(signal.SIGKILL)
            self._silent = 0
        self._ask_at = time.monotonic() + ASK_EVERY_S

    def bury(self) -> int:
        """Note the end of the process and plan the next start. [exit code, 0 for an adopted one]"""
        code = self._collect()
        now = time.monotonic()
        if now - self._started >= WELL_AFTER_S:
            self._delay, self._hopeless_deaths = self.child.delays_s[0], 0
        elif code in HOPELESS_CODES:
            self._hopeless_deaths += 1
        else:
            self._hopeless_deaths = 0
        self.start_at = now + self._delay
        self._delay = min(2 * self._delay, self.child.delays_s[1])
        return code

    def stop(self, stops: StopSignals, how: str) -> None:
        """Ask the process to end by the signal named, wait, and kill it if it does not."""
        if self.fd is None:
            return
        if how == "leave":
            os.close(self.fd)
            self.fd = None
            return
        self._signal(signal.Signals[how])
        end = time.monotonic() + STOP_WITHIN_S
        while (left := end - time.monotonic()) > 0:
            impatient = stops.seen > 1 and not self.child.outlives
            ready, _, _ = select.select([self.fd, stops.fd], [], [], 0.0 if impatient else left)
            if self.fd in ready:
                self._collect()
                return
            if impatient:
                break
            stops.drain()
        say(f"{self.child.name} does not end; killing it")
        self._signal(signal.SIGKILL)
        select.select([self.fd], [], [], STOP_WITHIN_S)
        self._collect()

    def _signal(self, number: signal.Signals) -> None:
        assert self.fd is not None
        with contextlib.suppress(ProcessLookupError):
            signal.pidfd_send_signal(self.fd, number)

    def _collect(self) -> int:
        assert self.fd is not None
        os.close(self.fd)
        self.fd = None
        code = self._process.wait() if self._process is not None else 0
        self._process = None
        return code


def say(text: str) -> None:
    with contextlib.suppress(OSError, ValueError):  # the terminal may be gone
        print(f"thirdstop: {text}", file=sys.stderr, flush=True)
