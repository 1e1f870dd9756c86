"""Carry looks from another room: who stands for whom, what comes of each look, storing them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from server.errors import OutOfRange, StudioError
from server.physics.exposure import nearest_f_stop
from server.store.rooms import KeptRoom
from server.studio.carry import SIXTH, Carried, Carry, Short
from server.studio.head import NAME_LENGTH
from server.studio.keep import look_of
from server.studio.look import MOST_TAGS, NOTES_LENGTH, Look
from server.studio.missing import instead_of_the_lens, remedies, stood_as_there
from server.studio.rig import Rig

TAG = "carried"
FIELD = "to"
TOLD_FROM_STOPS = 0.03
STOOD_AT_MOST = 8
"""For so many looks the one head that would help most is looked for: it takes a moment each."""


@dataclass(frozen=True)
class RoomChoice:
    """A room that looks can be carried from."""

    room_id: int
    name: str
    looks: int
    chosen: bool


@dataclass(frozen=True)
class PairView:
    """A head of the other room, and who may stand for it here: (name, words, chosen)."""

    field: str
    head: str
    role: str
    choices: tuple[tuple[str, str, bool], ...]


@dataclass(frozen=True)
class LookView:
    """One look as it would be here. `told` is what is missing, `ways` what would get it."""

    look_id: int
    name: str
    verdict: str
    figures: str
    told: tuple[str, ...]
    ways: tuple[str, ...]
    chosen: bool
    possible: bool


@dataclass(frozen=True)
class CarryView:
    """The page."""

    rooms: tuple[RoomChoice, ...]
    room: RoomChoice | None
    here: str
    pairs: tuple[PairView, ...] = ()
    looks: tuple[LookView, ...] = ()
    summary: str = ""
    trust: str = ""
    why: str = ""


def pairs_of(source: Rig, fields: Mapping[str, str]) -> dict[str, str | None] | None:
    """Who stands for whom, as a form says it; None when it says nothing yet."""
    names = {f"{FIELD}{i}": head.name for i, head in enumerate(source.heads)}
    if not any(field in fields for field in names):
        return None
    return {name: fields.get(field) or None for field, name in names.items()}


def room_choices(rooms: Sequence[KeptRoom], chosen: int) -> tuple[RoomChoice, ...]:
    """The rooms that are not open here."""
    return tuple(
        RoomChoice(r.room_id, r.name, r.looks, r.room_id == chosen)
        for r in rooms
        if not r.is_open and r.archived_at is None
    )


def carry_view(
    rooms: tuple[RoomChoice, ...], source: Rig, target: Rig, looks: Sequence[Look],
    fields: Mapping[str, str],
) -> CarryView:  # fmt: skip
    """Every look of the other room as it would be in this one."""
    room = next(r for r in rooms if r.chosen)
    given = pairs_of(source, fields)
    try:
        carry, why = Carry(source, target, given), ""
    except StudioError as error:
        carry, why = Carry(source, target), f"{error}: here is what it was before"
    ways = _Ways(carry)
    views = tuple(_look_view(carry, look, ways) for look in looks)
    return CarryView(
        rooms=rooms,
        room=room,
        here=target.room.name,
        pairs=_pair_views(source, target, carry.pairs),
        looks=views,
        summary=_summary(views),
        trust=_trust(source, target),
        why=why,
    )


def _pair_views(
    source: Rig, target: Rig, pairs: Mapping[str, str | None]
) -> tuple[PairView, ...]:  # fmt: skip
    return tuple(
        PairView(
            f"{FIELD}{i}", head.name, head.role,
            (("", "nobody", pairs[head.name] is None),
             *((h.name, f"{h.name} · {h.role}", pairs[head.name] == h.name)
               for h in target.heads if not h.out)),
        )
        for i, head in enumerate(source.heads)
    )  # fmt: skip


def _look_view(carry: Carry, look: Look, ways: "_Ways") -> LookView:
    try:
        done = carry.carried(look)
    except StudioError as error:
        return LookView(look.look_id, look.name, "cannot", "", (_sentence(str(error)),), (),
                        False, False)  # fmt: skip
    return LookView(
        look_id=look.look_id,
        name=look.name,
        verdict=done.verdict,
        figures=_figures(done),
        told=tuple(_told(done, look.missing_heads(carry.source))),
        ways=ways.of(done),
        chosen=done.verdict != "not reached",
        possible=True,
    )


def _figures(done: Carried) -> str:
    was = nearest_f_stop(done.look.lens.f_number).label
    now = nearest_f_stop(done.setting.lens.f_number).label
    lens = f"{was} stays" if was == now else f"{was} → {now}"
    return f"{done.before.label} → {done.ratio.label} lit : shadow · {lens}"


def _told(done: Carried, gone: Sequence[str] = ()) -> list[str]:
    told, said = [f"{n} is no longer in that room: its light is missing" for n in gone], set()
    down = [s for s in done.short if s.carried and s.stops > TOLD_FROM_STOPS]
    if done.down_stops > TOLD_FROM_STOPS and down:
        names = ", ".join(s.head for s in down)
        follows = done.setting.lens.f_number != done.look.lens.f_number
        lens = "follows" if follows else "stays"
        told.append(
            f"{names} {'has' if len(down) == 1 else 'have'} too little:"
            f" all come down {done.down_stops:.1f} stop, the lens {lens}"
        )
    off = dict(done.off)
    for short in done.short:
        if not short.carried:
            told.append(f"{short.head} is {short.stops:.1f} stops short at {short.point}")
            said.add(short.point)
    for away in done.absent:
        said.add(away.point)
        told.append(
            f"nobody stands for {away.head}: {away.point} {signed(off.get(away.point, 0.0))} stop"
        )
    rest = [(p, s) for p, s in done.off if abs(s) > SIXTH and p not in said]
    if rest:
        told.append("off: " + ", ".join(f"{p} {signed(s)}" for p, s in rest) + " stop")
    return [_sentence(each) for each in told]


class _Ways:
    """The ways to what is missing, each worked out once."""

    def __init__(self, carry: Carry) -> None:
        self._carry = carry
        self._known: dict[tuple[str, str, float], tuple[str, ...]] = {}
        self._stood = STOOD_AT_MOST

    def of(self, done: Carried) -> tuple[str, ...]:
        """In words, without doubles."""
        told = [r.text for r in instead_of_the_lens(done)]
        for short in done.short:
            if short.stops > TOLD_FROM_STOPS:
                told += self._of_head(short, done.look.yaw_deg)
        told += [f"a head that gives {a.lux:.0f} lx at {a.point}" for a in done.absent]
        alone = not done.short and not done.absent
        if done.verdict == "not reached" and alone and self._stood > 0:
            self._stood -= 1
            if (found := stood_as_there(self._carry, done)) is not None:
                told.append(f"{found[0].text}: then within {max(found[1], 0.05):.2g} stop")
        return tuple(dict.fromkeys(_sentence(each) for each in told))

    def _of_head(self, short: Short, yaw_deg: float) -> tuple[str, ...]:
        key = (short.head, short.point, round(short.stops, 2) + 100 * yaw_deg)
        if key not in self._known:
            found = remedies(short, self._carry.target, yaw_deg)
            self._known[key] = tuple(r.text for r in found)
        return self._known[key]


def signed(stops: float) -> str:
    """`+0.3`, `−1.2`."""
    return f"{stops:+.1f}".replace("-", "−")


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _summary(looks: Sequence[LookView]) -> str:
    kinds = ("reached", "within a sixth", "not reached")
    counts = [(sum(v.verdict == k for v in looks), k) for k in kinds]
    return ", ".join(f"{n} {k}" for n, k in counts if n)


def _trust(source: Rig, target: Rig) -> str:
    blind = [r.room.name for r in (source, target) if not any(x.head for x in r.readings)]
    if not blind:
        return ""
    which = f"{blind[0]} is not" if len(blind) == 1 else "Neither room is"
    return f"{which} metered in, so this is reckoned: about."


def looks_to_store(carry: Carry, looks: Sequence[Look], here: Sequence[Look]) -> list[Look]:
    """Looks of this room that keep the light of these, and say where they come from.

    One that was stored already, just so, is left out: two taps store it once. Raises OutOfRange
    when that leaves none, Refused for a look that cannot be carried.
    """
    source, target = carry.source, carry.target
    kept = [(look.notes.split("\n")[0], dict(look.stops)) for look in here]
    taken = {look.name.casefold() for look in here}
    found = []
    for look in looks:
        done = carry.carried(look)
        origin = f"Carried from {source.room.name}: {look.name}. {done.verdict.capitalize()}."
        new = look_of(target, done.setting, _free(look.name, taken), _tags(look), "")
        if (origin, dict(new.stops)) in kept:
            continue
        missing = _told(done, look.missing_heads(source))
        notes = "\n".join(filter(None, (origin, *missing, look.notes)))[:NOTES_LENGTH]
        taken.add(new.name.casefold())
        found.append(replace(new, notes=notes))
    if not found:
        raise OutOfRange("nothing was stored: choose looks that are not here already")
    return found


def _tags(look: Look) -> tuple[str, ...]:
    return (*[t for t in look.tags if t != TAG][: MOST_TAGS - 1], TAG)


def _free(name: str, taken: set[str]) -> str:
    """The name, numbered where this room has one of it already."""
    number, free = 2, name
    while free.casefold() in taken:
        free = f"{name[: NAME_LENGTH - 4]} {number}"
        number += 1
    return free
