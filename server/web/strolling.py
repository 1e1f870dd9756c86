"""A walk from one light to a look in so many presses, mixed in stops."""

import threading
from dataclasses import dataclass, replace

from server.errors import OutOfRange
from server.live.now import Now
from server.live.owner import Move
from server.studio.look import Look
from server.studio.mix import mixed
from server.studio.setting import Setting

FEWEST, MOST = 2, 12


@dataclass(frozen=True)
class Stroll:
    """Where a walk set off, the look it goes to, in how many steps, and how many are done."""

    start: Setting
    look: Look
    steps: int
    at: int = 0
    number: int | None = None
    """The step of the history it made last; any other light ends the walk."""


class Strolling:
    """The walk that the pedal is on, if any. Methods may be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._now: Stroll | None = None

    def under_way(self, now: Now) -> Stroll | None:
        """The walk, unless the light was changed by hand since its last step: then it is over."""
        with self._lock:
            walk = self._now
            if walk and walk.number not in (None, now.record.history.now.number):
                self._now = walk = None
            return walk

    def begin(self, now: Now, look: Look, steps: int) -> None:
        """From what is lit to a look."""
        if not FEWEST <= steps <= MOST:
            raise OutOfRange(f"steps must lie in {FEWEST}..{MOST}, got {steps}")
        with self._lock:
            self._now = Stroll(now.record.history.now.setting, look, steps)

    def end(self) -> None:
        """The pedal calls looks again."""
        with self._lock:
            self._now = None

    def pressed(self, now: Now, by: int) -> Move:
        """The light after one press more, or one back; the walk is over at either end."""
        with self._lock:
            walk = self._now
            assert walk is not None
            at, number = walk.at + by, now.record.history.now.number + 1
            there = walk.look.setting(now.rig, now.record.history.now.setting)
            text = f"{at} of {walk.steps} on the way to {walk.look.name}"
            if at >= walk.steps:
                setting, text, self._now = there, walk.look.name, None
            elif at <= 0:
                setting, text = walk.start, f"back from the way to {walk.look.name}"
                self._now = replace(walk, at=0, number=number) if walk.at > 0 else None
            else:
                setting = mixed(now.rig, walk.start, there, at / walk.steps)
                self._now = replace(walk, at=at, number=number)
            return Move(setting.with_lens(now.setting.lens), "walk", text)
