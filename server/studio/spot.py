"""A spot of the picture: what it reads, which heads make it, and how to make it darker or lighter.

The light of a spot is that of its one-light frames: reflectance times illuminance. [lx]
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, log2, pi

from server.errors import Refused
from server.physics.stops import THIRDS_PER_STOP, stops_between
from server.studio.figures import outputs_of, sides_of
from server.studio.light import LightMatrix
from server.studio.rig import Rig
from server.studio.setting import Setting

MIDDLE_GREY = 0.18
SHOWN_BEYOND_STOPS = 0.1
"""What else moves is told from here on. [stop]"""
MAKES_FROM = 0.02
"""A head that gives less than this share of a spot is not told. [fraction]"""
ALL_OF_IT = 0.999
SPOT_WEIGHT, POINT_WEIGHT, STAY_WEIGHT = 1000.0, 1.0, 0.05
WORTH_MOVING = 1 / 6
"""A head that would move by less is left alone. [stop]"""
REACHED_STOPS = 0.02
MOVED_FROM_STOPS = 0.005


@dataclass(frozen=True)
class Spot:
    """One spot: light of each head there at full, and of the room. Reflectance x illuminance."""

    heads: Mapping[str, float]
    ambient: float

    def light(self, outputs: Mapping[str, float]) -> float:
        """Its light under these outputs. [lx times reflectance]"""
        return self.ambient + sum(k * outputs.get(name, 0.0) for name, k in self.heads.items())


@dataclass(frozen=True)
class SpotReading:
    """What a spot reads.

    `grey_card_lux`: the light on a middle grey card that would look as bright; `from_lit_stops`:
    that against the light on the lit side. `makers` are (head, share 0..1, stops the spot would
    lose without it, None for all of them), the strongest first.
    """

    luminance_cd_m2: float
    grey_card_lux: float
    over_grey_stops: float | None
    from_lit_stops: float | None
    zone: int
    makers: tuple[tuple[str, float, float | None], ...]


@dataclass(frozen=True)
class SpotChange:
    """The smallest change of the heads that makes a spot darker or lighter.

    `heads` are (head, thirds), `elsewhere` (point, stops) of what else moves by more than a tenth
    of a stop. `why` says what stands in the way when not all of the wish is in reach.
    """

    setting: Setting
    asked_stops: float
    got_stops: float
    heads: tuple[tuple[str, float], ...]
    elsewhere: tuple[tuple[str, float], ...]
    why: str


def spot_reading(
    spot: Spot, outputs: Mapping[str, float], mid_grey_lux: float, lit_lux: float
) -> SpotReading:
    """What a spot meter reads there, its zone as the set lens prints it, and who makes it.

    Zone V is middle grey, one zone a stop (Zone System, as taught).
    """
    light = spot.light(outputs)
    over = log2(light / (MIDDLE_GREY * mid_grey_lux)) if light > 0 and mid_grey_lux > 0 else None
    shares = [
        (name, k * outputs.get(name, 0.0) / light) for name, k in spot.heads.items() if light > 0
    ]
    return SpotReading(
        luminance_cd_m2=light / pi,
        grey_card_lux=light / MIDDLE_GREY,
        over_grey_stops=over,
        from_lit_stops=log2(light / (MIDDLE_GREY * lit_lux)) if light > 0 and lit_lux > 0 else None,
        zone=0 if over is None else max(0, min(10, floor(5.5 + over))),
        makers=tuple(
            (name, share, log2(1 - share) if share < ALL_OF_IT else None)
            for name, share in sorted(shares, key=lambda m: -m[1])
            if share >= MAKES_FROM
        ),
    )


def spot_change(
    rig: Rig, matrix: LightMatrix, setting: Setting, spot: Spot, thirds: int
) -> SpotChange:
    """The smallest change that moves a spot by thirds of a stop and keeps the named points.

    Least squares in relative light: the spot first, then every named point as it was, then every
    head where it is. Heads that are dark stay dark.
    """
    outputs = outputs_of(rig, setting)
    lit = [h.name for h in rig.heads if outputs[h.name] > 0]
    before = spot.light(outputs)
    reached = sum(spot.heads.get(name, 0.0) * outputs[name] for name in lit)
    if not lit or before <= 0 or reached < MAKES_FROM * before:
        raise Refused("no lit head reaches this spot: bring one in first")
    asked = thirds / THIRDS_PER_STOP
    target = before * 2**asked
    found = _solved(rig, matrix, outputs, spot, target, lit)
    # a head that would hardly move stays where it is, and the others do it without it
    movers = [n for n in lit if found[n] <= 0 or abs(log2(found[n] / outputs[n])) >= WORTH_MOVING]
    if 0 < len(movers) < len(lit):
        fewer = _solved(rig, matrix, outputs, spot, target, movers)
        if abs(stops_between(spot.light({**outputs, **fewer}), target)) <= REACHED_STOPS:
            found = fewer
    deepest = {h.name: 2.0**-h.deepest_stops for h in rig.heads}
    moved = {
        name: max(output, min(outputs[name], deepest[name]))  # down, but never out
        for name, output in found.items()
        if output <= 0 or abs(log2(output / outputs[name])) > MOVED_FROM_STOPS
    }
    changed = setting.with_outputs(moved)
    after = outputs_of(rig, changed)
    got = stops_between(spot.light(after), before)
    return SpotChange(
        setting=changed,
        asked_stops=asked,
        got_stops=got,
        heads=tuple((n, THIRDS_PER_STOP * log2(after[n] / outputs[n])) for n in lit if n in moved),
        elsewhere=_elsewhere(rig, matrix, outputs, after),
        why=_why(spot, lit, after, asked, got, deepest, target),
    )


def _solved(
    rig: Rig,
    matrix: LightMatrix,
    outputs: Mapping[str, float],
    spot: Spot,
    target: float,
    movers: Sequence[str],
) -> dict[str, float]:
    """Outputs of the heads that may move; the others' light counts as the room's."""
    from server.studio.solve import bounded_least_squares  # numpy: not before it is needed

    def fixed(row: Mapping[str, float], ambient: float) -> float:
        return ambient + sum(row[n] * o for n, o in outputs.items() if n not in movers)

    here = [spot.heads.get(n, 0.0) for n in movers]
    rows = [[SPOT_WEIGHT * k / target for k in here]]
    wanted = [SPOT_WEIGHT * (target - fixed({**dict.fromkeys(outputs, 0.0), **spot.heads},
                                            spot.ambient)) / target]  # fmt: skip
    for point in rig.points:
        lux, row = matrix.lux(point.name, outputs), matrix.at[point.name]
        if lux <= matrix.ambient[point.name]:
            continue
        # a point that the same heads make in the same shares is meant to move along
        likeness = _likeness(
            [spot.heads.get(n, 0.0) * o for n, o in outputs.items()],
            [row[n] * o for n, o in outputs.items()],
        )
        weight = POINT_WEIGHT * (1 - likeness)
        rows.append([weight * row[n] / lux for n in movers])
        wanted.append(weight * (lux - fixed(row, matrix.ambient[point.name])) / lux)
    for i, name in enumerate(movers):
        rows.append([STAY_WEIGHT / outputs[name] if j == i else 0.0 for j in range(len(movers))])
        wanted.append(STAY_WEIGHT)
    return dict(zip(movers, bounded_least_squares(rows, wanted).outputs, strict=True))


def _likeness(a: Sequence[float], b: Sequence[float]) -> float:
    """Squared cosine between two lists of light by head. 0..1"""
    across = sum(x * y for x, y in zip(a, b, strict=True))
    lengths = sum(x * x for x in a) * sum(y * y for y in b)
    return across * across / lengths if lengths > 0 else 0.0


def _elsewhere(
    rig: Rig, matrix: LightMatrix, before: Mapping[str, float], after: Mapping[str, float]
) -> tuple[tuple[str, float], ...]:
    told = []
    for point in rig.points:
        a, b = matrix.lux(point.name, before), matrix.lux(point.name, after)
        if a > 0 and b > 0 and abs(stops := stops_between(b, a)) > SHOWN_BEYOND_STOPS:
            told.append((point.name, stops))
    return (*told, *_shaded(rig, matrix, before, after))


def _shaded(
    rig: Rig, matrix: LightMatrix, before: Mapping[str, float], after: Mapping[str, float]
) -> tuple[tuple[str, float], ...]:
    """The shadow side as the ratio reads it: in the key's shadow."""
    _, shadow, with_key = sides_of(rig, matrix, before)
    if not with_key:
        return ()
    keys = {h.name for h in rig.heads if h.role == "key"}
    a = matrix.lux_in_shadow(shadow.name, before, keys)
    b = matrix.lux_in_shadow(shadow.name, after, keys)
    if a <= 0 or b <= 0 or abs(stops := stops_between(b, a)) <= SHOWN_BEYOND_STOPS:
        return ()
    return ((f"{shadow.name} in the key's shadow", stops),)


def _why(
    spot: Spot,
    lit: list[str],
    after: Mapping[str, float],
    asked: float,
    got: float,
    deepest: Mapping[str, float],
    target: float,
) -> str:
    if abs(asked - got) <= REACHED_STOPS:
        return ""
    here = [n for n in lit if spot.heads.get(n, 0.0) > 0]
    ends = [n for n in here if (after[n] > 0.999 if asked > 0 else after[n] <= 1.01 * deepest[n])]
    if asked < 0 and spot.ambient > target:
        held = "the rest is the room's own light"
    elif ends:
        held = f"{', '.join(ends)} at {'the top' if asked > 0 else 'the lowest'}"
    else:
        held = "the other points are kept"
    in_reach = max(0.0, got if asked > 0 else -got)
    return f"only {in_reach:.1f} stop of it is in reach: {held}"
