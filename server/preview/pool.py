"""Rendering in processes of its own, so that the pages never wait for a picture.

Each worker process has a thread here that feeds it, newest request first: the face on the screen
now matters more than the one scrolled past. A worker that dies is replaced and its frame is tried
once more. The processes are started by "spawn": a script that makes a pool needs
`if __name__ == "__main__":`.
"""

import logging
import multiprocessing
import os
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from server.preview.frames import FrameCache, one_light_frame, unit_source
from server.preview.scene import Scene, Source

_log = logging.getLogger(__name__)
_NICE = 10
_TRIES = 2


@dataclass(frozen=True)
class Finished:
    """A request done: its frames in the order of its sources, or what went wrong."""

    scene: Scene
    sources: tuple[Source, ...]
    frames: tuple[np.ndarray, ...]
    problem: str = ""


@dataclass(frozen=True)
class Progress:
    """Frames, since the pool was started."""

    waiting: int
    rendering: int
    done: int
    failed: int


@dataclass(eq=False)
class _Request:
    scene: Scene
    sources: tuple[Source, ...]
    done: Callable[[Finished], None]
    frames: dict[int, np.ndarray] = field(default_factory=dict)
    problem: str = ""


class PreviewPool:
    """Worker processes that fill a FrameCache. `close` it, or use it as a context manager."""

    def __init__(self, cache: FrameCache, workers: int = 1) -> None:
        self.cache = cache
        self._stack: list[tuple[_Request, int]] = []
        self._wake = threading.Condition()
        self._closing = False
        self._rendering = self._done = self._failed = 0
        self._workers = [_Worker(cache.folder) for _ in range(workers)]
        self._threads = [
            threading.Thread(target=self._serve, args=(worker,), name="preview", daemon=True)
            for worker in self._workers
        ]
        for thread in self._threads:
            thread.start()

    def __enter__(self) -> "PreviewPool":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def submit(
        self, scene: Scene, sources: Sequence[Source], done: Callable[[Finished], None]
    ) -> None:
        """Ask for one frame per source; `done` is called once, from a thread of the pool."""
        request = _Request(scene, tuple(sources), done)
        if not request.sources:
            raise ValueError("submit needs at least one source")
        with self._wake:
            if self._closing:
                raise RuntimeError("the preview pool is closed")
            self._stack.extend((request, i) for i in reversed(range(len(request.sources))))
            self._wake.notify_all()

    def progress(self) -> Progress:
        """How many frames wait, are being rendered, are done and have failed."""
        with self._wake:
            return Progress(len(self._stack), self._rendering, self._done, self._failed)

    def worker_pids(self) -> tuple[int, ...]:
        """Process numbers of the workers now alive."""
        return tuple(pid for worker in self._workers if (pid := worker.pid()) is not None)

    def close(self) -> None:
        """Drop what waits and end the workers; requests not finished are told so."""
        with self._wake:
            self._closing = True
            dropped = {id(request): request for request, _ in self._stack}
            self._stack.clear()
            self._wake.notify_all()
        for worker in self._workers:
            worker.stop()
        for thread in self._threads:
            thread.join(timeout=10)
        for request in dropped.values():
            self._settle(request, problem="the preview pool was closed")

    def _serve(self, worker: "_Worker") -> None:
        while True:
            with self._wake:
                while not self._stack and not self._closing:
                    self._wake.wait()
                if self._closing:
                    return
                request, i = self._stack.pop()
                if request.problem:  # one frame of it failed: the rest is not wanted
                    continue
                self._rendering += 1
            frame, problem = None, ""
            try:
                frame = self._frame(worker, request.scene, request.sources[i])
            except Exception as error:
                problem = str(error) or type(error).__name__
                _log.warning("a preview frame failed: %s", problem)
            with self._wake:
                self._rendering -= 1
                if frame is None:
                    self._failed += 1
                else:
                    self._done += 1
                    request.frames[i] = frame
            self._settle(request, problem)

    def _frame(self, worker: "_Worker", scene: Scene, source: Source) -> np.ndarray:
        kept = self.cache.peek(scene, source)
        if kept is not None:
            return kept
        for attempt in range(1, _TRIES + 1):
            try:
                unit = worker.render(scene, unit_source(source))
                return self.cache.keep(scene, source, unit)
            except (EOFError, OSError) as error:
                if self._closing:
                    raise RuntimeError("the preview pool was closed") from error
                _log.warning("a preview worker died (try %d of %d)", attempt, _TRIES)
                worker.replace()
        raise RuntimeError(f"the preview worker died {_TRIES} times on this frame")

    def _settle(self, request: _Request, problem: str) -> None:
        """Call `done` when the request's last frame is in, or at its first problem; once."""
        with self._wake:
            complete = len(request.frames) == len(request.sources)
            if request.problem or not (complete or problem):
                return
            request.problem = problem
        frames = tuple(request.frames[i] for i in range(len(request.sources))) if complete else ()
        try:
            request.done(Finished(request.scene, request.sources, frames, problem))
        except Exception:
            _log.exception("what was to happen after a preview frame failed")


class _Worker:
    """One process at the other end of a pipe; started when first needed."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        self._context = multiprocessing.get_context("spawn")
        self._process: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection | None = None
        self._stopped = False

    def pid(self) -> int | None:
        process = self._process
        return process.pid if process is not None and process.is_alive() else None

    def render(self, scene: Scene, source: Source) -> np.ndarray:
        """The frame, rendered over there; EOFError or OSError when the process is gone."""
        if self._pipe is None:
            self._start()
        assert self._pipe is not None
        self._pipe.send((scene, source))
        frame, problem = self._pipe.recv()
        if problem:
            raise RuntimeError(problem)
        return frame

    def replace(self) -> None:
        self._end()

    def stop(self) -> None:
        self._stopped = True
        self._end()

    def _start(self) -> None:
        if self._stopped:
            raise OSError("the worker was stopped")
        here, there = self._context.Pipe()
        process = self._context.Process(
            target=_render_for_ever, args=(there, self._folder), name="preview", daemon=True
        )
        process.start()
        there.close()  # or the end of the process would not be noticed here
        self._process, self._pipe = process, here

    def _end(self) -> None:
        process, pipe = self._process, self._pipe
        self._process = self._pipe = None
        if process is not None:
            process.terminate()
            process.join(timeout=5)
        if pipe is not None:
            pipe.close()


def _render_for_ever(pipe: Connection, folder: Path | None) -> None:
    """Life of a worker process: it ends when the other end of the pipe is gone."""
    if hasattr(os, "nice"):  # not on Windows
        os.nice(_NICE)
    while True:
        try:
            scene, source = pipe.recv()
        except (EOFError, OSError, KeyboardInterrupt):
            return
        answer: tuple[np.ndarray | None, str]
        try:
            answer = (one_light_frame(scene, source, folder), "")
        except Exception as error:  # told to the web server, which shows it; the worker lives on
            answer = (None, f"{type(error).__name__}: {error}")
        try:
            pipe.send(answer)
        except OSError:
            return
