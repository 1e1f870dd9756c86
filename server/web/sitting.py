"""The sitting as it is told: what was done by the clock."""

from dataclasses import dataclass
from datetime import UTC

from server.store.journal import Event


@dataclass(frozen=True)
class EventView:
    """One line of the timeline, with the clock of the room the server stands in."""

    event_id: int
    clock: str
    moment: str
    kind: str
    text: str
    actor: str
    way_back: bool


def event_view(event: Event) -> EventView:
    """An event as a line."""
    at = event.at.replace(tzinfo=UTC).astimezone()  # stored in UTC, without saying so
    return EventView(
        event_id=event.event_id,
        clock=at.strftime("%H:%M:%S"),
        moment=at.isoformat(timespec="seconds"),
        kind=event.kind,
        text=f"★ {event.text}" if event.kind == "good" else event.text,
        actor=event.actor,
        way_back="setting" in event.detail,
    )
