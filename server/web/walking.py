"""The channel walk as it is going on: what glows, what was seen, and the light before it."""

from dataclasses import replace

from server.errors import OutOfRange, Refused
from server.live.engine import Engine
from server.live.now import Now
from server.live.owner import Move
from server.studio.setting import Setting
from server.studio.walk import Walk, glow, mended


class Walking:
    """At most one walk at a time; it is forgotten when the server ends."""

    def __init__(self) -> None:
        self.walk: Walk | None = None
        self._before: Setting | None = None

    def start(self, engine: Engine, actor: str) -> None:
        """All heads down, the first one glows."""
        now = engine.now()
        heads = sorted(now.rig_now.require_heads().heads, key=lambda h: (h.universe, h.address))
        before = now.record.history.now.setting
        walk = Walk(tuple(head.name for head in heads))
        self._show(engine, walk, actor)
        self.walk, self._before = walk, before

    def saw(self, engine: Engine, lit: str, seen: str, actor: str) -> None:
        """One answer, and on to the next channel; after the last one the light comes back."""
        walk = self._going().saw(lit, seen)
        if walk.lit is None:
            self._restore(engine, lit, actor)
        else:
            self._show(engine, walk, actor)
        self.walk = walk

    def stop(self, engine: Engine, actor: str) -> None:
        """Enough: the light comes back, what was seen is forgotten."""
        lit = self._going().lit
        self.walk = None
        if lit is not None:
            self._restore(engine, lit, actor)

    def mend(self, engine: Engine, actor: str) -> None:
        """Put the crossed heads on the channels that light them."""
        walk = self._going()
        if walk.lit is not None:
            raise Refused("walk through all channels first")
        told = ", ".join(f"{seen} on the channel of {lit}" for lit, seen in walk.crossed.items())
        engine.replace_rig(mended(engine.now().rig_now, walk), actor, f"patch mended: {told}")
        self.walk = None

    def _going(self) -> Walk:
        if self.walk is None:
            raise Refused("no walk is going on: start one on the Rig page")
        return self.walk

    def _show(self, engine: Engine, walk: Walk, actor: str) -> None:
        name = walk.lit or ""

        def decide(now: Now) -> Move:
            if any(h not in {head.name for head in now.rig.heads} for h in walk.heads):
                raise OutOfRange("the rig was changed during the walk: stop it and start anew")
            there = glow(now.record.history.now.setting, now.rig, name)
            number = len(walk.seen) + 1
            return Move(there, "walk", f"channel walk, {number} of {len(walk.heads)}")

        engine.make(decide, actor)

    def _restore(self, engine: Engine, lit: str, actor: str) -> None:
        """Back to the light before, unless somebody has called another meanwhile."""
        now, before = engine.now(), self._before
        setting = now.record.history.now.setting
        known = {head.name for head in now.rig.heads}
        if before is None or lit not in known:
            return
        if setting.stops != glow(setting, now.rig, lit).stops:
            return
        stops = {name: stops for name, stops in before.stops.items() if name in known}
        there = replace(before, stops=stops, lens=setting.lens)
        engine.make(lambda _now: Move(there, "walk", "channel walk ended"), actor)
