"""A parent that keeps its child processes alive: the lamp keeper and the web server.

Decisions
---------
* Children start in the order given and are stopped in the reverse order, one after the other: the
  web server first, so that nobody plays any more, then the keeper, which ends the stream.
* Each child has a process group of its own: Ctrl-C in the terminal reaches only the parent.
* A child with ``outlives`` goes on when the parent is killed (the light outlives everything); on
  the next start ``living`` finds it and it is adopted instead of starting another. All other
  children are killed by the system when their parent dies, so that no web server is left behind
  holding the port: what they answered is stored already.
* SIGTERM, SIGINT and SIGHUP (a closed terminal) are a wanted stop. A second one is impatience: what
  is not yet gone is killed, except that a child that outlives still gets its time to end well.

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

from server.live.keeper_protocol import ask, hello
from server.live.priority import served_first

FIRST_DELAY_S, LONGEST_DELAY_S = 0.05, 1.0
WELL_AFTER_S = 5.0
"""A child that lived this long is well: the next restart waits the first delay again. [s]"""
HOPELESS_CODES = (2, 78)
"""Exit codes that say "trying again will not help": wrong usage, EX_CONFIG."""
HOPELESS_DEATHS = 5
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
    first_time: Sequence[str] = ()
    pass_fds: Sequence[int] = ()
    delays_s: tuple[float, float] = (FIRST_DELAY_S, LONGEST_DELAY_S)
    urgent: bool = False


def living_keeper(socket_path: str, argv: Sequence[str]) -> int | None:
    """Process id of a keeper left by an earlier parent, if it was started with the same options.

    One with other options (say, another destination) is told to end itself without terminating the
    stream: the new one goes on from the state file at once, so the lamps see no end.

    Parameters
    ----------
    socket_path : str
        Where it would listen.
    argv : sequence of str
        The options wanted: what follows ``python -m server.live.keeper``.
    """
    try:
        found = hello(socket_path)
        if found.argv == tuple(argv):
            return found.pid
        ask(socket_path, {"do": "stop", "terminate": False}, timeout_s=2.0)
    except (OSError, ValueError, KeyError):
        return None  # nobody there; one that hangs is found by its lock when ours starts
    with contextlib.suppress(OSError):
        fd = os.pidfd_open(found.pid)
        select.select([fd], [], [], 2.0)
        os.close(fd)
    return None


def supervise(
    children: Sequence[Child], ending: Callable[[int], Mapping[str, str]] = lambda _fd: {}
) -> int:
    """Start the children, restart whichever dies unasked, until a wanted stop. [exit code]

    Must be called in the main thread; takes over SIGTERM, SIGINT and SIGHUP.

    Parameters
    ----------
    children : sequence of Child
        Started in this order, stopped in the reverse.
    ending : callable
        Asked once at a wanted stop, with an open file that becomes readable at the next stop signal
        (the asking should then end): child's name -> the signal that ends it in place of SIGTERM,
        or "leave" to let it run on.

    Returns
    -------
    int
        0 after a wanted stop; the child's own code when one died with one of `HOPELESS_CODES` at
        its first start, or later `HOPELESS_DEATHS` times in a row, having lived less than
        `WELL_AFTER_S`.
    """
    stops = _StopSignals()
    runs = [_Run(child) for child in children]
    ends: Mapping[str, str] = {}
    try:
        while not stops.seen:
            now = time.monotonic()
            for run in runs:
                run.start_when_due(now)
            wake_at = min((run.start_at for run in runs if run.fd is None), default=now + 60.0)
            watched = [run.fd for run in runs if run.fd is not None]
            ready, _, _ = select.select([stops.fd, *watched], [], [], max(0.0, wake_at - now))
            for run in runs:
                if run.fd in ready and not stops.seen:
                    code = run.bury()
                    if run.hopeless:
                        if run.starts > 1:
                            _say(f"{run.child.name} cannot run here (exit code {code}); giving up")
                        # at the first start it has said why itself; a light that was there before
                        # us goes on
                        ends = {r.child.name: "leave" for r in runs if r.adopted}
                        return code
                    _say(f"{run.child.name} ended unasked (exit code {code}); starting it again")
        stops.drain()
        ends = ending(stops.fd)
    finally:
        for run in reversed(runs):
            run.stop(stops, ends.get(run.child.name, "SIGTERM"))
        stops.close()
    return 0


class _StopSignals:
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


class _Run:
    """One child: its process, if it runs, and when to start it again."""

    def __init__(self, child: Child) -> None:
        self.child = child
        self.start_at = 0.0
        self.fd: int | None = None  # becomes readable when the process ends
        self._process: subprocess.Popen[bytes] | None = None  # None for an adopted one
        self._started = 0.0
        self._delay = child.delays_s[0]
        self._hopeless_deaths = 0
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
                _say(f"{self.child.name} still runs (process {adopted}); taking it over")
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

    def stop(self, stops: _StopSignals, how: str) -> None:
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
        _say(f"{self.child.name} does not end; killing it")
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


def _say(text: str) -> None:
    with contextlib.suppress(OSError, ValueError):  # the terminal may be gone
        print(f"thirdstop: {text}", file=sys.stderr, flush=True)
