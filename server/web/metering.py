"""The metering page in words: the next reading, how far the pass is, what was read so far."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import log2

from server.live.now import EPOCH, Now
from server.physics.exposure import f_number_for, nearest_f_stop
from server.studio.metering import Step, asked_steps, is_alone, off_stops, steps, table
from server.studio.readings import (
    FAR_STOPS,
    SAME_WITHIN_STOPS,
    Reading,
    ambient_read,
    as_warm,
    light_at_full,
    metered,
)
from server.studio.rig import Rig
from server.studio.room import Meter
from server.studio.touched import Pair
from server.web.words import lux_words, point_words

FASTEST_LENS = 0.95
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


@dataclass(frozen=True)
class ReadingView:
    """One line of what was read."""

    number: int
    name: str
    lux: str
    f_number: str
    when: str
    note: str


@dataclass(frozen=True)
class MeterView:
    """The page of a metering pass."""

    step: StepView | None
    done: int
    steps: int
    readings: tuple[ReadingView, ...]
    receptor: str


def steps_of(now: Now, since: datetime | None, asked: Sequence[Pair]) -> tuple[Step, ...]:
    """The whole pass, or just the readings that are asked for."""
    yaw_deg = now.record.history.now.setting.yaw_deg
    if asked:
        return asked_steps(now.rig, yaw_deg, asked, since or EPOCH)
    return steps(now.rig, yaw_deg, since)


def meter_view(now: Now, since: datetime | None, asked: Sequence[Pair] = ()) -> MeterView:
    """Where the pass stands."""
    rig, setting = now.rig, now.record.history.now.setting
    whole = steps_of(now, since, asked)
    step = next((s for s in whole if s.done is None), None)
    shown = None
    if step is not None:
        at = point_words(step.point)
        shown = StepView(
            step.point, at, step.head, step.shaded,
            step.name.replace(f" at {step.point}", f" at {at}"),
            is_alone(rig, setting, step.head),
            f"about {lens_words(step.expected_lux, now, step.point)}"
            if step.expected_lux > 0 and not step.shaded else "",
        )  # fmt: skip
    kept = sorted(table(rig).values(), key=lambda r: r.at, reverse=True)
    return MeterView(
        step=shown,
        done=sum(s.done is not None for s in whole),
        steps=len(whole),
        readings=tuple(_line(now, r) for r in kept),
        receptor=rig.points[0].receptor,
    )


def _line(now: Now, reading: Reading) -> ReadingView:
    rig = now.rig
    shade = ", shaded" if reading.shaded else ""
    known = any(h.name == reading.head for h in rig.heads) or not reading.head
    whole = metered(rig.readings, ambient_read(rig.readings), rig.lamps).get(reading.pair)
    notes = []
    if whole and whole.count > 1:
        notes.append(f"{whole.count} readings, {whole.spread_stops:.2f} stop apart")
    before = off_the_one_before(rig, reading)
    if before is not None:
        way = "over" if before > 0 else "under"
        notes.append(f"{abs(before):.2f} stop {way} the reading before: was it touched?")
    if not known:
        notes.append("this head is gone")
    if not any(p.name == reading.point for p in rig.points):
        notes.append("this point is gone: kept out of all figures")
    return ReadingView(
        number=rig.readings.index(reading) + 1,
        name=f"{reading.head or 'Room'} at {point_words(reading.point)}{shade}",
        lux=lux_words(reading.lux),
        f_number=lens_words(reading.lux, now, reading.point),
        when=f"{reading.at.astimezone():%d %b %H:%M}",
        note=", ".join(notes),
    )


def off_the_one_before(rig: Rig, reading: Reading) -> float | None:
    """How far a reading is off the one before it of the same pair, standing the same and as warm;
    None where there is none or they agree. [stop]"""
    earlier = [
        r
        for r in rig.readings
        if r.pair == reading.pair and r.at < reading.at and r.placement == reading.placement
        and r.yaw_deg == reading.yaw_deg and as_warm(r, reading)
    ]  # fmt: skip
    if not reading.head or not earlier:
        return None
    ambient = {p.name: rig.room.ambient_lux for p in rig.points} | ambient_read(rig.readings)
    last = max(earlier, key=lambda r: r.at)
    off = off_stops(light_at_full(reading, ambient), light_at_full(last, ambient))
    return off if off is not None and abs(off) > SAME_WITHIN_STOPS else None


def lens_words(lux: float, now: Now, point: str) -> str:
    """The f-number at the set ISO and shutter that a meter would show. `f/5.6 4` has tenths."""
    if lux <= 0:
        return "dark"
    lens = now.record.history.now.setting.lens
    exact = f_number_for(
        lux, lens.iso, lens.shutter_s, constant(now.rig.meter, _receptor(now, point))
    )
    if exact < FASTEST_LENS:
        return lux_words(lux)  # darker than any lens is marked for
    nearest = nearest_f_stop(exact)
    tenths = round(20 * log2(exact / nearest.exact))
    return nearest.label + (f" and {tenths:+d} tenths".replace("-", "−") if tenths else "")


def _receptor(now: Now, point: str) -> str:
    return next((p.receptor for p in now.rig.points if p.name == point), "flat")


def constant(meter: Meter, receptor: str) -> float:
    """The meter's constant for a receptor. [lx s]"""
    return meter.c_flat if receptor == "flat" else meter.c_dome


def far_words(reading: Reading, expected_lux: float, unit: str = "") -> str:
    """What is asked when a reading is far from what was expected; empty when it is near.

    `unit` is another unit in which the number typed would have been near.
    """
    off = off_stops(reading.lux, expected_lux)
    if off is None or abs(off) <= FAR_STOPS or reading.shaded or not reading.head:
        return ""
    way = "over" if off > 0 else "under"
    if unit:
        return (
            f"{reading.head} at {point_words(reading.point)} would be {abs(off):.1f} stops {way}"
            f" what is expected; typed as {unit} it would fit. Is the unit right?"
        )
    return (
        f"{reading.head} at {point_words(reading.point)} reads {abs(off):.1f} stops {way}"
        " what is expected."
        " Is the right head lit, the number right, the meter where it should be?"
        " If so, keep it: the meter is right, not the figures."
    )
