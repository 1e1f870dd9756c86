"""The steps and the good frame of each room that is not open: they wait for it."""

from typing import Any

from sqlmodel import Session

from server.store.tables import LeftRow
from server.studio.document import setting_document, setting_from_document
from server.studio.history import History, RoomLight, Step
from server.studio.setting import Setting


def light_left(session: Session, room_id: int) -> RoomLight | None:
    """The light a room was left with; None for one that was never left."""
    row = session.get(LeftRow, room_id)
    return _light(row.document) if row else None


def put_light(session: Session, room_id: int, light: RoomLight) -> None:
    """Keep the light of a room that is left. The caller commits."""
    session.merge(LeftRow(room_id=room_id, document=_document(light)))


def drop_light(session: Session, room_id: int) -> None:
    """The room is open: its light is the live one. The caller commits."""
    row = session.get(LeftRow, room_id)
    if row is not None:
        session.delete(row)
        session.flush()


def _document(light: RoomLight) -> dict[str, Any]:
    return {
        "at": light.history.at,
        "steps": [
            {**vars(step), "setting": setting_document(step.setting)}
            for step in light.history.steps
        ],
        "good": light.good and setting_document(light.good),
        "dark_from": light.dark_from and setting_document(light.dark_from),
    }


def _light(document: dict[str, Any]) -> RoomLight:
    steps = tuple(
        Step(**{**step, "setting": setting_from_document(step["setting"])})
        for step in document["steps"]
    )
    return RoomLight(
        History(steps, document["at"]), _setting(document["good"]), _setting(document["dark_from"])
    )


def _setting(document: dict[str, Any] | None) -> Setting | None:
    return setting_from_document(document) if document else None
