"""Draws what the pages ask for, in the background: everything roughly first, then finely."""

import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from queue import SimpleQueue

from server.errors import OutOfRange
from server.preview.frames import FrameCache
from server.preview.pool import Finished, PreviewPool
from server.preview.portrait import Offer, Portrait
from server.preview.scene import Light, Scene
from server.preview.subject import Keys, Subject, subject_of
from server.studio.pattern import Pattern
from server.studio.rig import Rig

_log = logging.getLogger(__name__)
_MEMORY = 24_000_000
_DISK = 200_000_000
_WANTED_AT_MOST = 100
_URGENT_AT_MOST = 2  # the light now, and every head of the rig
_SAME_PAGE_S = 0.25
_AGAIN_AFTER_S = 60.0
_IDLE_S = 120.0
ROUGH, FINE = 1, 2


def rendered(scene: Scene, fineness: int) -> Scene:
    """The scene as it is rendered: small and plain at first, then with smooth edges.

    Three quarters of the size take half the time, and a tile shows no more than that.
    """
    if fineness == FINE:
        return replace(scene, supersample=2)
    return replace(scene, width=scene.width * 3 // 4, height=scene.height * 3 // 4, supersample=1)


@dataclass(frozen=True)
class _Wish:
    subject: Subject
    page: int  # wishes that come together are of one page


class Drawing:
    """A Provider that draws, and reads patterns. Its calls back come from a thread of its own:
    `changed` after whatever became new, `read` with a pattern, or None when it has no answer."""

    def __init__(
        self,
        folder: Path,
        changed: Callable[[], None],
        read: Callable[[Keys, Pattern | None], None],
    ) -> None:
        self._cache = FrameCache(_MEMORY, folder, _DISK)
        self._changed = changed
        self._read = read
        self._wake = threading.Condition()
        self._wanted: dict[str, _Wish] = {}
        self._urgent: OrderedDict[str, Subject] = OrderedDict()  # the newest last
        self._page = 0
        self._last_wish = 0.0
        self._ready: dict[str, int] = {}  # subject's key -> how finely it is drawn
        self._failed: dict[str, tuple[float, str]] = {}  # key -> when, and why
        self._asked: OrderedDict[Keys, None] = OrderedDict()
        self._stage: Scene | None = None
        self._closing = False
        self._pool: PreviewPool | None = None
        self._thread = threading.Thread(target=self._work, name="drawing", daemon=True)
        self._thread.start()

    # -- asking: answers at once ---------------------------------------------------------------

    def offer(
        self, rig: Rig, yaw_deg: float, heads: tuple[str, ...], *, urgent: bool = False
    ) -> Offer | None:
        """The best there is of this sitter; what is missing is drawn soon."""
        subject = subject_of(rig, yaw_deg, heads)
        with self._wake:
            self._want(subject, urgent)
            fine = self._ready.get(subject.key)
        if fine is None:
            return None
        return Offer("drawn", f"{subject.key}-{fine}", lambda: self._load(subject, fine))

    def problem(self, rig: Rig, yaw_deg: float, heads: tuple[str, ...]) -> str:
        """Why this sitter could not be drawn; empty while there is hope."""
        try:
            return self._failed.get(subject_of(rig, yaw_deg, heads).key, (0.0, ""))[1]
        except OutOfRange as error:
            return str(error)

    def ask_pattern(self, keys: Keys) -> None:
        """Work out a pattern, soon."""
        with self._wake:
            if keys not in self._asked:
                self._asked[keys] = None
                self._wake.notify_all()

    def progress(self) -> tuple[int, int]:
        """Faces that can be seen, and faces wanted."""
        with self._wake:
            wanted = self._wanted.keys() - self._failed.keys()
            return len(wanted & self._ready.keys()), len(wanted)

    def close(self) -> None:
        """Stop drawing and end the worker processes."""
        with self._wake:
            self._closing = True
            self._wake.notify_all()
        if self._pool:
            self._pool.close()
        self._thread.join(timeout=10)

    def _want(self, subject: Subject, urgent: bool) -> None:
        failed = self._failed.get(subject.key)
        again = failed is not None and time.monotonic() - failed[0] > _AGAIN_AFTER_S
        if again:
            del self._failed[subject.key]
        news = again or subject.key not in (self._urgent if urgent else self._wanted)
        if urgent:
            self._urgent[subject.key] = subject
            self._urgent.move_to_end(subject.key)
            while len(self._urgent) > _URGENT_AT_MOST:
                self._urgent.popitem(last=False)
        else:
            now = time.monotonic()
            self._page += now - self._last_wish > _SAME_PAGE_S
            self._last_wish = now
            self._wanted.pop(subject.key, None)
            self._wanted[subject.key] = _Wish(subject, self._page)
            while len(self._wanted) > _WANTED_AT_MOST:
                del self._wanted[next(iter(self._wanted))]
        if news:
            self._wake.notify_all()

    def _load(self, subject: Subject, fine: int) -> Portrait | None:
        scene = rendered(subject.scene, fine)
        frames = {}
        for name, light in subject.lights:
            frame = self._cache.peek(scene, light)
            if frame is None:  # cleared away since: draw it again
                with self._wake:
                    self._ready.pop(subject.key, None)
                    self._wake.notify_all()
                return None
            frames[name] = frame
        return Portrait("drawn", scene.yaw_deg, frames)

    # -- drawing: one frame at a time, what matters most first ---------------------------------

    def _work(self) -> None:
        while job := self._wait_for_job():
            try:
                job()
            except Exception:
                _log.exception("drawing a face went wrong")
                time.sleep(1.0)

    def _wait_for_job(self) -> Callable[[], None] | None:
        with self._wake:
            while not self._closing:
                if job := self._next():
                    return job
                if not self._wake.wait(_IDLE_S) and self._pool:
                    return self._rest
            return None

    def _rest(self) -> None:
        """Nobody looks: give the memory back."""
        pool, self._pool = self._pool, None
        if pool:
            pool.close()

    def _next(self) -> Callable[[], None] | None:
        """The most useful thing to do; called with the lock held."""
        for fine in (ROUGH, FINE):
            for subject in self._in_order():
                if self._ready.get(subject.key, 0) < fine and subject.key not in self._failed:
                    return partial(self._draw, subject, fine)
            for keys in self._asked:
                return partial(self._read_pattern, keys)
        return None

    def _in_order(self) -> Iterator[Subject]:
        yield from reversed(self._urgent.values())
        # the newest page first, its faces in their order
        wished = [w.subject for w in sorted(self._wanted.values(), key=lambda w: -w.page)]
        at = self._stage
        # a stage takes longer to set than a light to shine: finish with this one first
        yield from (s for s in wished if s.scene == at)
        yield from wished

    def _draw(self, subject: Subject, fine: int) -> None:
        self._stage = subject.scene
        if fine == ROUGH and self._missing(subject, FINE) is None:
            fine = FINE  # drawn in an earlier sitting
        missing = self._missing(subject, fine)
        if missing is None:
            with self._wake:
                self._ready[subject.key] = fine
            self._changed()
            return
        answer: SimpleQueue[Finished] = SimpleQueue()
        self._running().submit(rendered(subject.scene, fine), [missing], answer.put)
        problem = answer.get().problem
        if problem and not self._closing:
            self._failed[subject.key] = (time.monotonic(), problem)
            self._changed()

    def _missing(self, subject: Subject, fine: int) -> Light | None:
        """The first light whose frame is not there."""
        scene = rendered(subject.scene, fine)
        lights = (light for _, light in subject.lights)
        return next((each for each in lights if self._cache.peek(scene, each) is None), None)

    def _read_pattern(self, keys: Keys) -> None:
        answer: SimpleQueue[tuple[Pattern | None, str]] = SimpleQueue()
        self._running().submit_pattern(
            keys.yaw_deg, keys.sources, keys.weights, lambda *told: answer.put(told)
        )
        pattern, _ = answer.get()
        with self._wake:
            self._asked.pop(keys, None)
        if not self._closing:
            self._read(keys, pattern)
            self._changed()

    def _running(self) -> PreviewPool:
        if self._pool is None:
            self._pool = PreviewPool(self._cache)
        return self._pool
