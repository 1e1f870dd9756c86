"""The metering page in words: the next reading, how far the pass is, what was read so far."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import log2

from server.live.now import EPOCH, Now
from server.studio.metering import (
    Step,
    asked_steps,
    gone_of,
    is_alone,
    off_stops,
    seconds_a_reading,
    steps,
    table,
)
from server.studio.readings import (
    SAME_WITHIN_STOPS,
    Metered,
    Reading,
    ambient_read,
    as_warm,
    by_pair,
    light_at_full,
    metered,
)
from server.studio.rig import Rig
from server.studio.touched import Pair
from server.web.meter_kept import Kept, mark_of, next_step
from server.web.meter_words import (
    TOO_DARK,
    expected_words,
    left_words,
    meter_words,
    pair_name,
    stand_in_words,
)
from server.web.which_reading import told_as
from server.web.words import lux_words, point_words

METERING = "metering: "
"""How a step of the metering is told; the light before the first of them comes back at the end."""


@dataclass(frozen=True)
class StepView:
    """The reading that is asked for now."""

    point: str
    at: str
    head: str
    shaded: bool
    name: str
    lit: bool
    hint: str
    stand_in: str
    receptor: str
    """How the meter is used there, where not all points are read with the same receptor."""
    skipped: bool


@dataclass(frozen=True)
class ReadingView:
    """One line of what was read."""

    number: str
    """As a form names it."""
    name: str
    shown: str
    when: str
    note: str
    again: bool


@dataclass(frozen=True)
class _Listed:
    """All that was read, in the order in which a line of it is found at once: there may be
    thousands. `ambient` is the room's own light at each point. [lx]"""

    rig: Rig
    number: Mapping[int, int]
    read: Mapping[Pair, Sequence[Reading]]
    alike: Mapping[Pair, Sequence[Reading]]
    found: Mapping[Pair, Metered]
    ambient: Mapping[str, float]

    @classmethod
    def of(cls, rig: Rig) -> "_Listed":
        ambient = ambient_read(rig.alike)
        return cls(
            rig,
            {id(r): n for n, r in enumerate(rig.readings, start=1)},
            by_pair(rig.readings),
            by_pair(rig.alike),
            metered(rig.alike, ambient, rig.lamps),
            {p.name: rig.room.ambient_lux for p in rig.points} | ambient,
        )


@dataclass(frozen=True)
class MeterView:
    """The page of a metering pass."""

    step: StepView | None
    done: int
    steps: int
    left: str
    readings: tuple[ReadingView, ...]
    receptor: str
    apart: str
    out: str
    last: str
    last_at: str


def steps_of(now: Now, since: datetime | None, asked: Sequence[Pair]) -> tuple[Step, ...]:
    """The whole pass, or just the readings that are asked for."""
    yaw_deg = now.record.history.now.setting.yaw_deg
    if asked:
        return asked_steps(now.rig, yaw_deg, asked, since or EPOCH)
    return steps(now.rig, yaw_deg, since)


def meter_view(now: Now, since: datetime | None, asked: Sequence[Pair], kept: Kept) -> MeterView:
    """Where the pass stands."""
    rig = now.rig
    listed = _Listed.of(rig)
    whole = steps_of(now, since, asked)
    step = next_step(whole, kept.skipped)
    left = sum(s.done is None for s in whole)
    lines = sorted(table(rig).values(), key=lambda r: r.at, reverse=True)
    last = lines[0] if lines else None
    out, gone = [h.name for h in rig.heads if h.out], gone_of(rig, asked)
    return MeterView(
        step=_step(now, step, kept) if step else None,
        done=len(whole) - left,
        steps=len(whole),
        left=left_words(left, seconds_a_reading(whole)) if left else "",
        readings=tuple(_line(listed, r, kept) for r in lines),
        receptor=rig.side_points[0].receptor,
        apart=apart_words(rig),
        out=" ".join(filter(None, (
            f"{' and '.join(out)} {'are' if len(out) > 1 else 'is'} out: nothing is asked of"
            f" {'them' if len(out) > 1 else 'it'}." if out else "",
            f"{' and '.join(gone)} {'are' if len(gone) > 1 else 'is'} gone from the rig: left out."
            if gone else "",
        ))),
        last=pair_name(last.pair) if last else "",
        last_at=last.at.isoformat() if last else "",
    )  # fmt: skip


