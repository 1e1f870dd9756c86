"""A note: a way that needs hands, kept until someone has been at the stand."""

from dataclasses import dataclass, replace
from fractions import Fraction

from server.errors import Refused
from server.studio.head import Placement
from server.studio.rig import Rig
from server.studio.setting import Setting
from server.studio.way import Way


@dataclass(frozen=True)
class Note:
    """What to do at which head: its new placement, and how much brighter it goes afterwards.

    `up` is in stops; below 0 it goes down.
    """

    note_id: int
    head: str
    text: str
    placement: Placement
    up: Fraction
    by: str


def note_of(way: Way, head: str, before: Setting, by: str) -> Note:
    """The note of a way that needs hands."""
    assert way.placement is not None
    then, now = way.setting.stops.get(head), before.stops.get(head)
    up = Fraction(0) if then is None or now is None else now - then
    text = way.text if way.text.startswith(head) else f"{head}: {way.text}"
    return Note(0, head, text, way.placement, up, by)


def placed(rig: Rig, note: Note) -> Rig:
    """The rig after hands have done it. Refused when the head is gone."""
    if all(h.name != note.head for h in rig.heads):
        raise Refused(f"{note.head} is no longer in the rig: drop the note")
    heads = (replace(h, placement=note.placement) if h.name == note.head else h for h in rig.heads)
    return replace(rig, heads=tuple(heads))


def brought(rig: Rig, setting: Setting, note: Note) -> Setting | None:
    """The light after the dimmer's part of a note, None when there is none or no room for it."""
    head = rig.head(note.head)
    stops = setting.of(head)
    if not note.up or stops is None:
        return None
    if not 0 <= stops - note.up <= Fraction(head.deepest_stops):
        return None
    return setting.shifted([head], note.up)
