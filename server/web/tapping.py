"""Tap the named points on a picture, one after another: the browser's own image map, no JavaScript.

What was tapped so far stands in the address, so that every step back is the browser's own.
"""

from dataclasses import dataclass, replace
from math import isfinite

from server.errors import OutOfRange
from server.live.now import Now
from server.studio.rig import Rig
from server.web.words import point_words

SKIPPED, NONE = "-", "none"
MIDDLE_M = 0.02
WIDTH, HEIGHT = 384, 480
"""As the page shows the picture, in CSS pixels: what the browser counts in."""


@dataclass(frozen=True)
class Taps:
    """What was tapped so far, point by point in the rig's order; None for a skipped point."""

    rig: Rig
    places: tuple[tuple[float, float] | None, ...] = ()

    @classmethod
    def read(cls, rig: Rig, text: str) -> "Taps":
        """From an address: `0.43,0.5;-;0.6,0.5`."""
        if text == NONE:
            return cls(rig)
        places: list[tuple[float, float] | None] = []
        for part in text.split(";"):
            if part == SKIPPED:
                places.append(None)
                continue
            try:
                x, y = (float(v) for v in part.split(","))
            except ValueError:
                raise OutOfRange("the tapped points cannot be read: start again") from None
            if not (isfinite(x) and isfinite(y) and 0 <= x <= 1 and 0 <= y <= 1):
                raise OutOfRange("tapped points must lie in 0..1 of the picture")
            places.append((x, y))
        if len(places) > len(rig.points):
            raise OutOfRange(f"there are only {len(rig.points)} points to tap")
        return cls(rig, tuple(places))

    @property
    def text(self) -> str:
        """As an address."""
        parts = [SKIPPED if p is None else f"{p[0]:.4f},{p[1]:.4f}" for p in self.places]
        return ";".join(parts) or NONE

    def then(self, place: tuple[float, float] | None) -> "Taps":
        """One more."""
        return replace(self, places=(*self.places, place))

    @property
    def back(self) -> "Taps":
        """Without the last."""
        return replace(self, places=self.places[:-1])

    @property
    def next(self) -> str:
        """The point to tap now; empty at the end."""
        points = self.rig.points
        return points[len(self.places)].name if len(self.places) < len(points) else ""

    @property
    def found(self) -> dict[str, tuple[float, float]]:
        """Point -> where it was tapped."""
        pairs = zip(self.rig.points, self.places, strict=False)
        return {p.name: place for p, place in pairs if place is not None}


@dataclass(frozen=True)
class Mark:
    """A tapped point on the picture."""

    number: int
    name: str
    percent_x: str
    percent_y: str


@dataclass(frozen=True)
class Tapping:
    """The picture and its points. `next` is the one to tap now, empty at the end; addresses."""

    picture: str
    tap: str
    next: str
    where: str
    skip: str
    back: str
    marks: tuple[Mark, ...]


def tapping(now: Now, taps: Taps, base: str, picture: str) -> Tapping:
    """What the page of a picture shows; `base` is the page's address without the taps."""
    return Tapping(
        picture=picture,
        tap=f"{base}/{taps.text}/tap",
        next=point_words(taps.next),
        where=_where(now, taps.next),
        skip=f"{base}/{taps.then(None).text}" if taps.next else "",
        back=f"{base}/{taps.back.text}" if taps.places else "",
        marks=tuple(
            Mark(i, point_words(name), f"{100 * x:.1f}", f"{125 * y:.1f}")
            for i, (name, (x, y)) in enumerate(taps.found.items(), 1)
        ),
    )


def tapped(rig: Rig, taps: str, query: str) -> Taps:
    """The taps with one more, as an image map's link tells it: `160,200`."""
    column, _, row = query.partition(",")
    try:
        x, y = float(column) / (WIDTH - 1), float(row) / (HEIGHT - 1)
    except ValueError:
        raise OutOfRange("tap the picture to choose a point") from None
    before = Taps.read(rig, taps)
    return Taps.read(rig, before.then((x, y)).text)


def _where(now: Now, name: str) -> str:
    """On which side of the picture a point of the face lies, as the sitter is turned now."""
    point = next((p for p in now.rig.face_points if p.name == name), None)
    if point is None:
        return ""
    across = point.place(now.record.history.now.setting.yaw_deg)[0][0]
    if abs(across) < MIDDLE_M:
        return "in the middle"
    side = "camera right" if across > 0 else "camera left"
    return "" if side in point_words(name) else f"at {side}"
