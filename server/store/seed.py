"""Fill a new database with the demo studio."""

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

from sqlmodel import Session

from server.store.looks import add_look, set_running_order
from server.store.rigs import put_rig
from server.studio.document import placement_from_document, rig_from_document
from server.studio.keep import look_of
from server.studio.look import Look, tags_of
from server.studio.rig import Lens, Rig
from server.studio.setting import Setting


def seed(session: Session, folder: Path) -> Rig:
    """Store the demo rig and its looks; their figures come from the physics, not from the file."""
    rig = rig_from_document(json.loads((folder / "rig.json").read_text("utf-8")))
    put_rig(session, rig)
    running = []
    for entry in json.loads((folder / "looks.json").read_text("utf-8"))["looks"]:
        look = add_look(session, _look(rig, entry))
        if entry.get("running_order", True):
            running.append(look.look_id)
    set_running_order(session, running)
    return rig


def _look(rig: Rig, entry: dict[str, Any]) -> Look:
    placements = {h.name: h.placement for h in rig.heads}
    moved = {n: placement_from_document(p, n) for n, p in (entry.get("placements") or {}).items()}
    stops = {
        h.name: Fraction(entry["stops_below_full"][h.name]).limit_denominator(300)
        if h.name in entry["stops_below_full"]
        else None
        for h in rig.heads
    }
    setting = Setting(stops, Lens(**entry["lens"]), entry["yaw_deg"])
    return look_of(
        rig, setting, entry["name"], tags_of(entry["tags"]), entry["notes"], placements | moved
    )
