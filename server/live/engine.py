"""The engine: every way to move the light, each one step that can be taken back."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from server.errors import OutOfRange, Refused
from server.live.fade import NUDGE_S, RECALL_S
from server.live.now import Now
from server.live.owner import Owner
from server.studio.document import setting_document
from server.studio.head import Head
from server.studio.history import RoomAsLeft
from server.studio.light import light_matrix
from server.studio.look import Look
from server.studio.mix import mixed, thirds_text
from server.studio.nudge import Nudged, nudged
from server.studio.reach import Reached, with_ratio
from server.studio.relamp import Correction
from server.studio.rig import Lens, Rig
from server.studio.setting import Origin, Setting, kept_over, ready_on

BROUGHT_IN_OUTPUT = 1 / 16


class Engine(Owner):
    """Every way to move the light. Methods may be called from any thread; each answers `Now`."""

    # -- moving the light ----------------------------------------------------------------------

    def set_levels(
        self, percents: Mapping[str, float], fade_s: float = 0.0, actor: str = ""
    ) -> Now:
        """Set levels of named heads, percent of their channel."""
        with self._lock:
            outputs: dict[str, float] = {}
            for name, percent in percents.items():
                head = self._rig.head(name)
                if not 0 <= percent <= 100:
                    raise OutOfRange(f"levels: {name} must lie in 0..100 percent, got {percent:g}")
                outputs[name] = head.dimmer.output(percent / 100)
            if not outputs:
                raise OutOfRange("levels: name at least one head")
            text = ", ".join(f"{n} to {p:g} %" for n, p in percents.items())
            return self._go(self._setting.with_outputs(outputs), "levels", text, actor, fade_s)

    def nudge(
        self,
        *,
        role: str | None = None,
        head: str | None = None,
        thirds: int,
        keep: str = "nothing",
        fade_s: float | None = None,
        actor: str = "",
    ) -> tuple[Now, Nudged]:
        """Nudge every head of a role, or one head, by thirds of a stop."""
        with self._lock:
            heads = self._named(role, head)
            seconds = self.nudge_seconds() if fade_s is None else fade_s
            return self._nudged(heads, role or head or "", thirds, keep, seconds, actor)

    def _nudged(
        self,
        heads: Sequence[Head],
        name: str,
        thirds: int,
        keep: str,
        fade_s: float,
        actor: str,
    ) -> tuple[Now, Nudged]:
        result = nudged(self._rig, self._matrix, self._setting, heads, thirds, keep)
        kept = "" if keep == "nothing" else f", {keep} kept"
        end = f", at the end of {result.limited_by}" if result.limited else ""
        text = f"{name} {thirds_text(float(thirds))}{kept}{end}"
        detail = {"asked_stops": result.asked_stops, "got_stops": result.got_stops}
        if result.setting.stops == self._setting.stops:  # at its end: nothing to take back
            return self._commit(self._record, "nudge", text, actor, None, detail=detail), result
        return self._go(result.setting, "nudge", text, actor, fade_s, detail), result

    def nudge_heads(
        self, heads: Sequence[Head], name: str, thirds: int, keep: str = "nothing", actor: str = ""
    ) -> tuple[Now, Nudged | None]:
        """Nudge a row of the board. When all its heads are dark, up brings the first in low, four
        stops below full, so that there is something to nudge: never a jump to full."""
        with self._lock:
            if heads and all(h.out for h in heads):
                raise Refused(f"{' and '.join(h.name for h in heads)} is out until it is back")
            heads = [h for h in heads if not h.out]
            if thirds > 0 and all(self._setting.of(h) is None for h in heads):
                there = self._setting.with_outputs({heads[0].name: BROUGHT_IN_OUTPUT})
                text = f"{heads[0].name} in, low"
                self._would_trip(text, there)
                return self._go(there, "bring in", text, actor, RECALL_S), None
            return self._nudged(heads, name, thirds, keep, self.nudge_seconds(), actor)

    def ratio(
        self,
        target: float,
        move: str | None = None,
        fade_s: float | None = None,
        actor: str = "",
    ) -> tuple[Now, Reached]:
        """Reach a lit : shadow ratio, with the lens held or by moving one role."""
        with self._lock:
            result = with_ratio(self._rig, self._matrix, self._setting, target, move)
            how = f"by the {move}" if move else "lens held"
            text = f"ratio {target:g}:1, {how}" + (f" ({result.why})" if result.why else "")
            if result.setting.stops == self._setting.stops:
                return self._commit(self._record, "ratio", text, actor, None), result
            seconds = RECALL_S if fade_s is None else fade_s
            return self._go(result.setting, "ratio", text, actor, seconds), result

    def recall(
        self, look: Look, fade_s: float | None = None, actor: str = "", *, anyway: bool = False
    ) -> Now:
        """Recall a look. Refused when it needs a head that the rig has not got; WouldTrip when it
        would pass a breaker's rating, unless `anyway`."""
        with self._lock:
            other = look.room if look.room_id not in (0, self._record.room_id) else ""
            name = f"{look.name} of the room {other}" if other else look.name
            missing = look.missing_heads(self._rig)
            if missing:
                way = f"open {other}" if other else "add the head on the Rig page"
                raise Refused(
                    f"{name} needs {', '.join(missing)}, which this rig has not got:"
                    f" {way} or keep the look anew"
                )
            there = look.setting(self._rig, self._setting)
            if not anyway:
                self._would_trip(name, there, ", or recall it all the same")
            seconds = RECALL_S if fade_s is None else fade_s
            return self._go(there, "recall", name, actor, seconds, {"look": look.look_id})

    def mix(self, look: Look, part: float, fade_s: float | None = None, actor: str = "") -> Now:
        """Go part of the way toward a look, mixed in stops. [part 0..1]"""
        with self._lock:
            there = look.setting(self._rig, self._setting)
            setting = mixed(self._rig, self._setting, there, part)
            self._would_trip(look.name, setting)
            seconds = RECALL_S if fade_s is None else fade_s
            return self._go(setting, "mix", f"{part:.0%} toward {look.name}", actor, seconds)

    def dark(self, fade_s: float | None = None, actor: str = "") -> Now:
        """All heads down; `restore` brings them back."""
        with self._lock:
            if all(self._setting.of(h) is None for h in self._rig.heads):
                raise Refused("all heads are dark already")
            record = replace(self._record, dark_from=self._setting)
            there = self._setting.with_stops({h.name: None for h in self._rig.heads})
            seconds = RECALL_S if fade_s is None else fade_s
            return self._go(there, "dark", "all down", actor, seconds, record=record)

    def restore(self, fade_s: float | None = None, actor: str = "") -> Now:
        """Back up to the light before `dark`."""
        with self._lock:
            before = self._record.dark_from
            if before is None or any(self._setting.of(h) is not None for h in self._rig.heads):
                raise Refused("nothing to restore: the light is not down")
            record = replace(self._record, dark_from=None)
            there = kept_over(self._rig, before).with_lens(self._setting.lens)
            seconds = RECALL_S if fade_s is None else fade_s
            return self._go(there, "restore", "back up", actor, seconds, record=record)

    def undo(self, actor: str = "") -> Now:
        """One step back, at once, also in the middle of a fade."""
        return self._step(-1, "undo", actor)

    def redo(self, actor: str = "") -> Now:
        """One step forward again."""
        return self._step(1, "redo", actor)

    def _step(self, by: int, kind: str, actor: str) -> Now:
        with self._lock:
            history = self._record.history
            if not (history.can_undo if by < 0 else history.can_redo):
                raise Refused("nothing to take back" if by < 0 else "nothing to do again")
            left = history.now if by < 0 else history.moved(by).now
            record = replace(self._record, history=history.moved(by))
            return self._commit(record, kind, f"{kind}: {left.text}", actor, left.fade_s)

    # -- the good frame ------------------------------------------------------------------------

    def mark_good(self, actor: str = "") -> Now:
        """Mark this light as the good frame; figures are then read from it."""
        with self._lock:
            record = replace(self._record, good=self._setting)
            detail = {"setting": setting_document(self._setting)}
            return self._commit(record, "good", "good frame", actor, None, detail=detail)

    def back_to_good(self, fade_s: float | None = None, actor: str = "") -> Now:
        """Return to the light of the good frame."""
        with self._lock:
            good = self._good()
            there = kept_over(self._rig, good).with_lens(self._setting.lens)
            seconds = RECALL_S if fade_s is None else fade_s
            return self._go(there, "back to good", "back to the good frame", actor, seconds)

    def compare(self, hold: bool, actor: str = "") -> Now:
        """Hold to see the good frame's light, release for now. No step, nothing to take back."""
        with self._lock:
            if hold:
                self._good()
            if hold == self._comparing:
                return self.now()
            text = "look at the good frame" if hold else "back to now"
            return self._commit(self._record, "compare", text, actor, NUDGE_S, comparing=hold)

    def _good(self) -> Setting:
        if self._record.good is None:
            raise Refused("no good frame yet: tap Good after one")
        return self._record.good

    def kept(self, look: Look, actor: str = "") -> Now:
        """Record that the light was kept as a look; from here on it is that look, unchanged."""
        with self._lock:
            origin = Origin(look.look_id, look.name, look.stops)
            there = replace(self._setting, origin=origin)
            record = replace(self._record, history=self._record.history.amended(there))
            return self._commit(
                record, "keep", f"kept as {look.name}", actor, None, detail={"look": look.look_id}
            )

    # -- camera, face and rig ------------------------------------------------------------------

    def set_lens(self, lens: Lens, actor: str = "") -> Now:
        """Tell what the camera is set to."""
        with self._lock:
            there = self._setting.with_lens(lens)
            return self._go(there, "lens", f"lens f/{lens.f_number:g}", actor, NUDGE_S)

    def replace_rig(
        self,
        rig: Rig,
        actor: str = "",
        text: str = "rig changed",
        renamed: Mapping[str, str] | None = None,
        instead_of: Rig | None = None,
    ) -> Now:
        """Put a whole rig in place of the old one. Heads that keep their name keep their output,
        and so do those that `renamed` tells (old name -> new name), in every look and step. What
        took a while to work out is `instead_of` the rig it began with: refused for another one."""
        with self._lock:
            if instead_of is not None and instead_of != self.now().rig_now:
                raise Refused("the rig was changed meanwhile: nothing was changed, try it again")
            names = {old: new for old, new in (renamed or {}).items() if old != new}
            record = self._record.renamed(names) if names else self._record
            there = ready_on(rig, record.history.now.setting)
            record = replace(record, history=record.history.amended(there))
            stood = rig, light_matrix(rig, there.yaw_deg)
            return self._commit(record, "rig", text, actor, None, rig=stood, renamed=names)

    def open_room(self, choose: Callable[[], RoomAsLeft], actor: str = "") -> Now:
        """Another room in place of this one, which is kept as it is left: each has its own steps
        and good frame. Heads that are called the same keep their output; undo closes no room.

        `choose` answers the room while nothing else moves; an error changes nothing.
        """
        with self._lock:
            if self.store_again().unsaved:  # what is stored of the rooms is not as they were left
                raise Refused(f"no room can be opened while nothing is saved: {self._unsaved}")
            now, room = self.now(), choose()
            rig, left = room.rig, RoomAsLeft(now.record.room_id, now.rig_now, now.record.of_room)
            if room.room_id == left.room_id:
                raise Refused(f"{rig.room.name} is open already")
            there = ready_on(rig, self._setting)
            text = f"the light of {left.rig.room.name} brought along"
            record = now.record.opened(room, there, text, actor)
            stood = rig, light_matrix(rig, there.yaw_deg)
            return self._commit(
                record, "room", f"{rig.room.name} opened", actor, None, rig=stood, left=left
            )

    def relamp(self, rig: Rig, correction: Correction, actor: str = "", text: str = "") -> Now:
        """A head gives other light than it did: the rig that says so, and the head corrected in
        every look and step, so that they keep their light. Fades to the same light."""
        with self._lock:
            record = self._record.corrected(correction)
            matrix = light_matrix(rig, record.history.now.setting.yaw_deg)
            return self._commit(
                record, "relamp", text, actor, RECALL_S if record.known else None,
                rig=(rig, matrix), corrections=(correction,),
            )  # fmt: skip

    def _named(self, role: str | None, head: str | None) -> tuple[Head, ...]:
        if (role is None) == (head is None):
            raise OutOfRange("name either a role or a head")
        return self._rig.heads_of(role) if role is not None else (self._rig.head(head or ""),)
