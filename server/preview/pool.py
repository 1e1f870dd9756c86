"""Rendering in processes of its own, so that the pages never wait for a picture.

Each worker process has a thread here that feeds it, newest request first: the face on the screen
now matters more than the one scrolled past. A worker that dies is replaced and its work is tried
once more.
"""

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from server.preview.frames import FrameCache, one_light_frame, unit_light
from server.preview.pattern import pattern_of
from server.preview.scene import Light, Scene, Source
from server.preview.worker import Worker
from server.studio.pattern import Pattern

_log = logging.getLogger(__name__)
_TRIES = 2


@dataclass(frozen=True)
class Finished:
    """A request done: its frames in the order of its lights, or what went wrong."""

    scene: Scene
    lights: tuple[Light, ...]
    frames: tuple[np.ndarray, ...]
    problem: str = ""


@dataclass(frozen=True)
class Progress:
    """Frames and patterns, since the pool was started."""

    waiting: int
    rendering: int
    done: int
    failed: int


@dataclass(eq=False)
class _Request:
    """Jobs that are answered together: `done` gets their results, or the first problem."""

    jobs: tuple[Callable[[Worker], Any], ...]
    done: Callable[[list[Any], str], None]
    results: dict[int, Any] = field(default_factory=dict)
    problem: str = ""


class PreviewPool:
    """Worker processes that fill a FrameCache. `close` it, or use it as a context manager."""

    def __init__(self, cache: FrameCache, workers: int = 1) -> None:
        self.cache = cache
        self._stack: list[tuple[_Request, int]] = []
        self._wake = threading.Condition()
        self._closing = False
        self._rendering = self._done = self._failed = 0
        self._workers = [Worker() for _ in range(workers)]
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
        self, scene: Scene, lights: Sequence[Light], done: Callable[[Finished], None]
    ) -> None:
        """Ask for one frame per light; `done` is called once, from a thread of the pool."""
        if not lights:
            raise ValueError("submit needs at least one light")

        def frame_of(light: Light) -> Callable[[Worker], np.ndarray]:
            return lambda worker: self._frame(worker, scene, light)

        def finish(frames: list[Any], problem: str) -> None:
            done(Finished(scene, tuple(lights), tuple(frames), problem))

        self._push(_Request(tuple(frame_of(light) for light in lights), finish))

    def submit_pattern(
        self,
        yaw_deg: float,
        sources: Sequence[Source],
        weights: Sequence[float],
        done: Callable[[Pattern | None, str], None],
    ) -> None:
        """Ask what pattern the keys make; `done` gets it, or None and what went wrong."""
        args = (yaw_deg, tuple(sources), tuple(weights), self.cache.folder)

        def finish(found: list[Any], problem: str) -> None:
            done(found[0] if found else None, problem)

        self._push(_Request((lambda worker: self._call(worker, pattern_of, *args),), finish))

    def _push(self, request: _Request) -> None:
        with self._wake:
            if self._closing:
                raise RuntimeError("the preview pool is closed")
            self._stack.extend((request, i) for i in reversed(range(len(request.jobs))))
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

    def _serve(self, worker: Worker) -> None:
        while True:
            with self._wake:
                while not self._stack and not self._closing:
                    self._wake.wait()
                if self._closing:
                    return
                request, i = self._stack.pop()
                if request.problem:  # a part of it failed: the rest is not wanted
                    continue
                self._rendering += 1
            result, problem = None, ""
            try:
                result = request.jobs[i](worker)
            except Exception as error:
                problem = str(error) or type(error).__name__
                if not self._closing:
                    _log.warning("a preview failed: %s", problem)
            with self._wake:
                self._rendering -= 1
                if problem:
                    self._failed += 1
                else:
                    self._done += 1
                    request.results[i] = result
            self._settle(request, problem)

    def _frame(self, worker: Worker, scene: Scene, light: Light) -> np.ndarray:
        kept = self.cache.peek(scene, light)
        if kept is not None:
            return kept
        unit = self._call(worker, one_light_frame, scene, unit_light(light), self.cache.folder)
        return self.cache.keep(scene, light, unit)

    def _call(self, worker: Worker, work: Callable[..., Any], *args: object) -> Any:
        for attempt in range(1, _TRIES + 1):
            try:
                return worker.call(work, *args)
            except (EOFError, OSError) as error:
                if self._closing:
                    raise RuntimeError("the preview pool was closed") from error
                _log.warning("a preview worker died (try %d of %d)", attempt, _TRIES)
                worker.end()
        raise RuntimeError(f"the process that draws ended {_TRIES} times on this")

    def _settle(self, request: _Request, problem: str) -> None:
        """Call `done` when the request's last part is in, or at its first problem; once."""
        with self._wake:
            complete = len(request.results) == len(request.jobs)
            if request.problem or not (complete or problem):
                return
            request.problem = problem
        results = [request.results[i] for i in range(len(request.jobs))] if complete else []
        try:
            request.done(results, problem)
        except Exception:
            _log.exception("what was to happen after a preview failed")
