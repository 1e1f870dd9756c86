"""Views of faces: a look's tile, the light now, the good frame beside it. Text only."""

from dataclasses import dataclass
from math import cos, radians, sin

from server.live.now import Now
from server.physics.stops import light_factor
from server.preview.scene import STAND_INS
from server.studio.look import Look
from server.studio.mix import changes
from server.studio.rig import Rig
from server.studio.setting import Stops
from server.web.face_words import light_words
from server.web.faces import WAITING, Face, Faces
from server.web.lights import light_good, light_now, light_on
from server.web.words import f_words, yaw_words

KINDS = {"drawn": "drawn from the rig's figures", "photographed": "photographed in this room"}


@dataclass(frozen=True)
class Lamp:
    """One lit head in a tile's small plan, in the units of its drawing."""

    x: str
    y: str
    radius: str
    role: str


@dataclass(frozen=True)
class TileFace:
    """The face of a look's tile; its small plan while there is none."""

    look_id: int
    url: str
    text: str
    pattern: str
    why: str
    lamps: tuple[Lamp, ...]
    nose: str


@dataclass(frozen=True)
class NowFace:
    """The face as it is lit now. With planes, the page draws it by itself."""

    url: str
    zones_url: str
    planes: str
    text: str
    pattern: str
    kind: str
    why: str
    lamps: tuple[Lamp, ...]
    nose: str


@dataclass(frozen=True)
class StandInView:
    """Someone who can be drawn for the sitter."""

    name: str
    description: str
    url: str


@dataclass(frozen=True)
class Side:
    """One of the two lights that are compared."""

    name: str
    url: str
    text: str
    pattern: str
    figures: str
    why: str


@dataclass(frozen=True)
class Compare:
    """Good and now, the split face, and what changed between them."""

    sides: tuple[Side, ...]
    split_url: str
    split_text: str
    changes: tuple[str, ...]


def tile_face(faces: Faces, rig: Rig, look: Look) -> TileFace:
    """A look's face. The pattern is not said twice when the look is called after it."""
    face = faces.of_look(rig, look)
    label = face.pattern.label if face.pattern else ""
    return TileFace(
        look_id=look.look_id,
        url=f"/faces/look/{look.look_id}.jpg?v={face.version}" if face.version else "",
        text=f"{light_words(face.pattern, face.light.told)}, {yaw_words(look.yaw_deg)}",
        pattern="" if label.casefold() == look.name.casefold() else label,
        why="" if face.why == WAITING else face.why,  # a page says once how far the faces are
        lamps=lamps(face.light.rig, look.stops),
        nose=nose(look.yaw_deg),
    )


def face_now(faces: Faces, now: Now) -> NowFace:
    """The light now."""
    light = light_now(now)
    face = faces.of(light, urgent=True)
    planes = faces.planes_version(light)
    pattern, kind, why = (
        face.pattern.label if face.pattern else "",
        KINDS.get(face.kind, ""),
        face.why,
    )
    if not light.lit:
        pattern, kind = ("all heads are dark" if now.rig.heads else "no heads yet"), ""
        why = why if now.rig.heads else ""
    return NowFace(
        url=f"/faces/now.jpg?v={face.version}" if face.version else "",
        zones_url=f"/faces/now.jpg?zones=on&v={face.version}-zones" if face.version else "",
        planes=f"/faces/planes/{planes}.bin" if planes else "",
        text=light_words(face.pattern, light.told),
        pattern=pattern,
        kind=kind,
        why=why,
        lamps=lamps(now.rig, now.setting.stops),
        nose=nose(now.setting.yaw_deg),
    )


def compare_view(faces: Faces, now: Now) -> Compare:
    """Good at camera left, now at camera right."""
    good = light_good(now)
    sides = [_side("Now", "/faces/now.jpg", faces.of(light_now(now), urgent=True))]
    if good is None:
        return Compare(tuple(sides), "", "", ())
    sides.insert(0, _side("Good", "/faces/good.jpg", faces.of(good)))
    versions = [side.url.partition("v=")[2] for side in sides]
    assert now.record.good is not None
    moved = changes(now.rig, now.record.good.stops, now.setting.stops)
    split = f"/faces/split.jpg?v={'-'.join(versions)}" if all(versions) else ""
    text = f"Camera left half, good: {sides[0].text}. Camera right half, now: {sides[1].text}"
    return Compare(tuple(sides), split, text, tuple(f"{name} {how}" for name, how in moved))


def _side(name: str, path: str, face: Face) -> Side:
    told = face.light.told
    lens = f_words(told.lens.lens.f_number)
    return Side(
        name=name,
        url=f"{path}?v={face.version}" if face.version else "",
        text=light_words(face.pattern, told),
        pattern=face.pattern.label if face.pattern else "",
        figures=f"{told.ratio.told} · {lens}",
        why=face.why,
    )


def stand_in_views(faces: Faces, now: Now) -> list[StandInView]:
    """Who can be drawn for the sitter, each under the light now."""
    views = []
    for who in STAND_INS.values():
        version = faces.of(light_on(now, who.name)).version
        url = f"/faces/stand-in/{who.name}.jpg?v={version}" if version else ""
        views.append(StandInView(who.name, who.description, url))
    return views


def drawing_words(faces: Faces) -> str:
    """How far the faces are; empty when all that were asked for can be seen."""
    ready, wanted = faces.progress()
    return f"Drawing faces: {ready} of {wanted}" if ready < wanted else ""


def board_url(holding: bool, in_zones: bool) -> str:
    """The board with its switches."""
    return f"/board?hold={'lens' if holding else 'off'}" + "&zones=on" * in_zones


def nose(yaw_deg: float) -> str:
    """Where the nose points in the plan."""
    turn = radians(yaw_deg)
    return f"{5 * sin(turn):.1f} {5 * cos(turn):.1f}"


def lamps(rig: Rig, stops: Stops) -> tuple[Lamp, ...]:
    """The lit heads round the sitter, seen from above, the camera below."""
    drawn = []
    for head in rig.heads:
        below = stops.get(head.name)
        if below is None:
            continue
        placement = head.placement
        angle, reach = radians(placement.azimuth_deg), min(22.0, 9 + 5 * placement.distance_m)
        radius = 1.6 + 2.6 * light_factor(-float(below) / 3)
        drawn.append(
            Lamp(
                f"{reach * sin(angle):.1f}", f"{reach * cos(angle):.1f}", f"{radius:.1f}", head.role
            )
        )
    return tuple(drawn)
