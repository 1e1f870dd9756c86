"""What the board says about a setting: light per point, the ratio, the lens, each head."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isfinite, log2

from server.physics.exposure import FStop, ev100, f_number_for, nearest_f_stop
from server.physics.lamp import tungsten_cct_kelvin
from server.physics.ratio import key_over_fill_stops, lit_to_shadow
from server.physics.stops import THIRDS_PER_STOP, stops_between
from server.studio.anchor import LEAST_TRUSTED
from server.studio.head import Head
from server.studio.light import LightMatrix
from server.studio.rig import Lens, Rig
from server.studio.room import Point
from server.studio.setting import Setting

ADVISE_BEYOND_STOPS = 0.25
# Two points whose key light differs by less than this count as tied. [fraction]
TIE = 1e-3
# Where readings come in, points within what a meter can tell apart count as tied: a reading a tenth
# of a stop off must not swap the cheeks. [fraction]
METERED_TIE = 0.08
# Beyond six stops no print shows a difference, and no room is so dark (common practice).
MOST_TOLD = 64.0


@dataclass(frozen=True)
class PointLight:
    """Light at one point. `over_lit_stops` is None in darkness."""

    point: Point
    lux: float
    ev100: float | None
    over_lit_stops: float | None
    source: str = "predicted"


@dataclass(frozen=True)
class Ratio:
    """Lit : shadow, (key + fill) : fill, with the second figure of the trade beside it."""

    lit: str
    shadow: str
    lit_lux: float
    shadow_lux: float
    value: float | None
    stops: float | None
    label: str
    key_over_fill_stops: float | None
    source: str = "predicted"
    """metered, camera, moved (since metering) or predicted: the least trusted of its parts."""
    lit_source: str = "predicted"
    """Where the light of the lit side alone comes from: the lens rests on that."""

    @property
    def told(self) -> str:
        """As it can be believed: `3:1`, or `about 3:1`."""
        return about(self.label, self.source)


@dataclass(frozen=True)
class LensAdvice:
    """The set lens against the lit side. `advice` only when it is more than a quarter stop off."""

    lens: Lens
    exact_f_number: float | None
    nearest: FStop | None
    off_by_stops: float | None
    advice: str | None
    source: str = "predicted"
    """Where the light of the lit side comes from."""


@dataclass(frozen=True)
class HeadFigures:
    """One head as the board shows it. Thirds of a stop; None where a dark head has no number."""

    head: Head
    output: float
    stops_below_full: float | None
    room_up_thirds: float | None
    room_down_thirds: float | None
    cct_kelvin: float
    from_good_thirds: float | None
    over_lit_stops: float | None
    white_soon: bool


@dataclass(frozen=True)
class Figures:
    """Everything that is read off one setting."""

    points: tuple[PointLight, ...]
    ratio: Ratio
    lens: LensAdvice
    heads: tuple[HeadFigures, ...]


def outputs_of(rig: Rig, setting: Setting) -> dict[str, float]:
    """Head name -> output. [1], 0..1"""
    return {h.name: setting.output(h) for h in rig.heads}


def figures(rig: Rig, matrix: LightMatrix, setting: Setting, good: Setting | None) -> Figures:
    """All figures of a setting; `good` is the good frame that from-good figures refer to."""
    outputs = outputs_of(rig, setting)
    ratio = ratio_of(rig, matrix, outputs)
    return Figures(
        points=tuple(_point(rig, p, matrix, outputs, ratio) for p in rig.points),
        ratio=ratio,
        lens=lens_advice(rig, setting.lens, ratio),
        heads=tuple(_head(rig, h, matrix, setting, good, ratio) for h in rig.heads),
    )


def _constant(rig: Rig, point: Point) -> float:
    return rig.meter.c_flat if point.receptor == "flat" else rig.meter.c_dome


def _point(
    rig: Rig, point: Point, matrix: LightMatrix, outputs: Mapping[str, float], ratio: Ratio
) -> PointLight:
    lux = matrix.lux(point.name, outputs)
    return PointLight(
        point=point,
        lux=lux,
        ev100=ev100(lux, _constant(rig, point)) if lux > 0 else None,
        over_lit_stops=stops_between(lux, ratio.lit_lux) if lux > 0 and ratio.lit_lux > 0 else None,
        source=matrix.trust(point.name, outputs),
    )


def sides_of(
    rig: Rig, matrix: LightMatrix, outputs: Mapping[str, float]
) -> tuple[Point, Point, bool]:
    """Lit point, shadow point, and whether a key decides.

    Lit side: the face point that gets the most light from the keys. Shadow side: the face point
    that the keys light least, the other cheek where that ties. Without a key the brightest and
    the darkest face point. Between metered points that tie, the geometry decides. A point that is
    read with another receptor than the rest of the face is no side of it.
    """
    keys = [h.name for h in rig.heads if h.role == "key" and outputs[h.name] > 0]
    points = rig.side_points
    if keys:
        light = {p.name: sum(matrix.at[p.name][k] * outputs[k] for k in keys) for p in points}
    else:
        light = {p.name: matrix.lux(p.name, outputs) for p in points}
    most, least = max(light.values()), min(light.values())
    metered = any(matrix.source.get(p.name, {}).get(k) != "predicted" for p in points for k in keys)
    if keys and metered and matrix.plain:
        alone = {p.name: sum(matrix.plain[p.name][k] * outputs[k] for k in keys) for p in points}
        lit = max((p for p in points if light[p.name] >= (1 - METERED_TIE) * most),
                  key=lambda p: alone[p.name])  # fmt: skip
        points = tuple(p for p in points if light[p.name] - least <= METERED_TIE * most)
        light, least = alone, min(alone[p.name] for p in points)
    else:
        lit = max(points, key=lambda p: light[p.name])
    tied = [p for p in points if light[p.name] - least <= TIE * light[lit.name]]
    # of tied points the one farthest across the face from the lit point is the other cheek
    shadow = max(tied, key=lambda p: abs(p.x - lit.x))
    return lit, shadow, bool(keys)


def ratio_of(rig: Rig, matrix: LightMatrix, outputs: Mapping[str, float]) -> Ratio:
    """Lit : shadow of a light, the shadow side read in the key's shadow."""
    lit, shadow, with_key = sides_of(rig, matrix, outputs)
    keys = {h.name for h in rig.heads if with_key and h.role == "key"}
    lit_lux = matrix.lux(lit.name, outputs)
    shadow_lux = matrix.lux_in_shadow(shadow.name, outputs, keys)
    value = lit_to_shadow(lit_lux, shadow_lux) if lit_lux or shadow_lux else None
    known = value is not None and isfinite(value) and value > 0
    return Ratio(
        lit=lit.name,
        shadow=shadow.name,
        lit_lux=lit_lux,
        shadow_lux=shadow_lux,
        value=value if known else None,
        stops=log2(value) if known and value else None,
        label=ratio_label(value),
        key_over_fill_stops=_key_over_fill(rig, matrix, outputs),
        source=_least_trusted(matrix.trust(p.name, outputs) for p in (lit, shadow)),
        lit_source=matrix.trust(lit.name, outputs),
    )


