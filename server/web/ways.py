"""Ways and notes in words: what to do, what it costs, what else it changes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from server.live.now import Now
from server.studio.note import Note
from server.studio.way import Way
from server.studio.way_words import signed
from server.web.words import point_words

SHOWN = 6
UNSEEN_STOPS = 0.05
THIRDS = (-3, -2, -1, 1, 2, 3)


@dataclass(frozen=True)
class WayView:
    """A way as a card."""

    kind: str
    text: str
    cost: str
    changes: str
    caution: str
    hands: bool


def way_view(way: Way, colour: bool) -> WayView:
    """A way in words."""
    return WayView(
        way.kind, way.text[0].upper() + way.text[1:], f"about {way.seconds:.0f} s",
        _changes(way, colour), _caution(way), way.hands,
    )  # fmt: skip


def _changes(way: Way, colour: bool) -> str:
    told = [
        f"{point_words(point)} {signed(stops)}"
        for point, stops in way.unwanted.items()
        if abs(stops) > UNSEEN_STOPS
    ]
    parts = [f"Against dimming alone: {', '.join(told)}" if told else "The same picture"]
    side = way.side
    if abs(side.size_deg[1] / side.size_deg[0] - 1) > 0.05:
        harder = "harder" if side.size_deg[1] < side.size_deg[0] else "softer"
        parts.append(
            f"{harder}: nose shadow’s edge {1000 * side.edge_m[0]:.1f} →"
            f" {1000 * side.edge_m[1]:.1f} mm, cheek to ear {side.falloff_stops[0]:.2f} →"
            f" {side.falloff_stops[1]:.2f} stop"
        )
    if colour and abs(way.mired) >= 1:
        parts.append(f"a tungsten lamp {abs(way.mired):.0f} mired"
                     f" {'warmer' if way.mired > 0 else 'cooler'}")  # fmt: skip
    if way.over:
        parts.append(f"circuit {', '.join(way.over)} over its planning limit")
    return ". ".join(part[0].upper() + part[1:] for part in parts) + "."


def _caution(way: Way) -> str:
    if not way.hands:
        return ""
    if way.kind == "scrim":
        return "Hot frame: gloves."
    if way.kind == "distance":
        return "Two hands on the stand, sandbag last. Meter it again."
    return "Hot head: gloves. Meter it again."


def heads_to_choose(now: Now) -> list[str]:
    """Lit heads: only these have ways."""
    return [h.head.name for h in now.figures.heads if h.output > 0]


def way_json(way: Way) -> dict[str, Any]:
    """A way of the contract."""
    side = way.side
    return {
        "kind": way.kind,
        "text": way.text,
        "seconds": way.seconds,
        "hands": way.hands,
        "unwanted_stops": dict(way.unwanted),
        "mired": way.mired,
        "falloff_stops": list(side.falloff_stops),
        "shadow_edge_mm": [1000 * edge for edge in side.edge_m],
        "apparent_size_deg": list(side.size_deg),
        "over_planning_limit": list(way.over),
        "cost": way.cost,
    }


def notes_json(notes: Sequence[Note]) -> list[dict[str, Any]]:
    """Open notes of the contract."""
    return [{"id": n.note_id, "head": n.head, "text": n.text, "by": n.by} for n in notes]
