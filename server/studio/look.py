"""A look: a named light with placements, lens, tags and notes, and the figures it gave."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from server.errors import OutOfRange
from server.physics.geometry import from_to, length
from server.studio.head import Placement, name_of
from server.studio.rig import Lens, Rig
from server.studio.setting import Origin, Setting, Stops

MOVED_BEYOND_M = 0.02
MOVED_BEYOND_FOCUS = 0.02
TAG_LENGTH = 30
MOST_TAGS = 12
NOTES_LENGTH = 2000


@dataclass(frozen=True)
class Look:
    """What is kept of a light. `lux` are the points' readings when it was kept. [lx]"""

    look_id: int
    name: str
    stops: Stops
    placements: Mapping[str, Placement]
    lens: Lens
    yaw_deg: float
    tags: tuple[str, ...] = ()
    notes: str = ""
    lux: Mapping[str, float] | None = None
    ratio: float | None = None
    f_number: float | None = None
    place: int | None = None
    """Its place in the running order, None when it is not in it."""
    kept_at: str = ""
    room_id: int = 0
    """The room it was kept in, 0 when it is not stored yet."""
    room: str = ""
    """That room's name."""

    def setting(self, rig: Rig, now: Setting) -> Setting:
        """The setting that recalls this look. Heads it does not know go dark; the set lens is
        the photographer's and stays."""
        stops = {h.name: self.stops.get(h.name) for h in rig.heads}
        return Setting(
            stops=stops,
            lens=now.lens,
            yaw_deg=self.yaw_deg,
            origin=Origin(self.look_id, self.name, stops),
        )

    def missing_heads(self, rig: Rig) -> tuple[str, ...]:
        """Heads that give light in this look but are not in the rig."""
        there = {h.name for h in rig.heads}
        return tuple(n for n, s in self.stops.items() if s is not None and n not in there)

    def moved_heads(self, rig: Rig) -> tuple[str, ...]:
        """Lit heads that stand or are set otherwise in the rig: the look needs hands."""
        return tuple(
            h.name
            for h in rig.heads
            if self.stops.get(h.name) is not None
            and h.name in self.placements
            and differs(self.placements[h.name], h.placement)
        )


def differs(a: Placement, b: Placement) -> bool:
    """Whether someone must walk to the stand to get from one placement to the other."""
    return (
        length(from_to(a.position_m, b.position_m)) > MOVED_BEYOND_M
        or abs(a.focus - b.focus) > MOVED_BEYOND_FOCUS
        or a.scrim_stops != b.scrim_stops
        or a.aim != b.aim
    )


def automatic_name(now: datetime, ratio_label: str, f_stop_label: str) -> str:
    """Name of a look that was kept with one tap: `14:32 · 3.5:1 · f/10`."""
    return " · ".join(t for t in (f"{now:%H:%M}", ratio_label, f_stop_label) if t)


def look_name(value: str) -> str:
    """A look's name without outer space, 1 to 40 characters."""
    return name_of("name", value)


def tags_of(values: tuple[str, ...] | list[str]) -> tuple[str, ...]:
    """Tags in lower case without doubles, in the order given."""
    tags = tuple(dict.fromkeys(" ".join(v.lower().split()) for v in values if v.strip()))
    if len(tags) > MOST_TAGS:
        raise OutOfRange(f"tags: at most {MOST_TAGS}, got {len(tags)}")
    for tag in tags:
        if len(tag) > TAG_LENGTH or "," in tag or not tag.isprintable():
            raise OutOfRange(f"tags: 1 to {TAG_LENGTH} characters without a comma, got {tag!r:.60}")
    return tags


def notes_of(value: str) -> str:
    """Notes, at most 2000 characters."""
    if len(value) > NOTES_LENGTH:
        raise OutOfRange(f"notes: at most {NOTES_LENGTH} characters, got {len(value)}")
    return value.strip()
