"""Looks in the database: kept, found, changed, put in order, deleted and brought back."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from sqlalchemy import ColumnElement, func, or_
from sqlmodel import Session, col, select

from server.errors import NotFound, OutOfRange
from server.store.rigs import active_id
from server.store.tables import LookRow, PatternRow, RigRow, now_utc
from server.studio.document import (
    placement_document,
    placement_from_document,
    setting_document,
    setting_from_document,
)
from server.studio.look import Look
from server.studio.relamp import Correction
from server.studio.setting import Setting

PAGE = 200
AT_ONCE = 100


def add_look(session: Session, look: Look) -> Look:
    """Store a new look and answer it with its id."""
    row = new_row(look, look.room_id or active_id(session))
    session.add(row)
    session.commit()
    return _look(session, row)


def looks_in_use(session: Session) -> Iterator[Look]:
    """All looks of rooms that are not archived, in the order they were kept, a few at a time."""
    query = select(LookRow).where(col(LookRow.deleted_at).is_(None), _in_use())
    query = query.order_by(col(LookRow.id)).execution_options(yield_per=AT_ONCE)
    names = _room_names(session)
    return (_of_row(row, names.get(row.room_id, "")) for row in session.exec(query))


def new_row(look: Look, room_id: int) -> LookRow:
    """A look as it is stored, not in the session yet."""
    return LookRow(
        name=look.name,
        tags=list(look.tags),
        notes=look.notes,
        setting=setting_document(Setting(look.stops, look.lens, look.yaw_deg)),
        placements={n: placement_document(p) for n, p in look.placements.items()},
        lux=dict(look.lux or {}),
        ratio=look.ratio,
        f_number=look.f_number,
        place=look.place,
        room_id=room_id,
    )


def all_looks(session: Session, room_id: int | None = None) -> list[Look]:
    """Every look of a room, by default of the one that is open, the oldest first."""
    query = select(LookRow).where(
        col(LookRow.deleted_at).is_(None), LookRow.room_id == (room_id or active_id(session))
    )
    return _looks(session, session.exec(query.order_by(col(LookRow.id))))


def get_look(session: Session, look_id: int) -> Look:
    """The look with this id, or NotFound."""
    return _look(session, _row(session, look_id))


def name_taken(session: Session, name: str) -> bool:
    """Whether a look is called so."""
    query = select(LookRow.id).where(LookRow.name == name, col(LookRow.deleted_at).is_(None))
    return session.exec(query.limit(1)).first() is not None


def find_looks(
    session: Session,
    text: str = "",
    tag: str = "",
    limit: int = PAGE,
    offset: int = 0,
    pattern: str = "",
    room_id: int | None = None,
) -> list[Look]:
    """Looks by part of name or notes, by tag, by pattern or side, of one room or of all, the newest
    first; those of archived rooms are out of the way until their room comes back."""
    query = select(LookRow).where(col(LookRow.deleted_at).is_(None), _in_use())
    if room_id is not None:
        query = query.where(LookRow.room_id == room_id)
    if text:
        like = f"%{_escaped(text)}%"
        query = query.where(
            or_(
                col(LookRow.name).ilike(like, escape="\\"),
                col(LookRow.notes).ilike(like, escape="\\"),
            )
        )
    if tag:
        each = func.json_each(col(LookRow.tags)).table_valued("value", joins_implicitly=True)
        query = query.where(
            col(LookRow.id).in_(select(LookRow.id).join(each, each.c.value == tag.lower()))
        )
    if pattern:
        words = func.json_each(col(PatternRow.words)).table_valued("value", joins_implicitly=True)
        query = query.where(
            col(LookRow.id).in_(select(PatternRow.look_id).join(words, words.c.value == pattern))
        )
    query = query.order_by(col(LookRow.id).desc()).limit(limit).offset(offset)
    return _looks(session, session.exec(query))


def looks_elsewhere(session: Session, room_id: int) -> int:
    """How many looks other rooms than this one hold."""
    query = select(func.count()).select_from(LookRow)
    query = query.where(col(LookRow.deleted_at).is_(None), _in_use(), LookRow.room_id != room_id)
    return session.exec(query).one()


def running_order(session: Session) -> list[Look]:
    """The looks chosen for this sitting, in the order they will be called."""
    query = (
        select(LookRow)
        .where(col(LookRow.place).is_not(None), col(LookRow.deleted_at).is_(None))
        .order_by(col(LookRow.place), col(LookRow.id))
    )
    return _looks(session, session.exec(query))


def heads_in_looks(session: Session) -> set[str]:
    """Names of all heads that any look of the open room holds, of looks taken out too."""
    query = select(LookRow).where(LookRow.room_id == active_id(session))
    return {name for row in session.exec(query) for name in row.setting["stops"]}


def rename_heads(session: Session, names: Mapping[str, str], room_id: int) -> None:
    """Heads of a room got other names (old -> new): its looks follow. The caller commits."""
    for row in session.exec(select(LookRow).where(LookRow.room_id == room_id)):
        setting = setting_from_document(row.setting).renamed(names)
        row.setting = setting_document(setting)
        row.placements = {names.get(n, n): p for n, p in row.placements.items()}
        session.add(row)


def correct_looks(session: Session, correction: Correction, room_id: int) -> None:
    """A head of a room gives other light than it did: its looks follow and keep their light. The
    caller commits."""
    for row in session.exec(select(LookRow).where(LookRow.room_id == room_id)):
        setting = correction.setting(setting_from_document(row.setting), row.id)
        row.setting = setting_document(setting)
        session.add(row)


def change_look(
    session: Session,
    look_id: int,
    *,
    name: str | None = None,
    tags: tuple[str, ...] | None = None,
    notes: str | None = None,
) -> Look:
    """Change what is given, leave the rest."""
    row = _row(session, look_id)
    if name is not None:
        row.name = name
    if tags is not None:
        row.tags = list(tags)
    if notes is not None:
        row.notes = notes
    session.add(row)
    session.commit()
    return _look(session, row)


def delete_look(session: Session, look_id: int) -> Look:
    """Mark a look as deleted; `bring_back` undoes it."""
    row = _row(session, look_id)
    row.deleted_at = now_utc()
    session.add(row)
    session.commit()
    return _look(session, row)


def bring_back(session: Session, look_id: int) -> Look:
    """Undo a deletion."""
    row = session.get(LookRow, look_id) if 0 < look_id < 2**62 else None
    if row is None:
        raise NotFound(f"there is no look {look_id}")
    row.deleted_at = None
    session.add(row)
    session.commit()
    return _look(session, row)


def set_running_order(session: Session, look_ids: Sequence[int]) -> list[Look]:
    """Make exactly these looks the running order, in this order. All of it or nothing."""
    if len(set(look_ids)) < len(look_ids):
        raise OutOfRange(f"a look can stand once in the running order, got {list(look_ids)}")
    rows = [_row(session, look_id) for look_id in look_ids]
    for row in session.exec(select(LookRow).where(col(LookRow.place).is_not(None))):
        row.place = None
        session.add(row)
    for place, row in enumerate(rows):
        row.place = place
        session.add(row)
    session.commit()
    return _looks(session, rows)


def all_tags(session: Session) -> list[str]:
    """Every tag in use, in alphabetical order."""
    query = select(LookRow.tags).where(col(LookRow.deleted_at).is_(None), _in_use())
    return sorted({tag for tags in session.exec(query) for tag in tags})


def deleted_looks(session: Session, limit: int = 20) -> list[Look]:
    """Deleted looks, the last deleted first."""
    query = (
        select(LookRow)
        .where(col(LookRow.deleted_at).is_not(None))
        .order_by(col(LookRow.deleted_at).desc())
        .limit(limit)
    )
    return _looks(session, session.exec(query))


def _row(session: Session, look_id: int) -> LookRow:
    row = session.get(LookRow, look_id) if 0 < look_id < 2**62 else None
    if row is None or row.deleted_at is not None:
        raise NotFound(f"there is no look {look_id}; GET /api/looks lists those there are")
    return row


def _in_use() -> ColumnElement[bool]:
    """That the room of a look is not archived."""
    archived = select(RigRow.id).where(col(RigRow.archived_at).is_not(None))
    return col(LookRow.room_id).not_in(archived)


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


def _look(session: Session, row: LookRow) -> Look:
    return _looks(session, [row])[0]


def _looks(session: Session, rows: Iterable[LookRow]) -> list[Look]:
    names = _room_names(session)
    return [_of_row(row, names.get(row.room_id, "")) for row in rows]


def _room_names(session: Session) -> dict[int | None, str]:
    name = func.json_extract(col(RigRow.document), "$.room.name")
    return dict(session.exec(select(col(RigRow.id), name)).all())


def _of_row(row: LookRow, room: str) -> Look:
    setting = setting_from_document(row.setting)
    assert row.id is not None
    return Look(
        look_id=row.id,
        name=row.name,
        stops=setting.stops,
        placements={n: placement_from_document(p, n) for n, p in row.placements.items()},
        lens=setting.lens,
        yaw_deg=setting.yaw_deg,
        tags=tuple(row.tags),
        notes=row.notes,
        lux=row.lux,
        ratio=row.ratio,
        f_number=row.f_number,
        place=row.place,
        kept_at=row.kept_at.isoformat(),
        room_id=row.room_id,
        room=room,
    )
