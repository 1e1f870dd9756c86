"""A process that renders, at the other end of a socket; standing back for everything else.

It is started as a program of its own, not forked and not "spawned": it then imports what draws and
nothing of the web server, which saves 40 MB and most of a second.
"""

import os
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

_NICE = 10
_ROOT = Path(__file__).resolve().parents[2]
_ENDS_WITHIN_S = 5.0


class Worker:
    """One such process; started when first needed."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._pipe: Connection | None = None
        self._stopped = False
        self._lock = threading.Lock()  # it may be stopped while it is being started

    def pid(self) -> int | None:
        """Its process number while it lives."""
        process = self._process
        return process.pid if process is not None and process.poll() is None else None

    def call(self, work: Callable[..., Any], *args: object) -> Any:
        """What `work(*args)` answers over there; EOFError or OSError when the process is gone.

        `work` is a function of a module, sent by its name. Its errors come back as RuntimeError.
        """
        pipe = self._running()
        pipe.send((work, args))
        answer, problem = pipe.recv()
        if problem:
            raise RuntimeError(problem)
        return answer

    def end(self) -> None:
        """End the process; the next call starts another."""
        with self._lock:
            process, pipe = self._process, self._pipe
            self._process = self._pipe = None
        if process is not None:
            process.terminate()
            try:
                process.wait(_ENDS_WITHIN_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        if pipe is not None:
            pipe.close()

    def stop(self) -> None:
        """End it for good."""
        with self._lock:
            self._stopped = True
        self.end()

    def _running(self) -> Connection:
        with self._lock:
            if self._stopped:
                raise OSError("the worker was stopped")
            if self._pipe is None:
                self._start()
            assert self._pipe is not None
            return self._pipe

    def _start(self) -> None:
        here, there = socket.socketpair()
        with there:
            # numpy may use one thread: the other core belongs to the light and the pages
            alone = {"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(_ROOT)}
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "server.preview.worker"],
                stdin=there.fileno(),
                stdout=subprocess.DEVNULL,
                env=os.environ | alone,
                start_new_session=True,  # Ctrl-C in the terminal is not for it
            )
        self._pipe = Connection(here.detach())


def main() -> None:
    """Life of the process: it ends when the other end of the socket is gone."""
    os.nice(_NICE)
    pipe = Connection(os.dup(sys.stdin.fileno()))
    while True:
        try:
            work, args = pipe.recv()
        except (EOFError, OSError):
            return
        answer: tuple[object, str]
        try:
            answer = (work(*args), "")
        except Exception as error:  # told to the web server, which shows it; this process lives on
            answer = (None, f"{type(error).__name__}: {error}")
        try:
            pipe.send(answer)
        except OSError:
            return


if __name__ == "__main__":
    main()
