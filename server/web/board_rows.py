"""The rows of the board: what each can still do, and what should be known of its heads."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.errors import NotFound
from server.live.now import Now
from server.studio.colour import mismatches
from server.studio.figures import HeadFigures
from server.studio.head import ROLES, Head
from server.studio.mix import thirds_text
from server.studio.rig import Rig
from server.web.warming import warming_words
from server.web.words import stops_words

AT_THE_END = 1e-6
"""A head with less room than this, in thirds, has none left."""
GROUPS = (
    ("key", "Key", ("key",), "k"),
    ("fill", "Fill", ("fill",), "f"),
    ("edge", "Hair · rim", ("hair", "rim", "kicker"), "h"),
    ("background", "Background", ("background", "accent"), "b"),
    ("all", "All", ROLES, "a"),
)
RATIOS = (2, 3, 4, 5, 8)


@dataclass(frozen=True)
class Row:
    """One row of the board."""

    group: str
    name: str
    key: str
    state: str
    below: str
    up: str
    down: str
    from_good: str
    note: str
    warm: str


@dataclass(frozen=True)
class HeadRow:
    """One head with keys of its own. `first` names the board's row that begins with it."""

    row: Row
    role: str
    first: str


@dataclass(frozen=True)
class Board:
    """The board: rows and ratios."""

    rows: tuple[Row, ...]
    ratios: tuple[int, ...]


def group_heads(rig: Rig, group: str) -> tuple[Head, ...]:
    """The heads of a row of the board."""
    for name, _, roles, _ in GROUPS:
        if name == group:
            return tuple(h for h in rig.heads if h.role in roles)
    raise NotFound(f"group must be one of {', '.join(g[0] for g in GROUPS)}, got {group!r:.40}")


def group_name(group: str) -> str:
    """What a row of the board is called."""
    return next((name for known, name, _, _ in GROUPS if known == group), group)


def board_view(now: Now) -> Board:
    """The rows that this rig has, each with its room left before the press."""
    rows = []
    off_colour = mismatches(now.rig, now.setting)
    for group, name, roles, key in GROUPS:
        heads = [h for h in now.figures.heads if h.head.role in roles]
        if heads:
            # the row of all heads does not say again what the others say
            warm = warming_words(now, [h.head for h in heads]) if group != "all" else ""
            rows.append(_row(group, name, key, heads, off_colour, warm))
    return Board(tuple(rows), RATIOS)


def each_head(now: Now) -> tuple[HeadRow, ...]:
    """Every head of the rig as a row of its own, in the order of the board's rows."""
    off_colour = mismatches(now.rig, now.setting)
    told = []
    for group, _, roles, _ in GROUPS[:-1]:
        heads = [h for h in now.figures.heads if h.head.role in roles]
        for figures in heads:
            head = figures.head
            # a name is any text: as an element's id it is written in plain digits
            own = f"head-{head.name.encode().hex()}"
            warm = warming_words(now, [head])
            row = _row(own, head.name, "", [figures], off_colour, warm)
            first = group if figures is heads[0] else ""
            role = "" if head.name.casefold() == head.role else head.role
            told.append(HeadRow(row, role, first))
    return tuple(told)


def _row(
    group: str,
    name: str,
    key: str,
    heads: Sequence[HeadFigures],
    off_colour: Mapping[str, str],
    warm: str,
) -> Row:
    lit = [h for h in heads if h.room_up_thirds is not None]
    if heads and all(h.head.out for h in heads):
        return Row(group, name, key, "out", "out", "until it is back", "", "", "", "")
    out = ", ".join(f"{h.head.name} is out" for h in heads if h.head.out) if group != "all" else ""
    if not lit:
        return Row(group, name, key, "dark", "dark", "brings it in low", "", "", out, "")
    up = min(h.room_up_thirds or 0.0 for h in lit)
    down = min(h.room_down_thirds or 0.0 for h in lit)
    good = {round(h.from_good_thirds, 2) for h in lit if h.from_good_thirds is not None}
    from_good = ""
    if good and any(h.from_good_thirds is None for h in lit):
        from_good = "mixed"  # one of them was dark in the good frame
    elif len(good) == 1:
        from_good = thirds_text(good.pop()) or "as good"
    elif good:
        from_good = "mixed"
    return Row(
        group=group,
        name=name,
        key=key,
        state="top" if up < AT_THE_END else ("bottom" if down < AT_THE_END else "lit"),
        below=_below_words(lit, up),
        up=_room_words(up),
        down=_room_words(down),
        from_good=from_good,
        note=" · ".join(n for n in (out, _row_note(lit, off_colour)) if n),
        warm=warm,
    )


def _below_words(lit: Sequence[HeadFigures], up: float) -> str:
    """How far a row is from full: as far as the head of it that is nearest."""
    if up >= AT_THE_END:
        words = stops_words(up)
        return "just below full" if words == "0" else f"{words} below full"
    ended = [h.head.name for h in lit if (h.room_up_thirds or 0.0) < AT_THE_END]
    if len(ended) == len(lit):
        return "at the top"
    return f"{ended[0]} at the top" if len(ended) == 1 else f"{len(ended)} heads at the top"


def _room_words(thirds: float) -> str:
    if thirds < AT_THE_END:
        return "none"
    words = stops_words(thirds)
    return "a little" if words == "0" else f"{words} left"


def _row_note(lit: Sequence[HeadFigures], off_colour: Mapping[str, str]) -> str:
    """What should be known about the heads of a row before the next frame."""
    told = []
    for figures in lit:
        head = figures.head
        if figures.white_soon:
            told.append(f"{head.name}: white soon")
        if figures.output < head.steady_output:
            told.append(f"{head.name}: below where it is steady")
        if figures.output < head.bands_below:
            told.append(f"{head.name}: may band below {head.bands_below:.0%}")
        if head.name in off_colour:
            told.append(f"{head.name}: {off_colour[head.name]}")
    return " · ".join(told)