def _step(now: Now, step: Step, kept: Kept) -> StepView:
    rig, setting = now.rig, now.record.history.now.setting
    at, point = point_words(step.point), next(p for p in rig.points if p.name == step.point)
    mixed = len({p.receptor for p in rig.points}) > 1
    return StepView(
        step.point, at, step.head, step.shaded,
        step.name.replace(f" at {step.point}", f" at {at}"),
        is_alone(rig, setting, step.head),
        "" if step.shaded else expected_words(step.expected_lux, kept, rig.meter, point.receptor),
        stand_in_words(setting.yaw_deg) if point.on == "face" else "",
        f"Use the {point.receptor} receptor here." if mixed else "",
        mark_of(step.pair) in kept.skipped,
    )  # fmt: skip


def apart_words(rig: Rig) -> str:
    """What is said of face points that are read with another receptor than the rest of the face."""
    sides = rig.side_points
    apart = [p for p in rig.face_points if p not in sides]
    if not apart:
        return ""
    names = ", ".join(point_words(p.name) for p in apart)
    verb = "are" if len(apart) > 1 else "is"
    return (
        f"{names} {verb} read with the {apart[0].receptor}, the rest of the face with the"
        f" {sides[0].receptor}: a ratio never mixes them, so {names} {verb} no side of it. Choose"
        " one receptor for all under Meter in."
    )


def _line(listed: _Listed, reading: Reading, kept: Kept) -> ReadingView:
    rig = listed.rig
    shade = ", shaded" if reading.shaded else ""
    head = next((h for h in rig.heads if h.name == reading.head), None)
    point = next((p for p in rig.points if p.name == reading.point), None)
    repeats = _repeats_words(listed, reading)
    notes = [repeats] if repeats else []
    before = _off_the_one_before(listed, reading)
    if before is not None:
        way = "over" if before > 0 else "under"
        notes.append(f"{abs(before):.2f} stop {way} the reading before: was it touched?")
    if point is not None and point.receptor != reading.receptor:
        notes.append(f"read with the {reading.receptor}: kept out of all figures now")
    if reading.head and head is None:
        notes.append("this head is gone")
    if point is None:
        notes.append("this point is gone: kept out of all figures")
    return ReadingView(
        number=told_as(listed.number[id(reading)], reading),
        name=f"{reading.head or 'Room'} at {point_words(reading.point)}{shade}",
        shown=shown_words(rig, reading, kept),
        when=f"{reading.at.astimezone():%d %b %H:%M}",
        note=", ".join(notes),
        again=point is not None and (not reading.head or (head is not None and not head.out)),
    )


def shown_words(rig: Rig, reading: Reading, kept: Kept) -> str:
    """A reading in lux, and in the unit that the meter shows, where that is another."""
    if reading.lux <= 0:
        return TOO_DARK
    lux = lux_words(reading.lux)
    shown = meter_words(reading.lux, kept, rig.meter, reading.receptor)
    return lux if shown == lux else f"{lux} · {shown}"


def _repeats_words(listed: _Listed, reading: Reading) -> str:
    """How many readings make a figure, and how far they lie apart; empty for a single one."""
    if reading.head:
        found = listed.found.get(reading.pair)
        count, spread = (found.count, found.spread_stops) if found else (1, 0.0)
    else:  # of the room's own light the newest counts
        read = [r.lux for r in listed.alike.get(reading.pair, ()) if r.lux > 0]
        count, spread = len(read), log2(max(read) / min(read)) if read else 0.0
    return f"{count} readings, {spread:.2f} stop apart" if count > 1 else ""


def _off_the_one_before(listed: _Listed, reading: Reading) -> float | None:
    """How far a reading is off the one before it of the same pair, standing the same and as warm;
    None where there is none or they agree. [stop]"""
    earlier = [
        r
        for r in listed.read[reading.pair]
        if r.at < reading.at and r.placement == reading.placement
        and r.yaw_deg == reading.yaw_deg and r.receptor == reading.receptor and as_warm(r, reading)
    ]  # fmt: skip
    if not reading.head or not earlier:
        return None
    last = max(earlier, key=lambda r: r.at)
    off = off_stops(*(light_at_full(r, listed.ambient) for r in (reading, last)))
    return off if off is not None and abs(off) > SAME_WITHIN_STOPS else None
