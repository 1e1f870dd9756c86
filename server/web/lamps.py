"""The lamp log of a head in words, and what a reading of its new lamp comes to."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction

from server.errors import NotFound, OutOfRange, Refused
from server.live.now import Now
from server.studio.head import Head
from server.studio.lamps import LampChange, hours_since, unread
from server.studio.look import Look
from server.studio.metering import is_alone
from server.studio.relamp import Correction, NewLamp, lit_looks, new_lamp, out_of_range
from server.studio.rig import Rig
from server.studio.setting import signalled_output
from server.web.shown import Shown
from server.web.words import point_words


@dataclass(frozen=True)
class LampLine:
    """One line of the log. `number` counts the whole rig's log from 1."""

    number: int
    when: str
    words: str
    what: str
    key: str


@dataclass(frozen=True)
class LampsView:
    """The log of one head, the newest first; `to_read` while a new lamp has not been read."""

    head: str
    lines: tuple[LampLine, ...]
    to_read: bool
    today: str
    hours: str


@dataclass(frozen=True)
class Proposal:
    """A reading of the new lamp, in words, before anything is changed."""

    reads: str
    key: str
    doubt: str
    missing: tuple[str, ...]


def lamps_view(rig: Rig, head: Head, today: datetime, counted: float) -> LampsView:
    """What the log says of a head; `counted` are the hours it has been lit in all."""
    lines = [_line(n, c) for n, c in enumerate(rig.lamps, start=1) if c.head == head.name]
    return LampsView(
        head.name, tuple(reversed(lines)), unread(rig.lamps, head.name) is not None,
        f"{today:%Y-%m-%d}", f"{hours_since(rig.lamps, head.name, counted):.1f}",
    )  # fmt: skip


def _line(number: int, change: LampChange) -> LampLine:
    words = [f"after {change.hours:g} h"] if change.hours else []
    words += [change.note] if change.note else []
    words += ["the same lamp"] if change.same_lamp else []
    if change.stops is None:
        words.append("not read yet")
    else:
        words.append(
            f"reads {stops_text(change.stops)} at {point_words(change.point)}, looks corrected"
        )
    return LampLine(
        number, f"{change.at.astimezone():%d %b %Y}", " · ".join(words),
        *(("line", "Take out of the log") if change.stops is None
          else ("correction", "Take the correction back")),
    )  # fmt: skip


def stops_text(stops: float | Fraction) -> str:
    """Signed stops to a hundredth, without needless noughts: `+0.2`, `−0.15`, `0`."""
    text = f"{float(stops):+.2f}".rstrip("0").rstrip(".").replace("-", "−")
    return "0" if text in ("+0", "−0") else text


def reading_of(now: Now, head: Head, point_name: str, below: str, shown: Shown) -> NewLamp:
    """The new lamp as the meter shows it, the head lit alone, so many stops `below` full."""
    setting = now.record.history.now.setting
    if not is_alone(now.rig, setting, head.name):
        raise Refused(f"{head.name} must be lit alone for its reading: light it first")
    if below != str(setting.of(head)):  # a second tap, or somebody nudged meanwhile
        raise Refused(f"{head.name} gives other light than when it was read: read it again")
    point = next((p for p in now.rig.points if p.name == point_name), None)
    if point is None:
        known = ", ".join(p.name for p in now.rig.points)
        raise NotFound(f"no point is called {point_name!r:.60}; there are {known}")
    lux = shown.lux(now.rig.meter, point.receptor)
    output = signalled_output(head, setting.output(head))
    return new_lamp(now.rig, setting, head, point.name, lux, output)


def correction_of(head: Head, stops: Fraction) -> Correction:
    """What takes a head back to its old light in every look."""
    return Correction(head.name, stops, Fraction(head.deepest_stops))


def proposal(head: Head, lamp: NewLamp, looks: Sequence[Look]) -> Proposal:
    """The reading in words, and what correcting it would do."""
    lit = lit_looks(looks, head.name)
    many = f"{len(lit)} look{'' if len(lit) == 1 else 's'}"
    short = out_of_range(lit, correction_of(head, lamp.stops))
    return Proposal(
        reads=f"{head.name} reads {stops_text(lamp.stops)} at {point_words(lamp.point)}",
        key=f"Apply {stops_text(-lamp.stops)} to {head.name} in {many}",
        doubt=""
        if lamp.was_metered
        else f"{head.name} was not metered at {point_words(lamp.point)} as it stands now: the"
        " difference may be that of its figures, not of its lamp. If so, meter the room in"
        " instead.",
        missing=tuple(
            f"{look.name}: {float(abs(missing)):.2f} stop "
            + ("under, the head is at full" if missing > 0 else "over, it can go no lower")
            for look, missing in short
        ),
    )


def read_lamp(
    rig: Rig, head: Head, lamp: NewLamp, looks: Sequence[Look], moment: datetime
) -> tuple[Rig, Correction]:
    """The rig whose log knows how the new lamp reads, and the correction that follows from it."""
    correction = correction_of(head, lamp.stops)
    held = tuple(
        (look.look_id, str(look.stops[head.name])) for look, _ in out_of_range(looks, correction)
    )
    change = unread(rig.lamps, head.name)
    kept = change or LampChange(head.name, moment, same_lamp=True)
    read = replace(kept, stops=float(lamp.stops), point=lamp.point, held=held)
    lamps = [read if c is change else c for c in rig.lamps] if change else [*rig.lamps, read]
    return replace(rig, lamps=tuple(lamps)), correction


def taken_back(rig: Rig, number: int, head: Head, what: str) -> tuple[Rig, Correction | None]:
    """The log without a line, or with its correction taken back, and what looks need for that."""
    if not 1 <= number <= len(rig.lamps) or rig.lamps[number - 1].head != head.name:
        raise NotFound(f"the log of {head.name} has no line {number}")
    change = rig.lamps[number - 1]
    before, after = rig.lamps[: number - 1], rig.lamps[number:]
    if what != ("line" if change.stops is None else "correction"):  # a second tap
        raise Refused(f"line {number} of the log of {head.name} has changed: look at it again")
    if change.stops is None:
        return replace(rig, lamps=(*before, *after)), None
    back = () if change.same_lamp else (replace(change, stops=None, point="", held=()),)
    exactly = {look: Fraction(stops) for look, stops in change.held}
    stops = Fraction(round(-100 * change.stops), 100)
    correction = replace(correction_of(head, stops), exactly=exactly)
    return replace(rig, lamps=(*before, *back, *after)), correction


def changed_at(day: str, now: datetime) -> datetime:
    """The moment of a lamp change from the day that was typed: today is now, another day noon."""
    try:
        noon = datetime.fromisoformat(f"{day.strip()}T12:00").astimezone()
    except (ValueError, OverflowError, OSError):
        raise OutOfRange(f"day must be like 2026-05-01, got {day!r:.40}") from None
    if noon.date() == now.astimezone().date():
        return now
    if noon > now:
        raise OutOfRange(f"day must not lie ahead, got {day.strip()!r:.40}")
    return noon
