"""What templates are given: frozen views whose fields are text already."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import NotFound
from server.live.now import Now
from server.studio.colour import white_balance_kelvin
from server.studio.figures import about, outputs_of, ratio_label
from server.studio.load import CircuitLoad, trips
from server.studio.look import Look
from server.studio.mix import changes
from server.studio.rig import Rig
from server.studio.room import HABITS
from server.web.face_views import TileFace, tile_face
from server.web.faces import Faces
from server.web.metering import METERING
from server.web.words import advice_words, f_words, look_lens_words, name_now, shutter_words

TILES = 6
TOLD_CHANGES = 3
WHY_ABOUT = {"metered": "", "camera": ", told by the camera", "moved": ", changed since metering",
             "predicted": ", reckoned"}  # fmt: skip
UNMETERED = "not metered in: all figures are about"


@dataclass(frozen=True)
class Strip:
    """The top strip: always there."""

    state: str
    state_word: str
    room: str
    room_id: int
    look: str
    changed: str
    unmetered: str
    about: str
    ratio: str
    ratio_words: str
    lens: str
    lens_words: str
    advice: str
    advice_about: str
    advice_mark: str
    told: str
    since_good: str
    unsaved: str
    undo: bool
    redo: bool
    good: bool
    comparing: bool
    can_restore: bool
    is_dark: bool
    by_hand: bool
    habit: str


@dataclass(frozen=True)
class Tile:
    """One look as a big button."""

    look_id: int
    name: str
    ratio: str
    lens: str
    hands: str
    load: str
    room: str
    face: TileFace
    state: str
    number: int
    tags: str
    notes: str
    place: str


@dataclass(frozen=True)
class Looks:
    """A page of the running order."""

    tiles: tuple[Tile, ...]
    page: int
    pages: int


def strip_view(now: Now) -> Strip:
    """The strip of a moment."""
    told, setting = now.figures, now.setting
    lens = told.lens
    by_hand = "by hand" in now.output.kind
    habit = HABITS[now.rig.room.signal_loss]
    if now.output.live:
        state, word = "live", "Live"
    elif now.output.message:
        state, word = "fault", f"No signal, {habit}: {now.output.message}"
    elif by_hand:
        state, word = "hand", "Set by hand"
    else:
        state, word = "none", "No light sent"
    lit = [h for h in told.heads if h.output > 0]
    out = [h.name for h in now.rig.heads if h.out]
    if out:
        word += f" · {', '.join(out)} {'is' if len(out) == 1 else 'are'} out"
    metering = now.record.history.now.text.startswith(METERING) and not now.comparing
    known = told.ratio.value is not None and bool(lit)
    return Strip(
        state=state,
        state_word=word,
        room=now.rig.room.name,
        room_id=now.record.room_id,
        look=_look_words(now, lit=bool(lit), known=bool(known and not metering)),
        changed="changed" if lit and setting.origin and setting.changed else "",
        unmetered="" if not now.rig.heads or metered_in(now.rig) else UNMETERED,
        about="about" if known and not metering and told.ratio.told != told.ratio.label else "",
        ratio=told.ratio.label if lit and not metering else "—",
        ratio_words=_ratio_words(now, known=known, metering=metering and bool(lit)),
        lens=f_words(lens.lens.f_number),
        lens_words=_camera_words(now),
        advice=advice_words(lens) if lit and not metering else "",
        advice_about="" if lens.source == "metered" else "about",
        advice_mark=lens.nearest.label if lens.nearest else "",
        told=f"{now.text} · {now.actor}" if now.text and now.actor else now.text,
        since_good="" if metering else since_good_words(now),
        unsaved=now.unsaved,
        undo=now.record.history.can_undo > 0,
        redo=now.record.history.can_redo > 0,
        good=now.record.good is not None,
        comparing=now.comparing,
        can_restore=now.can_restore,
        is_dark=not lit,
        by_hand=by_hand,
        habit="" if now.output.kind in ("none", "by hand") else habit,
    )


def _look_words(now: Now, *, lit: bool, known: bool) -> str:
    """What is lit, in one name: without the ratio it was kept at, where another one is shown."""
    origin = now.setting.origin
    if not lit or origin is None:
        return "Free light" if lit else "Dark"
    return name_now(origin.name, now.figures.ratio.label) if known else origin.name


def metered_in(rig: Rig) -> bool:
    """Whether anything was read of any head. If not, the strip says so once for all figures."""
    return any(r.head for r in rig.readings)


def _ratio_words(now: Now, *, known: bool, metering: bool) -> str:
    if metering:
        return "one head alone"
    why = WHY_ABOUT[now.figures.ratio.source] if known and metered_in(now.rig) else ""
    return f"lit : shadow{why}"


def _camera_words(now: Now) -> str:
    lens = now.figures.lens.lens
    kelvin = white_balance_kelvin(now.rig, now.setting)
    balance = f" · {10 * round(kelvin / 10)} K" if kelvin else ""
    return f"ISO {lens.iso:g} · {shutter_words(lens.shutter_s)}{balance}"


def since_good_words(now: Now) -> str:
    """What changed since the good frame, in words; empty before the first one and while it is
    looked at."""
    good = now.record.good
    if good is None or now.comparing:
        return ""
    told = changes(now.rig, good.stops, now.record.history.now.setting.stops)
    if not told:
        return "as in the good frame"
    rest = ", rest same" if len(told) < len(now.rig.heads) else ""
    if len(told) > TOLD_CHANGES:
        rest = f" and {len(told) - TOLD_CHANGES} more"
    return ", ".join(f"{name} {change}" for name, change in told[:TOLD_CHANGES]) + rest


def looks_view(
    now: Now, order: Sequence[Look], page: int, faces: Faces, *, tiles_only: bool = False
) -> Looks:
    """One page of the running order, or every tile's state."""
    pages = max(1, -(-len(order) // TILES))
    if not tiles_only and not 0 <= page < pages:
        raise NotFound(f"the running order has pages 1 to {pages}")
    shown = order if tiles_only else order[page * TILES : (page + 1) * TILES]
    armed = next_look(now, order, 1)
    return Looks(
        tuple(
            tile_view(now, look, number % TILES + 1, armed.look_id if armed else None, faces)
            for number, look in enumerate(shown)
        ),
        page,
        pages,
    )


def next_look(now: Now, order: Sequence[Look], by: int) -> Look | None:
    """The look that forward or back would call."""
    if not order:
        return None
    ids = [look.look_id for look in order]
    origin = now.setting.origin
    if origin is None or origin.look_id not in ids:
        return order[0] if by > 0 else order[-1]
    at = ids.index(origin.look_id) + by
    return order[at] if 0 <= at < len(order) else None


def of_room(now: Now, look: Look) -> str:
    """`of the room Old mill` for a look that was kept in another room than the open one."""
    return f"of the room {look.room}" if look.room_id not in (0, now.record.room_id) else ""


def load_words(over: Sequence[CircuitLoad]) -> str:
    """The first circuit whose breaker a recall would pass; empty when none."""
    if not over:
        return ""
    return f"{over[0].amps_now:.0f} A on {over[0].name}, breaker {over[0].breaker_amps:g}"


def _look_figures(now: Now, look: Look, faces: Faces) -> tuple[str, str]:
    """A look's ratio and lens as the readings say by now; as it was kept, about, where heads of it
    are missing."""
    if look.missing_heads(now.rig):
        ratio = ratio_label(look.ratio) if look.ratio else "no fill"
        return about(ratio, "moved"), about(look_lens_words(look.lens, look.f_number), "moved")
    told = faces.light_of_look(now.rig, look).told
    lens = look_lens_words(look.lens, told.lens.exact_f_number)
    # where nothing was metered the strip says so once, and the ratio is enough
    return told.ratio.told, about(lens, told.lens.source) if metered_in(now.rig) else lens


def tile_view(now: Now, look: Look, number: int, armed: int | None, faces: Faces) -> Tile:
    """A look as a tile."""
    origin = now.setting.origin
    moved, missing = look.moved_heads(now.rig), look.missing_heads(now.rig)
    hands = f"needs {', '.join(missing)}" if missing else (
        f"hands needed: {', '.join(moved)}" if moved else "")  # fmt: skip
    state = "idle"
    lit = any(now.setting.output(h) > 0 for h in now.rig.heads)
    if lit and origin and origin.look_id == look.look_id:
        state = "lit"
    elif look.look_id == armed:
        state = "next"
    ratio, lens = _look_figures(now, look, faces)
    there = look.setting(now.rig, now.setting)
    over = trips(now.rig, outputs_of(now.rig, now.setting), outputs_of(now.rig, there))
    return Tile(
        look_id=look.look_id,
        name=name_now(look.name, ratio.removeprefix("about ")),
        ratio=ratio,
        lens=lens,
        hands=hands,
        load=load_words(over),
        room=of_room(now, look),
        face=tile_face(faces, now.rig, look),
        state=state,
        number=number,
        tags=", ".join(look.tags),
        notes=look.notes,
        place="" if look.place is None else str(look.place + 1),
    )
