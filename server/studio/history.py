"""Steps that can be taken back, and the record of a change: what the engine hands to be stored."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from server.studio.relamp import Correction
from server.studio.rig import Rig
from server.studio.setting import Setting
from server.studio.warm import Warm

DEPTH = 200
OPENED_S = 1.0
"""How long it takes to undo the light that was brought into a room. [s]"""


@dataclass(frozen=True)
class Step:
    """One light on the way, with what led to it and who did it."""

    number: int
    setting: Setting
    text: str = ""
    actor: str = ""
    fade_s: float = 1.0


@dataclass(frozen=True)
class History:
    """The steps of a sitting and where we stand in them. Never empty."""

    steps: tuple[Step, ...]
    at: int = 0

    @property
    def now(self) -> Step:
        """The step that is lit."""
        return self.steps[self.at]

    def pushed(self, setting: Setting, text: str, actor: str, fade_s: float) -> "History":
        """One step on; steps that were taken back are given up, the oldest are forgotten."""
        step = Step(self.now.number + 1, setting, text, actor, fade_s)
        steps = (*self.steps[: self.at + 1], step)[-DEPTH:]
        return History(steps, len(steps) - 1)

    def amended(self, setting: Setting) -> "History":
        """The same steps with another setting where we stand: nothing to take back."""
        steps = (*self.steps[: self.at], replace(self.now, setting=setting))
        return History((*steps, *self.steps[self.at + 1 :]), self.at)

    def renamed(self, names: Mapping[str, str]) -> "History":
        """The same steps after heads got other names (old name -> new name)."""
        steps = (replace(s, setting=s.setting.renamed(names)) for s in self.steps)
        return History(tuple(steps), self.at)

    def corrected(self, correction: Correction) -> "History":
        """The same steps with a head corrected in each."""
        steps = (replace(s, setting=correction.setting(s.setting)) for s in self.steps)
        return History(tuple(steps), self.at)

    @property
    def can_undo(self) -> int:
        """How many steps can be taken back."""
        return self.at

    @property
    def can_redo(self) -> int:
        """How many steps can be taken again."""
        return len(self.steps) - 1 - self.at

    def moved(self, by: int) -> "History":
        """The same steps, standing elsewhere."""
        return History(self.steps, self.at + by)


@dataclass(frozen=True)
class RoomLight:
    """What of the live state belongs to a room: it waits while another room is open."""

    history: History
    good: Setting | None = None
    dark_from: Setting | None = None


@dataclass(frozen=True)
class RoomAsLeft:
    """A room as it was left: its rig, and its light; None for one that was never open."""

    room_id: int
    rig: Rig
    light: RoomLight | None = None


@dataclass(frozen=True)
class Way:
    """A fade as it is kept, so that a server that starts again can join it where it is by then.

    `start` and the moment it begins [s, of the machine's monotonic clock, which starts anew with
    each boot], how long it lasts [s], and which boot that was; the heads that wait for a tungsten
    lamp, and that lamp's heating time [s].
    """

    start: Mapping[str, float]
    begins: float
    lasts_s: float
    boot: str
    waiting: Sequence[str] = ()
    heating_s: float = 0.0


@dataclass(frozen=True)
class LiveRecord:
    """The whole live state as it is kept: enough to come back exactly as it was."""

    history: History
    revision: int = 0
    known: bool = False
    """False until a first light was asked for: before that nothing is sent."""
    good: Setting | None = None
    dark_from: Setting | None = None
    way: Way | None = None
    """How the light is getting there; None when it is there."""
    room_id: int = 1
    """The room that is open."""
    warm: Warm = field(default_factory=dict)
    """How long each head has been on."""

    @property
    def of_room(self) -> RoomLight:
        """What goes with the open room when another one is opened."""
        return RoomLight(self.history, self.good, self.dark_from)

    def opened(self, room: RoomAsLeft, brought: Setting, text: str, actor: str) -> "LiveRecord":
        """The record in another room: that room's steps, good frame and dark light. The light that
        was `brought` along is a step of it, so that one undo gives the light it was left with."""
        own = room.light or RoomLight(History((Step(0, brought),)))
        history = own.history
        if history.now.setting.same_light(brought):
            history = history.amended(brought)
        else:
            history = history.pushed(brought, text, actor, OPENED_S)
        return replace(
            self, history=history, good=own.good, dark_from=own.dark_from, room_id=room.room_id
        )

    def renamed(self, names: Mapping[str, str]) -> "LiveRecord":
        """The same record after heads got other names, so that no step back loses them."""
        return replace(
            self,
            history=self.history.renamed(names),
            good=self.good and self.good.renamed(names),
            dark_from=self.dark_from and self.dark_from.renamed(names),
            warm={names.get(name, name): w for name, w in self.warm.items()},
        )

    def corrected(self, correction: Correction) -> "LiveRecord":
        """The same record with a head corrected, so that every step back gives its old light."""
        return replace(
            self,
            history=self.history.corrected(correction),
            good=self.good and correction.setting(self.good),
            dark_from=self.dark_from and correction.setting(self.dark_from),
        )


@dataclass(frozen=True)
class Change:
    """One change, ready to be stored: the state after it and the event that tells it."""

    record: LiveRecord
    kind: str
    text: str
    actor: str
    at: datetime
    rig: Rig | None = None
    """The new rig, when the change was one of the rig; it is that of `record.room_id`."""
    left: RoomAsLeft | None = None
    """The room that was open before, as it was left."""
    detail: Mapping[str, Any] = field(default_factory=dict)
    renamed: Mapping[str, str] = field(default_factory=dict)
    """Heads that got other names (old -> new): looks and steps follow."""
    corrections: tuple[Correction, ...] = ()
    """Heads that another lamp made brighter or darker: looks and steps follow."""
