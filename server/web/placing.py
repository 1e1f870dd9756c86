"""Placing a head: what the page shows of it, and the places it can be put back to."""

from dataclasses import dataclass

from server.errors import Refused
from server.live.now import Now
from server.studio.character import LightAt, character, moved_stops
from server.studio.figures import outputs_of, ratio_of
from server.studio.head import Head, Placement
from server.studio.light import LightMatrix, light_matrix
from server.studio.placing import STEPS_DEG, STEPS_M, placed
from server.studio.rig import Rig
from server.studio.tape import length_words
from server.web.desk import Desk
from server.web.placing_words import (
    azimuth_words,
    back_words,
    figure_words,
    moved_words,
    set_words,
    warning_words,
)
from server.web.plan import Plan, plans
from server.web.words import point_words

SEEN_STOPS = 0.05
NOTHING_STOPS = -20.0
"""A point that is farther under than this gets nothing that a meter reads. [stop]"""
TOLD_POINTS = 4


@dataclass(frozen=True)
class PointLine:
    """One point: this head alone, and all heads together."""

    point: str
    lux: str
    over: str
    all_lux: str
    all_over: str


@dataclass(frozen=True)
class Step:
    """One key: so much of something."""

    what: str
    by: str
    sign: str
    words: str


@dataclass(frozen=True)
class StepRow:
    """Keys for one thing, the larger steps outside."""

    what: str
    name: str
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Placing:
    """The page of one head; `gone` when the rig has it no more."""

    head: str
    role: str
    gone: bool
    plans: tuple[Plan, ...]
    set_so: str
    values: tuple[tuple[str, str], ...]
    points: tuple[PointLine, ...]
    alone: str
    figures: tuple[tuple[str, str], ...]
    warning: str
    last: str
    back_to: str


def place(desk: Desk, actor: str, name: str, placement: Placement) -> None:
    """Put a head somewhere; its output stays. Remembers where it was."""
    now = desk.engine.now()
    rig, head = now.rig_now, now.rig.head(name)
    if placement == head.placement:
        return
    text = moved_words(head, placement, rig.room.units)
    desk.engine.replace_rig(placed(rig, name, placement), actor, text)
    desk.moves.add(now.record.room_id, name, head.placement, placement)


def put_back(desk: Desk, actor: str, name: str) -> None:
    """One move back. Refused when there is none, or the head was moved otherwise since."""
    now = desk.engine.now()
    rig, head, room = now.rig_now, now.rig.head(name), now.record.room_id
    before = desk.moves.last(room, name, head.placement)
    if before is None:
        raise Refused(f"{name} was not moved here since Thirdstop started: nothing to put back")
    text = f"{name} put back: {moved_words(head, before, rig.room.units)}"
    desk.engine.replace_rig(placed(rig, name, before), actor, text)
    desk.moves.taken_back(room, name)


def step_rows(units: str) -> tuple[StepRow, ...]:
    """The keys beside every drag, in the room's own units."""
    small, large, up = STEPS_M[units]
    rows = (
        ("azimuth", "Round the sitter", STEPS_DEG, ("to camera left", "to camera right")),
        ("distance", "Throw", (small, large), ("nearer", "farther")),
        ("rise", "Up the stand", (small, up), ("lower", "higher")),
    )
    return tuple(
        StepRow(what, name, tuple(
            _step(what, by * sign, way, units) for sign, way, sizes in
            ((-1, ways[0], sorted(steps, reverse=True)), (1, ways[1], steps)) for by in sizes
        ))
        for what, name, steps, ways in rows
    )  # fmt: skip


def _step(what: str, by: float, way: str, units: str) -> Step:
    if what == "azimuth":
        size = f"{abs(by):g}°"
    else:
        size = f"{abs(by) * 100:.0f} cm" if units == "m" else f"{abs(by) / 0.0254:.0f} in"
    return Step(what, f"{by:g}", f"{'+' if by > 0 else '−'}{size}", f"{size} {way}")


def placing_view(desk: Desk, now: Now, name: str) -> Placing:
    """Everything that a change of the head's placement changes."""
    rig, setting = now.rig, now.setting
    head = next((h for h in rig.heads if h.name == name), None)
    if head is None:
        return Placing(name, "", True, (), "", (), (), "", (), "", "", "")
    units, yaw, placement = rig.room.units, setting.yaw_deg, head.placement
    outputs = outputs_of(rig, setting)
    told = character(rig, now.matrix, outputs, head, yaw)
    before = desk.moves.last(now.record.room_id, name, placement)
    return Placing(
        head=name,
        role=head.role,
        gone=False,
        plans=plans(rig, yaw, setting.stops, moving=name),
        set_so=set_words(head, placement),
        values=(
            ("azimuth", azimuth_words(placement.azimuth_deg)),
            ("distance", length_words(placement.distance_m, units)),
            ("rise", length_words(placement.rise_m, units)),
        ),
        points=tuple(_line(at, told.at_full) for at in told.points),
        alone=f"{name} at full" if told.at_full else f"{name} alone",
        figures=figure_words(told, units),
        warning=warning_words(told),
        last=_last(rig, now.matrix, outputs, head, before, yaw) if before else "",
        back_to=back_words(head, before, units) if before else "",
    )


def _line(at: LightAt, at_full: bool) -> PointLine:
    return PointLine(
        point_words(at.point), _lux(at.lux), _over(at.over_lit_stops), _lux(at.all_lux),
        _over(at.all_over_lit_stops),
    )  # fmt: skip


def _lux(lux: float) -> str:
    return f"{lux:.0f}" if lux >= 9.5 else f"{lux:.1f}"


def _over(stops: float | None) -> str:
    if stops is None or stops < NOTHING_STOPS:
        return "—"
    return "as lit" if abs(stops) < SEEN_STOPS else f"{stops:+.1f}".replace("-", "−")


def _last(
    rig: Rig, matrix: LightMatrix, outputs: dict[str, float], head: Head, before: Placement,
    yaw_deg: float,
) -> str:  # fmt: skip
    """What the last move changed: the head's own light, and the ratio."""
    was = placed(rig, head.name, before)
    was_matrix = light_matrix(was, yaw_deg)
    then = character(was, was_matrix, outputs, was.head(head.name), yaw_deg)
    changes = moved_stops(then, character(rig, matrix, outputs, head, yaw_deg))
    seen = sorted((p for p, s in changes.items() if abs(s) >= SEEN_STOPS),
                  key=lambda p: -abs(changes[p]))  # fmt: skip
    told = [f"{point_words(point)} {_signed(changes[point])}" for point in seen[:TOLD_POINTS]]
    if len(seen) > TOLD_POINTS:
        told.append(f"{len(seen) - TOLD_POINTS} more")
    old, new = ratio_of(was, was_matrix, outputs), ratio_of(rig, matrix, outputs)
    if old.label != new.label:
        told.insert(0, f"ratio {old.told} → {new.told}")
    return f"The last move: {', '.join(told) or 'no point by a twentieth of a stop'}."


def _signed(stops: float) -> str:
    return f"{stops:+.2f}".replace("-", "−")
