"""From the rig to what is drawn: the sitter, and every head as a light round them."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

from server.errors import OutOfRange
from server.physics.candela_curve import CandelaCurve
from server.preview.frames import frame_key
from server.preview.grid import drawing_signature
from server.preview.scene import Ambient, Light, Scene, Source
from server.studio.head import Head
from server.studio.lamps import gained_since
from server.studio.light import Places, aim_point
from server.studio.rig import Rig

AMBIENT = ""
"""Name of the room's own light among the heads' names; no head can be called so."""
BACKGROUND = "background"
_USUAL_DISTANCE_M = 1.5
_EDGES = ("kicker", "rim", "fill")


@dataclass(frozen=True)
class Subject:
    """A sitter and the lights round them: all that a face depends on, but outputs and lens."""

    scene: Scene
    lights: tuple[tuple[str, Light], ...]

    @cached_property
    def key(self) -> str:
        """Equal when all frames are equal."""
        told = [(name, frame_key(self.scene, light), light) for name, light in self.lights]
        return hashlib.sha256(repr(told).encode()).hexdigest()[:20]


@lru_cache(maxsize=256)
def subject_of(rig: Rig, yaw_deg: float, heads: tuple[str, ...]) -> Subject:
    """What is drawn of a rig, with its heads where they stand in it, and the named ones lit."""
    places = {p.name: p.place(yaw_deg) for p in rig.points}
    lights: list[tuple[str, Light]] = [
        (h.name, source_of(h, places, gained_since(rig.lamps, h.name)))
        for h in rig.heads
        if h.name in heads
    ]
    lights.append((AMBIENT, Ambient(rig.room.ambient_lux)))
    return Subject(Scene(rig.sitter.stand_in, yaw_deg, _background_m(places)), tuple(lights))


def source_of(head: Head, places: Places, gained: float = 1.0) -> Source:
    """A head as it stands, as a light of the drawing; `gained` by another lamp."""
    beam = head.beam_now
    return Source(
        head.placement.position_m,
        aim_point(head, places),
        head.lens_diameter_m,
        beam.candela * gained,
        beam.beam_deg,
        beam.field_deg,
        head.placement.scrim_stops,
        shares_of(beam) if isinstance(beam, CandelaCurve) else (),
    )


def shares_of(curve: CandelaCurve) -> tuple[tuple[float, float], ...]:
    """A measured curve as shares of its peak by the angle off the axis [deg]."""
    peak = curve.candela
    return tuple((a, c / peak) for a, c in zip(curve.angles_deg, curve.candelas, strict=True))


def _background_m(places: Places) -> float:
    """Where the background hangs: at the metering point of that name. [m]"""
    found = places.get(BACKGROUND)
    behind = -found[0][2] if found else _USUAL_DISTANCE_M
    return min(50.0, max(0.4, behind))


@dataclass(frozen=True)
class Keys:
    """What a pattern is read from: the turned face, the keys and their relative outputs."""

    yaw_deg: float
    sources: tuple[Source, ...]
    weights: tuple[float, ...]

    @cached_property
    def name(self) -> str:
        """Equal when the pattern must be equal."""
        told = (drawing_signature(), self.yaw_deg, self.sources, self.weights)
        return hashlib.sha256(repr(told).encode()).hexdigest()[:20]


def keys_of(rig: Rig, yaw_deg: float, outputs: Mapping[str, float]) -> Keys | None:
    """The heads that make the pattern: the lit keys; without one, whatever else lights the face.

    None when no light comes from them, or one of them cannot be drawn.
    """
    lit = [h for h in rig.heads if outputs.get(h.name, 0.0) > 0]
    makers = [h for h in lit if h.role == "key"] or [h for h in lit if h.role in _EDGES]
    if not makers:
        return None
    places = {p.name: p.place(yaw_deg) for p in rig.points}
    try:
        sources = tuple(source_of(h, places) for h in makers)
    except OutOfRange:
        return None
    most = max(outputs[h.name] for h in makers)
    return Keys(yaw_deg, sources, tuple(round(outputs[h.name] / most, 3) for h in makers))
