"""One owner of what is lit: every change gets a revision, is sent, stored and told here."""

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

from server.errors import WouldTrip
from server.live.calm import Calm
from server.live.fade import (
    NUDGE_S,
    RECALL_S,
    Fade,
    face_lux,
    fade_seconds,
    fade_to,
    resumed_fade,
    seconds_left,
    timeline_of,
    way_of,
)
from server.live.now import Now
from server.live.output import Frame, LightOutput
from server.live.shown import leaving, output_shown, outputs_on, same, shown_at
from server.studio.figures import outputs_of
from server.studio.history import Change, History, LiveRecord, RoomAsLeft, Step
from server.studio.light import LightMatrix, light_matrix
from server.studio.load import trips
from server.studio.relamp import Correction
from server.studio.rig import Rig
from server.studio.setting import Setting
from server.studio.warm import followed, warm_document

FADE_DOWN_S = 1.5

Journal = Callable[[Change], None]
"""Stores a change in one transaction; raises OSError with the reason when it cannot."""


def wall_clock() -> datetime:
    """The time of day, in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Move:
    """One step: the light to go to, and how it is told."""

    there: Setting
    kind: str
    text: str
    fade_s: float = RECALL_S
    detail: Mapping[str, Any] = field(default_factory=dict)


class Owner:
    """Holds the light and changes it, one change after another, from any thread.

    A change is worked out first, so that bad input changes nothing; then it is sent, stored and
    told, in this order: a full disk must not keep the light from following the hand.
    """

    def __init__(
        self,
        rig: Rig,
        output: LightOutput,
        journal: Journal,
        record: LiveRecord | None = None,
        clock: Callable[[], float] = time.monotonic,
        today: Callable[[], datetime] = wall_clock,
        room_id: int = 1,
    ) -> None:
        self._lock = threading.RLock()
        self._rig = rig
        self._output = output
        self._journal = journal
        self._clock = clock
        self._today = today
        self._listeners: list[Callable[[Now], None]] = []
        fresh = Setting(
            stops={h.name: None for h in rig.heads}, lens=rig.lens, yaw_deg=rig.sitter.yaw_deg
        )
        self._record = record or LiveRecord(History((Step(0, fresh),)), room_id=room_id)
        self._yaw_deg = self._setting.yaw_deg
        self._matrix = light_matrix(rig, self._yaw_deg)
        self._comparing = False
        self._text = self._actor = self._unsaved = ""
        outputs = outputs_of(rig, self._setting)
        moment = clock()
        self._fade = resumed_fade(self._record.way, outputs, moment)
        self._calm = Calm()
        if self._record.known:
            self._set_off_from(output.shown(), moment)
            self._output.play(timeline_of(rig, self._fade))

    def _set_off_from(self, frame: Frame, moment: float) -> None:
        """At the start: what the keeper still shows may be another light than the record's (a good
        frame that was looked at, changes that could not be stored): then fade, never jump."""
        rig = self._rig
        if not frame or same(frame, shown_at(rig, self._fade, moment)):
            return
        start = {h.name: output_shown(h, frame) for h in rig.heads}
        end, going = self._fade.end, leaving(rig, frame)
        seconds = fade_seconds(RECALL_S, rig, self._matrix, start, end)
        self._fade = replace(fade_to(rig, start, end, moment, seconds), leaving=going)

    # -- reading -------------------------------------------------------------------------------

    def now(self) -> Now:
        """What is lit now."""
        with self._lock:
            return Now(
                rig=self._rig,
                matrix=self._matrix,
                record=self._record,
                fade=self._fade,
                fading=self._fade.running(self._clock()),
                comparing=self._comparing,
                output=self._output.status(),
                text=self._text,
                actor=self._actor,
                unsaved=self._unsaved,
                at=self._today(),
            )

    def subscribe(self, listener: Callable[[Now], None]) -> None:
        """Call the listener with `Now` after every change, from the thread that made it."""
        self._listeners.append(listener)

    @property
    def _setting(self) -> Setting:
        return self._record.history.now.setting

    def nudge_seconds(self) -> float:
        """How long a nudge takes: 0.2 s, but it never hurries a recall that is on its way. [s]"""
        return max(NUDGE_S, self._fade.left_s(self._clock()))

    def fade_down(self) -> float:
        """Take the light down without a step in the record, so that the next start comes back to
        it; answers how long that takes. [s]"""
        with self._lock:
            if not self._record.known:
                return 0.0
            moment = self._clock()
            start = self._fade.at(moment)
            self._output.play(
                timeline_of(self._rig, Fade(start, dict.fromkeys(start, 0.0), moment, FADE_DOWN_S))
            )
            return FADE_DOWN_S

    # -- how a change is made ------------------------------------------------------------------

    def make(self, decide: Callable[[Now], Move], actor: str = "") -> Now:
        """One step that other modules work out from what is lit now; an error changes nothing."""
        with self._lock:
            move = decide(self.now())
            self._would_trip(move.text, move.there)
            return self._go(move.there, move.kind, move.text, actor, move.fade_s, move.detail)

    def _would_trip(self, name: str, there: Setting, otherwise: str = "") -> None:
        start = self._fade.at(self._clock())
        now = {h.name: start.get(h.name, 0.0) for h in self._rig.heads}
        for load in trips(self._rig, now, outputs_of(self._rig, there)):
            raise WouldTrip(
                f"{name} would draw {load.amps_now:.1f} A on circuit {load.name}, whose breaker is"
                f" for {load.breaker_amps:g} A: take load off it first{otherwise}"
            )

    def _go(
        self,
        there: Setting,
        kind: str,
        text: str,
        actor: str,
        fade_s: float,
        detail: Mapping[str, Any] | None = None,
        record: LiveRecord | None = None,
    ) -> Now:
        """A new step to a light."""
        record = record or self._record
        history = record.history.pushed(there, text, actor, fade_s)
        record = replace(record, history=history)
        return self._commit(record, kind, text, actor, fade_s, detail=detail)

    def _commit(
        self,
        record: LiveRecord,
        kind: str,
        text: str,
        actor: str,
        fade_s: float | None,
        *,
        comparing: bool = False,
        detail: Mapping[str, Any] | None = None,
        rig: tuple[Rig, LightMatrix] | None = None,
        renamed: Mapping[str, str] = MappingProxyType({}),
        corrections: tuple[Correction, ...] = (),
        left: RoomAsLeft | None = None,
    ) -> Now:
        """Send, store, tell. `fade_s` None leaves the light where it is going."""
        shown = record.good if comparing and record.good else record.history.now.setting
        new_rig, matrix = rig or (self._rig, self._matrix)
        if rig is None and shown.yaw_deg != self._yaw_deg:
            matrix = light_matrix(new_rig, shown.yaw_deg)
        moment, going_on = self._clock(), self._fade
        if renamed:
            self._fade = self._fade.renamed(renamed)
        start, end = self._fade.at(moment), outputs_of(new_rig, shown)
        fade = self._fade
        if fade_s is not None:
            going = fade.leaving_at(moment)
            if not record.known and (frame := self._output.shown()):
                # a new database, though the keeper still shows a light: set off from that one
                start = {h.name: output_shown(h, frame) for h in new_rig.heads}
                going, fade_s = leaving(new_rig, frame), max(fade_s, RECALL_S)
            before, after = (face_lux(new_rig, matrix, light) for light in (start, end))
            seconds = self._calm.seconds(fade_s, before, after, moment)
            # the same light asked for again, but sooner, is a change too
            if end != fade.end or seconds < fade.left_s(moment) or not record.known:
                fade = replace(fade_to(new_rig, start, end, moment, seconds), leaving=going)
            record = replace(record, known=True)
        elif end != fade.end or rig is not None:
            frame = shown_at(self._rig, going_on, moment)  # heads by their names until now
            start = outputs_on(new_rig, self._rig, start, frame, renamed)
            going = leaving(new_rig, frame)
            left_s = seconds_left(fade, new_rig, matrix, start, end, moment, going)
            fade = Fade(start, end, moment, left_s, leaving=going)
        if record.known and (fade is not self._fade or not self._record.known):
            self._output.play(timeline_of(new_rig, fade))
        self._rig, self._matrix, self._yaw_deg = new_rig, matrix, shown.yaw_deg
        self._fade, self._comparing = fade, comparing
        today, more = self._today(), dict(detail or {})
        warm = followed(record.warm, {h: output > 0 for h, output in end.items()}, today)
        if warm is not self._record.warm:
            more["warm"] = warm_document(warm)
        way = way_of(fade, moment)
        self._record = replace(record, revision=record.revision + 1, way=way, warm=warm)
        self._text, self._actor = text, actor
        new = rig and rig[0]
        self._store(
            Change(
                self._record, kind, text, actor, today, new, left,
                detail=more, renamed=renamed, corrections=corrections,
            )
        )  # fmt: skip
        return self._tell()

    def store_again(self) -> Now:
        """Store what could not be stored before, as it is by now."""
        with self._lock:
            if not self._unsaved:
                return self.now()
            text = "saved again, after a time without"
            self._store(Change(self._record, "saving", text, "", self._today(), self._rig))
            return self._tell()

    def _store(self, change: Change) -> None:
        try:
            self._journal(change)
            self._unsaved = ""
        except OSError as error:  # the light goes on; the pages say what is not being kept
            self._unsaved = str(error)

    def _tell(self) -> Now:
        now = self.now()
        for listener in self._listeners:
            listener(now)
        return now
