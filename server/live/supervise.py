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
import os
import select
import time
from collections.abc import Callable, Mapping, Sequence

from server.live.child import Child, Run, StopSignals, say
from server.live.keeper_protocol import ask, hello


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


def keeper_answers(socket_path: str) -> bool:
    """Whether the keeper that listens there answers, asked for at most 0.3 s."""
    try:
        ask(socket_path, {"do": "status"}, timeout_s=0.3)
    except (OSError, ValueError):
        return False
    return True


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
    stops = StopSignals()
    runs = [Run(child) for child in children]
    ends: Mapping[str, str] = {}
    try:
        while not stops.seen:
            now = time.monotonic()
            for run in runs:
                run.start_when_due(now)
            for run in runs:
                run.kill_when_stuck(now)
            wake_at = min(
                *(run.start_at for run in runs if run.fd is None),
                *(run.ask_at for run in runs if run.fd is not None),
                now + 60.0,
            )
            watched = [run.fd for run in runs if run.fd is not None]
            ready, _, _ = select.select([stops.fd, *watched], [], [], max(0.0, wake_at - now))
            for run in runs:
                if run.fd in ready and not stops.seen:
                    code = run.bury()
                    if run.hopeless:
                        if run.starts > 1:
                            say(f"{run.child.name} cannot run here (exit code {code}); giving up")
                        # at the first start it has said why itself; a light that was there before
                        # us goes on
                        ends = {r.child.name: "leave" for r in runs if r.adopted}
                        return code
                    say(f"{run.child.name} ended unasked (exit code {code}); starting it again")
        stops.drain()
        ends = ending(stops.fd)
    finally:
        for run in reversed(runs):
            run.stop(stops, ends.get(run.child.name, "SIGTERM"))
        stops.close()
    return 0
