"""Carry looks from another room: who stands for whom, what comes of each look, storing them."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from server.errors import OutOfRange, StudioError
from server.store.rooms import KeptRoom
from server.studio.carry import Carry
from server.studio.head import NAME_LENGTH
from server.studio.keep import look_of
from server.studio.look import MOST_TAGS, NOTES_LENGTH, Look
from server.studio.rig import Rig
from server.studio.sure import Figure, Sureness, after_stops, readings_for
from server.studio.touched import Pair
from server.web.carry_words import (
    NOT_TOLD,
    Ways,
    figures_words,
    give_words,
    sentence,
    told_words,
    verdict_words,
)
from server.web.trust_words import pair_words
from server.web.views import metered_in
from server.web.words import name_now

TAG = "carried"
FIELD, LENS = "to", "lens"
LENS_WORDS = {
    "some": "The lens follows, up to two stops",
    "always": "The lens always follows",
    "never": "The lens stays",
}
FEW = 12
"""More readings than this are no longer few: the room is metered in instead."""


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
class TrustView:
    """How far all this is known; readings here and in the other room that would tell it better."""

    told: str = ""
    here: tuple[str, ...] = ()
    there: tuple[str, ...] = ()
    brings: str = ""
    """What the readings bring: `give or take 0.3 to 0.2 stop at the most`."""
    unmetered: bool = False
    """Whether nothing was read in this room: it is metered in first."""


@dataclass(frozen=True)
class CarryView:
    """The page."""

    rooms: tuple[RoomChoice, ...]
    room: RoomChoice | None
    here: str
    pairs: tuple[PairView, ...] = ()
    looks: tuple[LookView, ...] = ()
    lens: tuple[tuple[str, str, bool], ...] = ()
    """How far the lens follows: (value, words, chosen)."""
    summary: str = ""
    trust: TrustView = TrustView()
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
    try:
        carry, why = carry_of(source, target, fields), ""
    except StudioError as error:
        carry, why = Carry(source, target), f"{error}: here is what it was before"
    ways, sure = Ways(carry), Sureness(carry)
    views: list[LookView] = []
    figures: list[Figure] = []
    for look in looks:
        view, known = _look_view(carry, look, ways, sure)
        views.append(view)
        figures += known
    return CarryView(
        rooms=rooms,
        room=room,
        here=target.room.name,
        pairs=_pair_views(source, target, carry.pairs),
        looks=tuple(views),
        lens=tuple((value, words, value == carry.lens) for value, words in LENS_WORDS.items()),
        summary=_summary(views),
        trust=_trust(source, target, figures),
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


def _look_view(
    carry: Carry, look: Look, ways: Ways, sure: Sureness
) -> tuple[LookView, Sequence[Figure]]:
    try:
        done = carry.carried(look)
    except StudioError as error:
        return LookView(look.look_id, look.name, "cannot", "", (sentence(str(error)),), (),
                        False, False), ()  # fmt: skip
    figures = sure.figures(done)
    verdict = verdict_words(done, figures)
    view = LookView(
        look_id=look.look_id,
        name=name_now(look.name, done.before.label),
        verdict=verdict,
        figures=figures_words(done, figures, metered=metered_in(carry.target)),
        told=tuple(told_words(done, figures, look.missing_heads(carry.source))),
        ways=ways.of(done),
        chosen=verdict != "not reached",
        possible=True,
    )
    return view, tuple(figures.values())


def carry_of(source: Rig, target: Rig, fields: Mapping[str, str]) -> Carry:
    """The two rooms, and what a form says of them. OutOfRange for what cannot be."""
    return Carry(source, target, pairs_of(source, fields), fields.get(LENS) or "some")


def figures_of(carry: Carry, looks: Iterable[Look]) -> list[Figure]:
    """What is known of the figures of all looks that can be carried."""
    sure = Sureness(carry)
    found: list[Figure] = []
    for look in looks:
        with suppress(StudioError):
            found += sure.figures(carry.carried(look)).values()
    return found


def _summary(looks: Sequence[LookView]) -> str:
    kinds = ("reached", "within a sixth", NOT_TOLD, "not reached")
    counts = [(sum(v.verdict == k for v in looks), k) for k in kinds]
    return ", ".join(f"{n} {k}" for n, k in counts if n)


def asked_of(figures: Iterable[Figure]) -> tuple[Pair, ...]:
    """The fewest readings in this room that make the looks' figures as good as few can."""
    return tuple(r.pair for r in readings_for(figures) if not r.there)


def _trust(source: Rig, target: Rig, figures: Sequence[Figure]) -> TrustView:
    """How far the figures are known, and what to read so that they are known better."""
    blind = [r.room.name for r in (source, target) if not any(x.head for x in r.readings)]
    told = ""
    if blind:
        which = f"{blind[0]} is not" if len(blind) == 1 else "Neither room is"
        told = f"{which} metered in, so this is reckoned: about."
    unmetered = not metered_in(target)
    todo = readings_for(figures)
    here = [r for r in todo if not r.there]
    there = [r for r in todo if r.there]
    if len(here) > FEW or unmetered:
        here = []
    if len(there) > FEW or unmetered or not metered_in(source):
        there = []
    asked = (*here, *there)
    now, after = (give_words(after_stops(figures, taken)) for taken in ((), asked))
    if not told and not todo:
        told = "More readings would hardly tell better."
    return TrustView(
        told=told,
        here=tuple(pair_words(r.pair) for r in here),
        there=tuple(pair_words(r.pair) for r in there),
        brings=f"give or take {now} to {after} stop at the most" if now != after else "",
        unmetered=unmetered,
    )


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
        origin = f"{_origin(source.room.name, look)} {done.verdict.capitalize()}."
        new = look_of(target, done.setting, _free(look.name, taken), _tags(look), "")
        if (origin, dict(new.stops)) in kept:
            continue
        missing = told_words(done, {}, look.missing_heads(source))
        notes = "\n".join(filter(None, (origin, *missing, look.notes)))[:NOTES_LENGTH]
        taken.add(new.name.casefold())
        found.append(replace(new, notes=notes))
    if not found:
        raise OutOfRange("nothing was stored: choose looks that are not here already")
    return found


def _origin(room: str, look: Look) -> str:
    return f"Carried from {room}: {look.name}."


def in_their_places(order: Sequence[Look], made: Sequence[Look]) -> list[Look]:
    """A running order with carried looks where those stood that they were made of, or at the end.

    A look that stands in it already keeps its place.
    """
    there = {look.look_id for look in order}
    left = [look for look in made if look.look_id not in there]
    found = []
    for look in order:
        origin = _origin(look.room, look) if look.room else ""
        new = next((m for m in left if origin and m.notes.startswith(origin)), None)
        if new is not None:
            left.remove(new)
        found.append(new or look)
    return [*found, *left]


def _tags(look: Look) -> tuple[str, ...]:
    return (*[t for t in look.tags if t != TAG][: MOST_TAGS - 1], TAG)


def _free(name: str, taken: set[str]) -> str:
    """The name, numbered where this room has one of it already."""
    number, free = 2, name
    while free.casefold() in taken:
        free = f"{name[: NAME_LENGTH - 4]} {number}"
        number += 1
    return free
