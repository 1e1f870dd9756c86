"""Keep what is lit now as a look: one tap, a name of its own, stored before it is answered."""

from datetime import datetime

from sqlmodel import Session

from server.store.looks import add_look
from server.studio.keep import look_of
from server.studio.look import Look, automatic_name, look_name, notes_of, tags_of
from server.web.desk import Desk


def keep_look(
    desk: Desk, session: Session, name: str | None, tags: list[str], notes: str, actor: str
) -> Look:
    """Store the light as a look. Without a name: `14:32 · 3.5:1 · f/10`."""
    now = desk.engine.now()
    told = now.figures
    automatic = automatic_name(
        datetime.now(), told.ratio.label, told.lens.nearest.label if told.lens.nearest else ""
    )
    look = look_of(
        now.rig_now,
        now.setting,
        look_name(name) if name is not None and name.strip() else automatic,
        tags_of(tags),
        notes_of(notes),
    )
    kept = add_look(session, look)
    desk.engine.kept(kept, actor)
    return kept
