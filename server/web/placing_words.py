"""A placement and what it does, in words."""

from math import isclose

from server.studio.character import Character
from server.studio.head import Head, Placement
from server.studio.look import differs
from server.studio.placing import SCRIMS, zooms
from server.studio.tape import length_words, short_words
from server.web.words import place_words, point_words


def moved_words(head: Head, placement: Placement, units: str) -> str:
    """Where a head goes, or how it is set."""
    if placement.position_m != head.placement.position_m:
        return f"{head.name} to {place_words(placement, units)}"
    return f"{head.name}: {set_words(head, placement)}"


def set_words(head: Head, placement: Placement) -> str:
    """Focus, scrims and aim in words."""
    names = {stops: name for name, stops in SCRIMS.items()}
    scrims = [names.get(s, f"{s:g} stop") for s in placement.scrims]
    aim = placement.aim if isinstance(placement.aim, str) else "a place"
    parts = [f"aimed at {'the mark' if aim == 'mark' else point_words(aim)}"]
    if zooms(head):
        parts.insert(0, focus_words(placement.focus))
    parts.append(f"scrims {' + '.join(scrims)}" if scrims else "no scrim")
    return ", ".join(parts)


def focus_words(focus: float) -> str:
    """`full spot`, `60 % of the way to flood`, `full flood`."""
    if focus in (0, 1):
        return "full flood" if focus else "full spot"
    return f"{100 * focus:.0f} % of the way to flood"


def azimuth_words(azimuth_deg: float) -> str:
    """`45° camera right`."""
    if azimuth_deg in (0, 180):
        return f"{azimuth_deg:g}°"
    return f"{abs(azimuth_deg):g}° camera {'right' if azimuth_deg > 0 else 'left'}"


def figure_words(told: Character, units: str) -> tuple[tuple[str, str], ...]:
    """What the placement means for the picture, a name and its words each."""
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


def warning_words(told: Character) -> str:
    """Said of a head that stands too near for its figures; else empty."""
    if told.too_bright is None:
        return ""
    return (
        f"Nearer than five times its own width ({told.widths:.1f}): these figures say up to"
        f" {100 * told.too_bright:.0f} % too much. Meter it."
    )


def back_words(head: Head, before: Placement, units: str) -> str:
    """What it goes back to."""
    now = head.placement
    if differs(before, now) and not isclose(before.focus, now.focus):
        return f"{place_words(before, units)}, {focus_words(before.focus)}"
    if before.position_m == now.position_m:
        return set_words(head, before)
    return place_words(before, units)
