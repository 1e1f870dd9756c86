"""Which light makes a picture: the look whose points lie as the picture's tones, or a new mix.

A picture tells how the points stand to each other, not how much light there was.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import log2

from server.errors import Refused
from server.physics.exposure import lux_for
from server.studio.figures import LensAdvice, Ratio, lens_advice, outputs_of, ratio_of
from server.studio.light import light_matrix
from server.studio.look import Look
from server.studio.matching import Wish, matched
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops, signalled_output

FACE_WEIGHT, ROOM_WEIGHT, NEAR_WEIGHT = 1.0, 0.5, 0.03
"""Hair and background count half: how light they are themselves is only guessed."""
SIXTH = 1 / 6
WITHOUT_BOUND = 4096.0

Tones = Mapping[str, float]
"""Point -> its light as the picture shows it, against any of them. [stop]"""
Off = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Alike:
    """A look beside a picture. `off` are (point, stops) over the picture, exposure apart."""

    look: Look
    off: Off
    rms_stops: float


@dataclass(frozen=True)
class Mixed:
    """The light of this rig, as it stands, that comes nearest to a picture."""

    setting: Setting
    off: Off
    rms_stops: float
    ratio: Ratio
    lens: LensAdvice


def most_alike(rig: Rig, looks: Iterable[Look], tones: Tones) -> tuple[Alike, ...]:
    """The looks, the likest first. Looks that are dark, or of other heads or points, are left out.

    Raises Refused for fewer than two points on the face.
    """
    _enough(rig, tones)
    found = []
    for look in looks:
        names = {h.name for h in rig.heads}
        if look.missing_heads(rig) or all(s is None for s in look.stops.values()):
            continue
        stood = rig.standing({n: p for n, p in look.placements.items() if n in names})
        matrix = light_matrix(stood, look.yaw_deg)
        outputs = outputs_of(stood, Setting(look.stops, look.lens, look.yaw_deg))
        off = _off(rig, tones, {n: matrix.lux(n, outputs) for n in tones})
        if off:
            found.append(Alike(look, off, _rms(rig, off)))
    return tuple(sorted(found, key=lambda a: a.rms_stops))


def mixed_like(rig: Rig, tones: Tones, start: Setting) -> Mixed:
    """Outputs whose light at the points lies as the tones; the lit side as the set lens wants it.

    The heads that are lit in `start` move first, and as little as will do; the others only come in
    when those alone stay more than a sixth away. When a head has not got the light, all come down
    together, and the lens advice says by how much. The set lens is the photographer's and stays.

    Raises Refused for fewer than two points on the face, or a start that is dark.
    """
    _enough(rig, tones)
    able = [h.name for h in rig.heads if not h.out]
    lit = [name for name in able if start.output(rig.head(name)) > 0]
    if not lit:
        raise Refused("no head is lit in the look to start from")
    first = _mixed(rig, tones, start, lit)
    if first.rms_stops <= SIXTH or len(lit) == len(able):
        return first
    whole = _mixed(rig, tones, start, able)
    return whole if whole.rms_stops < first.rms_stops - SIXTH / 2 else first


def _enough(rig: Rig, tones: Tones) -> None:
    if sum(p.name in tones for p in rig.face_points) < 2:
        raise Refused("at least two points on the face are needed: tap another one")


def _mixed(rig: Rig, tones: Tones, start: Setting, movers: list[str]) -> Mixed:
    matrix = light_matrix(rig, start.yaw_deg)
    lens = start.lens
    brightest = max(tones[p.name] for p in rig.face_points if p.name in tones)
    lit_lux = lux_for(lens.exact_f_number, lens.iso, lens.shutter_s, rig.meter.c_flat)
    wanted = {n: lit_lux * 2 ** (stops - brightest) for n, stops in tones.items()}
    before = outputs_of(rig, start)
    # as bright as wanted in the middle, so that a head's own output can be held near
    lift = _middle(rig, {n: log2(w / max(matrix.lux(n, before), 1e-9)) for n, w in wanted.items()})

    def wishes(scale: float) -> list[Wish]:
        return [
            Wish([matrix.at[n][m] for m in movers], matrix.ambient[n], scale * w, _weight(rig, n))
            for n, w in wanted.items()
        ]

    def near(scale: float) -> list[tuple[list[float], float]]:
        rows = []
        for i, name in enumerate(movers):
            row = [0.0] * len(movers)
            row[i] = NEAR_WEIGHT / (scale * (before[name] * 2**lift or 1.0))
            rows.append((row, NEAR_WEIGHT if before[name] > 0 else 0.0))
        return rows

    found = matched(wishes(1.0), near(1.0), WITHOUT_BOUND)
    scale = 1.0 / max(1.0, *found)
    found = matched(wishes(scale), near(scale))
    stops = {h.name: None for h in rig.heads} | {
        name: exact_stops(output if output >= 2.0 ** -rig.head(name).deepest_stops else 0.0)
        for name, output in zip(movers, found, strict=True)
    }
    setting = Setting(stops, lens, start.yaw_deg)
    real = {h.name: signalled_output(h, setting.output(h)) for h in rig.heads}
    off = _off(rig, tones, {n: matrix.lux(n, real) for n in tones})
    ratio = ratio_of(rig, matrix, real)
    advice = lens_advice(rig, lens, ratio)
    return Mixed(setting, off, _rms(rig, off), ratio, advice)


def _weight(rig: Rig, point: str) -> float:
    on = next(p.on for p in rig.points if p.name == point)
    return FACE_WEIGHT if on == "face" else ROOM_WEIGHT


def _middle(rig: Rig, stops: Mapping[str, float]) -> float:
    """Weighted mean. [stop]"""
    total = sum(_weight(rig, n) for n in stops)
    return sum(_weight(rig, n) * s for n, s in stops.items()) / total


def _off(rig: Rig, tones: Tones, lux: Mapping[str, float]) -> Off:
    """How the light lies over the tones, with what is common to all of them taken off. [stop]"""
    if not all(value > 0 for value in lux.values()):
        return ()
    apart = {n: log2(value) - tones[n] for n, value in lux.items()}
    middle = _middle(rig, apart)
    return tuple((n, stops - middle) for n, stops in apart.items())


def _rms(rig: Rig, off: Off) -> float:
    squares = sum(_weight(rig, n) * s * s for n, s in off)
    return float((squares / sum(_weight(rig, n) for n, _ in off)) ** 0.5) if off else 99.0
