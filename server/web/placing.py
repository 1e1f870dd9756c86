"""Placing a head: what the page shows of it, and the places it can be put back to."""

from dataclasses import dataclass
from math import isclose

from server.errors import Refused
from server.live.now import Now
from server.studio.character import Character, LightAt, character, moved_stops
from server.studio.figures import outputs_of, ratio_of
from server.studio.head import Head, Placement
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import differs
from server.studio.placing import SCRIMS, STEPS_DEG, STEPS_M, placed, zooms
from server.studio.rig import Rig
from server.studio.tape import length_words, short_words
from server.web.desk import Desk
from server.web.plan import Plan, plans
from server.web.words import place_words

SEEN_STOPS = 0.05
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
    text = _told(head, placement, rig.room.units)
    desk.engine.replace_rig(placed(rig, name, placement), actor, text)
    desk.moves.add(now.record.room_id, name, head.placement, placement)


def put_back(desk: Desk, actor: str, name: str) -> None:
    """One move back. Refused when there is none, or the head was moved otherwise since."""
    now = desk.engine.now()
    rig, head, room = now.rig_now, now.rig.head(name), now.record.room_id
    before = desk.moves.last(room, name, head.placement)
    if before is None:
        raise Refused(f"{name} was not moved here since Thirdstop started: nothing to put back")
    text = f"{name} put back: {_told(head, before, rig.room.units)}"
    desk.engine.replace_rig(placed(rig, name, before), actor, text)
    desk.moves.taken_back(room, name)


def _told(head: Head, placement: Placement, units: str) -> str:
    if placement.position_m != head.placement.position_m:
        return f"{head.name} to {place_words(placement, units)}"
    return f"{head.name}: {set_words(head, placement)}"


def set_words(head: Head, placement: Placement) -> str:
    """Focus, scrims and aim in words."""
    names = {stops: name for name, stops in SCRIMS.items()}
    scrims = [names.get(s, f"{s:g} stop") for s in placement.scrims]
    aim = placement.aim if isinstance(placement.aim, str) else "a place"
    parts = [f"aimed at {'the mark' if aim == 'mark' else aim}"]
    if zooms(head):
        parts.insert(0, focus_words(placement.focus))
    parts.append(f"scrims {' + '.join(scrims)}" if scrims else "no scrim")
    return ", ".join(parts)


def focus_words(focus: float) -> str:
    """`full spot`, `60 % of the way to flood`, `full flood`."""
    if focus in (0, 1):
        return "full flood" if focus else "full spot"
    return f"{100 * focus:.0f} % of the way to flood"


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
            ("azimuth", _azimuth_words(placement.azimuth_deg)),
            ("distance", length_words(placement.distance_m, units)),
            ("rise", length_words(placement.rise_m, units)),
        ),
        points=tuple(_line(at, told.at_full) for at in told.points),
        alone=f"{name} at full" if told.at_full else f"{name} alone",
        figures=_figures(told, units),
        warning=_warning(told),
        last=_last(rig, now.matrix, outputs, head, before, yaw) if before else "",
        back_to=_back(head, before, units) if before else "",
    )


def _azimuth_words(azimuth_deg: float) -> str:
    if azimuth_deg in (0, 180):
        return f"{azimuth_deg:g}°"
    return f"{abs(azimuth_deg):g}° camera {'right' if azimuth_deg > 0 else 'left'}"


def _line(at: LightAt, at_full: bool) -> PointLine:
    return PointLine(
        at.point, _lux(at.lux), _over(at.over_lit_stops), _lux(at.all_lux),
        _over(at.all_over_lit_stops),
    )  # fmt: skip


def _lux(lux: float) -> str:
    return f"{lux:.0f}" if lux >= 9.5 else f"{lux:.1f}"


def _over(stops: float | None) -> str:
    if stops is None:
        return "—"
    return "as lit" if abs(stops) < SEEN_STOPS else f"{stops:+.1f}".replace("-", "−")


def _figures(told: Character, units: str) -> tuple[tuple[str, str], ...]:
    ear, second = short_words(0.15, units), length_words(0.5, units)
    lean = short_words(told.lean_m, units)
    found = [("Cheek to ear", f"{told.ear_stops:.2f} stop less, {ear} deeper")]
    if told.background_stops is not None:
        more = "less" if told.background_stops >= 0 else "more"
        found.append(("Face to background", f"{abs(told.background_stops):.1f} stops {more}"))
    found.append(("Nose shadow's edge", f"{1000 * told.nose_edge_m:.1f} mm"))
    found.append(("Seen from the sitter", f"{told.size_deg:.1f}° wide"))
    near = "" if told.leaning_stops is None else (
        f"; {short_words(0.10, units)} nearer +{told.leaning_stops:.2f}")  # fmt: skip
    found.append(("Lean", f"±{lean} for a sixth{near}"))
    from_m = "" if told.throw_m >= told.even_from_m else (
        f"; ½ stop from {length_words(told.even_from_m, units)}")  # fmt: skip
    found.append(("Second sitter", f"−{told.second_face_stops:.2f}, {second} behind{from_m}"))
    return tuple(found)


def _warning(told: Character) -> str:
    if told.too_bright is None:
        return ""
    return (
        f"Nearer than five times its own width ({told.widths:.1f}): these figures say up to"
        f" {100 * told.too_bright:.0f} % too much. Meter it."
    )


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
    told = [f"{point} {_signed(changes[point])}" for point in seen[:TOLD_POINTS]]
    if len(seen) > TOLD_POINTS:
        told.append(f"{len(seen) - TOLD_POINTS} more")
    old, new = ratio_of(was, was_matrix, outputs), ratio_of(rig, matrix, outputs)
    if old.label != new.label:
        told.insert(0, f"ratio {old.label} → {new.label}")
    return f"The last move: {', '.join(told) or 'no point by a twentieth of a stop'}."


def _signed(stops: float) -> str:
    return f"{stops:+.2f}".replace("-", "−")


def _back(head: Head, before: Placement, units: str) -> str:
    now = head.placement
    if differs(before, now) and not isclose(before.focus, now.focus):
        return f"{place_words(before, units)}, {focus_words(before.focus)}"
    if before.position_m == now.position_m:
        return set_words(head, before)
    return place_words(before, units)
