"""Keep what is lit now as a look: one tap, a name of its own, stored before it is answered."""

from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from server.errors import NotFound
from server.live.now import Now
from server.store.looks import add_look, get_look, name_taken
from server.studio.keep import look_of
from server.studio.look import Look, automatic_name, look_name, notes_of, tags_of
from server.studio.pattern import kept_name
from server.web.desk import Desk
from server.web.lights import light_now
from server.web.words import look_lens_words


def kept_already(now: Now, session: Session) -> Look | None:
    """The look that is lit, when nothing of it was changed since: keeping it would make a twin."""
    setting = now.record.history.now.setting
    if setting.origin is None or setting.changed or now.comparing:
        return None
    try:
        look = get_look(session, setting.origin.look_id)
    except NotFound:  # taken out of the library meanwhile
        return None
    same = look.lens == setting.lens and look.yaw_deg == setting.yaw_deg
    return look if same and not look.moved_heads(now.rig) else None


def keep_look(
    desk: Desk, session: Session, name: str | None, tags: list[str], notes: str, actor: str
) -> Look:
    """Store the light as a look. Without a name: `Rembrandt, short · 4:1 · f/5.6` when its pattern
    is known, which is not waited for; else `14:32 · 4:1 · f/5.6`."""
    now = desk.engine.now()
    told = now.figures
    f_stop = look_lens_words(told.lens.lens, told.lens.exact_f_number)
    automatic = kept_name(desk.faces.pattern(light_now(now)), told.ratio.label, f_stop)
    if not automatic or name_taken(session, automatic):
        automatic = automatic_name(datetime.now(), told.ratio.label, f_stop)
    look = look_of(
        now.rig_now,
        now.setting,
        look_name(name) if name is not None and name.strip() else automatic,
        tags_of(tags),
        notes_of(notes),
    )
    kept = add_look(session, replace(look, room_id=now.record.room_id))
    desk.engine.kept(kept, actor)
    return kept