def _least_trusted(sources: Iterable[str]) -> str:
    kinds = set(sources)
    return next(k for k in LEAST_TRUSTED if k in kinds)


def ratio_label(value: float | None) -> str:
    """A ratio as the trade writes it: `3:1`, `3.5:1`, `21:1`; in words where there is none."""
    if value is None:
        return "dark"
    if not isfinite(value):
        return "no fill"
    if value < 0.095:
        return "key off the face"
    if value > MOST_TOLD:
        return f"over {MOST_TOLD:.0f}:1"
    return f"{value:.0f}:1" if value >= 9.95 else f"{value:.1f}:1".replace(".0:", ":")


def about(figure: str, source: str) -> str:
    """A figure as it can be believed: `3:1` where all of it was metered, else `about 3:1`. What is
    no number (`dark`, `no fill`) stands as it is."""
    bare = source == "metered" or not any(c.isdigit() for c in figure)
    return figure if bare else f"about {figure}"


def _key_over_fill(rig: Rig, matrix: LightMatrix, outputs: Mapping[str, float]) -> float | None:
    key, fill = (
        sum(matrix.mark[h.name] * outputs[h.name] for h in rig.heads if h.role == role)
        for role in ("key", "fill")
    )
    return key_over_fill_stops(key, fill) if key > 0 and fill > 0 else None


def lens_advice(rig: Rig, lens: Lens, ratio: Ratio) -> LensAdvice:
    """How far the lit side is from the set lens, and a change when that is worth one."""
    if ratio.lit_lux <= 0:
        return LensAdvice(lens, None, None, None, None, ratio.lit_source)
    lit = next(p for p in rig.points if p.name == ratio.lit)
    exact = f_number_for(ratio.lit_lux, lens.iso, lens.shutter_s, _constant(rig, lit))
    nearest = nearest_f_stop(exact)
    off = 2 * log2(exact / lens.exact_f_number)
    # the marks are a third apart, so beyond a quarter stop the nearest mark is another one,
    # unless the light lies outside what lenses are marked with
    advise = abs(off) > ADVISE_BEYOND_STOPS and nearest.exact != lens.exact_f_number
    advice = f"set {nearest.label}" if advise else None
    return LensAdvice(lens, exact, nearest, off, advice, ratio.lit_source)


def _head(
    rig: Rig,
    head: Head,
    matrix: LightMatrix,
    setting: Setting,
    good: Setting | None,
    ratio: Ratio,
) -> HeadFigures:
    output, stops = setting.output(head), setting.of(head)
    alone = matrix.mark[head.name] * output
    over = stops_between(alone, ratio.lit_lux) if alone > 0 and ratio.lit_lux > 0 else None
    good_stops = good.of(head) if good else None
    below = None if stops is None else float(stops)
    return HeadFigures(
        head=head,
        output=output,
        stops_below_full=below,
        room_up_thirds=None if below is None else THIRDS_PER_STOP * below,
        room_down_thirds=(
            None if below is None else max(0.0, THIRDS_PER_STOP * (head.deepest_stops - below))
        ),
        cct_kelvin=(
            tungsten_cct_kelvin(head.cct_kelvin, output)
            if head.lamp == "tungsten"
            else head.cct_kelvin
        ),
        from_good_thirds=(
            None
            if stops is None or good_stops is None
            else float(THIRDS_PER_STOP * (good_stops - stops))
        ),
        over_lit_stops=over,
        white_soon=(
            head.role in ("kicker", "rim", "hair")
            and over is not None
            and over > rig.sitter.white_over_lit_stops
        ),
    )
