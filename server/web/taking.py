"""How a reading is taken: one head lit alone, gently, what the meter says stored with the rig, and
the light before it all brought back."""

from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction

from server.errors import NotFound, Refused
from server.live.now import Now
from server.live.owner import Move
from server.studio.metering import METER_STOPS, alone, is_alone
from server.studio.readings import Reading
from server.studio.rig import Rig
from server.studio.room import Point
from server.studio.setting import kept_over, signalled_output
from server.web.desk import Desk
from server.web.metering import METERING
from server.web.words import lux_words, point_words

STEP_KIND = "meter"
FADE_S = 1.0


def light_alone(desk: Desk, head: str, actor: str) -> None:
    """A head alone, two stops below full, or all dark: as the metering lights it."""
    now = desk.engine.now()
    if not is_alone(now.rig, now.record.history.now.setting, head):
        put_alone(desk, actor, head, f"{head} alone" if head else "the room's own light")


def put_alone(
    desk: Desk, actor: str, head: str, text: str, stops: Fraction | None = METER_STOPS
) -> None:
    """One head lit alone, or none, gently, as a step of the metering."""

    def decide(now: Now) -> Move:
        if head and now.rig.head(head).out:
            raise Refused(f"{head} is out until it is back: nothing can be read of it")
        setting = now.record.history.now.setting
        there = replace(alone(now.rig, setting, head, stops), origin=None)
        return Move(there, STEP_KIND, METERING + text, FADE_S)

    desk.engine.make(decide, actor)


def point_of(rig: Rig, name: str) -> Point:
    """The point with this name."""
    for point in rig.points:
        if point.name == name:
            return point
    raise NotFound(
        f"no point is called {name!r:.60}; there are {', '.join(p.name for p in rig.points)}"
    )


def reading_now(now: Now, point: str, head: str, lux: float, shaded: bool) -> Reading:
    """A reading of what is lit now, which must be the head alone, or nothing."""
    setting = now.record.history.now.setting
    point_of(now.rig, point)
    if not is_alone(now.rig, setting, head):
        raise Refused(
            f"{head} must be lit alone for its reading: light it first" if head
            else "all heads must be dark to read the room's own light"
        )  # fmt: skip
    found = now.rig.head(head) if head else None
    return Reading(
        point=point, head=head, lux=lux,
        output=signalled_output(found, setting.output(found)) if found else 0.0,
        at=datetime.now(UTC), placement=found.placement if found else None,
        yaw_deg=setting.yaw_deg, receptor=point_of(now.rig, point).receptor, shaded=shaded,
        minutes_on=round(now.minutes_on(head), 2) if head else None,
    )  # fmt: skip


def keep_reading(desk: Desk, reading: Reading, actor: str) -> Now:
    """Store a reading with the rig."""
    rig = desk.engine.now().rig_now
    name = reading.head or "the room"
    text = f"metered {name} at {point_words(reading.point)}: {lux_words(reading.lux)}"
    return desk.engine.replace_rig(replace(rig, readings=(*rig.readings, reading)), actor, text)


def numbered(rig: Rig, number: int) -> Reading:
    """The reading with this number, counted from 1 as it is shown."""
    if not 1 <= number <= len(rig.readings):
        raise NotFound(f"there is no reading {number}; there are {len(rig.readings)}")
    return rig.readings[number - 1]


def forget_reading(desk: Desk, number: int, actor: str) -> Now:
    """Take a reading out of the rig; those after it count one less."""
    rig = desk.engine.now().rig_now
    numbered(rig, number)
    left = (*rig.readings[: number - 1], *rig.readings[number:])
    return desk.engine.replace_rig(replace(rig, readings=left), actor, "a reading taken back")


def light_before(now: Now) -> Move:
    """The step back to the light before the metering."""
    past = now.record.history.steps[: now.record.history.at + 1]
    before = next((s for s in reversed(past) if not s.text.startswith(METERING)), None)
    if before is None:
        raise Refused("there was no light before the metering")
    lens = now.record.history.now.setting.lens
    there = kept_over(now.rig, before.setting).with_lens(lens)
    return Move(there, "meter end", "back from metering")
