"""What a look wants of another room: its light at the points that both rooms have."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from server.errors import Refused
from server.studio.figures import sides_of
from server.studio.light import LightMatrix
from server.studio.matching import Wish
from server.studio.rig import Rig
from server.studio.side_words import point_words

LIT_WEIGHT, FACE_WEIGHT, ROOM_WEIGHT, NEAR_WEIGHT = 10.0, 1.0, 0.5, 0.03
"""The lit side is what the lens is set for: all other points together do not pull it away."""


@dataclass(frozen=True)
class Wanted:
    """The light of a look as it was, and the heads that may make it elsewhere.

    `movers` are (head there, head here) of the heads that were lit and that something stands for.
    """

    source: Rig
    target: Rig
    old: LightMatrix
    new: LightMatrix
    was: Mapping[str, float]
    movers: Sequence[tuple[str, str]]

    @cached_property
    def lux(self) -> Mapping[str, float]:
        """The points both rooms have, lit in the look. [lx]

        Raises Refused when there is none on the face, or flat would be mixed with dome.
        """
        theirs = {p.name: p for p in self.target.points}
        found = {}
        for point in self.source.points:
            other, lux = theirs.get(point.name), self.old.lux(point.name, self.was)
            if other is None or other.on != point.on or lux <= 0:
                continue
            if other.receptor != point.receptor:
                raise Refused(
                    f"{point_words(point.name)} is read with the {point.receptor} in one room and"
                    f" with the {other.receptor} in the other: flat and dome are never mixed"
                )
            found[point.name] = lux
        if not any(theirs[n].on == "face" for n in found):
            raise Refused("the two rooms have no point on the face with the same name in common")
        return found

    @cached_property
    def names(self) -> tuple[str, ...]:
        """What each wish is about, in words."""
        shadow = () if self._shadow is None else (f"{self._side}, in the key's shadow",)
        return (*self.lux, *shadow)

    @cached_property
    def places(self) -> tuple[tuple[str, bool], ...]:
        """The point each wish is about, and whether it is read in the key's shadow."""
        shadow = () if self._shadow is None else ((self._side, True),)
        return (*((name, False) for name in self.lux), *shadow)

    @cached_property
    def _whole(self) -> tuple[Wish, ...]:
        on = {p.name: p.on for p in self.target.points}
        lit = sides_of(self.source, self.old, self.was)[0].name
        points = [
            Wish(
                [self.new.at[name][b] for _, b in self.movers],
                self.new.ambient[name],
                lux,
                LIT_WEIGHT if name == lit else FACE_WEIGHT if on[name] == "face" else ROOM_WEIGHT,
            )
            for name, lux in self.lux.items()
        ]
        return (*points, *([] if self._shadow is None else [self._shadow]))

    def wishes(self, scale: float) -> list[Wish]:
        """All wishes with the whole picture this much brighter."""
        return [replace(w, lux=scale * w.lux) for w in self._whole]

    @cached_property
    def _side(self) -> str:
        """The shadow side that the ratio is made of; empty without a key."""
        _, shadow, with_key = sides_of(self.source, self.old, self.was)
        return shadow.name if with_key else ""

    @cached_property
    def _shadow(self) -> Wish | None:
        if self._side not in self.lux:
            return None
        keys = {h.name for h in self.source.heads if h.role == "key"}
        lux = self.old.lux_in_shadow(self._side, self.was, keys)
        if lux <= 0:
            return None
        row, bounce = self.new.at[self._side], self.new.bounce.get(self._side, {})
        parts = [bounce.get(b, 0.0) if a in keys else row[b] for a, b in self.movers]
        return Wish(parts, self.new.ambient[self._side], lux)

    def near(self, scale: float) -> list[tuple[list[float], float]]:
        """Each head's own light where it shows most: decides what the points leave open."""
        rows = []
        for i, (a, b) in enumerate(self.movers):
            before, after = self._own(a, b)
            if before > 0 and after > 0:
                row = [0.0] * len(self.movers)
                row[i] = NEAR_WEIGHT * after / (before * scale)
                rows.append((row, NEAR_WEIGHT))
        return rows

    def point_of(self, a: str) -> str:
        """Where a head of the look makes the largest share of the light."""
        return max(self.lux, key=lambda n: self.old.at[n][a] * self.was[a] / self.lux[n])

    def _own(self, a: str, b: str) -> tuple[float, float]:
        at = self.point_of(a)
        before, after = self.old.at[at][a] * self.was[a], self.new.at[at][b]
        if before > 0 and after > 0:
            return before, after
        return self.old.mark[a] * self.was[a], self.new.mark[b]
