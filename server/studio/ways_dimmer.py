"""Ways without a walk: the dimmer, the lens, the ISO, the shutter."""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from math import ceil, log2

from server.physics.exposure import F_MARKS, nearest_f_stop
from server.physics.stops import THIRDS_PER_STOP
from server.studio.head import Head
from server.studio.rig import Lens
from server.studio.setting import Setting
from server.studio.way import DIAL_S, GRAIN_OR_BLUR_A_STOP, TAP_S, Wanted, Way
from server.studio.way_words import signed, stops_text

ISO_MARKS = (25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000,
             1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000,
             20000, 25600)  # fmt: skip
SHUTTER_MARKS = (1, 1.3, 1.6, 2, 2.5, 3, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100,
                 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200,
                 4000)  # fmt: skip
"""Printed ISO speeds and shutter times (the denominators), a third of a stop apart."""
MARK_STOPS = 0.12
"""A printed mark stands for any value so near to it. [stop]"""
ON_A_MARK = 0.06
BLURS_BELOW = 60
"""A live sitter may blur at longer times (common practice). [1/s]"""


def at_the_dimmer(wanted: Wanted) -> Iterator[Way]:
    """Dim; or move the lens, the ISO or the shutter and all other heads the other way."""
    setting, head, wish = wanted.setting, wanted.head, wanted.wish
    stops = setting.of(head)
    assert stops is not None
    exact = Fraction(wish).limit_denominator(THIRDS_PER_STOP)
    room = stops if wish > 0 else Fraction(head.deepest_stops) - stops
    possible = min(abs(exact), max(Fraction(0), room)) * (1 if wish > 0 else -1)
    if possible == exact:
        moved = setting.shifted([head], exact)
        yield wanted.way("dim", f"{head.name} {signed(wish)}", TAP_S, moved)
        possible = Fraction(0)  # then the camera's ways leave this head alone
    for kind in ("lens", "iso", "shutter"):
        way = _by_camera(wanted, kind, exact, possible)
        if way is not None:
            yield way


def _by_camera(wanted: Wanted, kind: str, exact: Fraction, possible: Fraction) -> Way | None:
    """The head as far as it goes, the rest by the camera, which all other heads make up for."""
    rig, setting, head = wanted.rig, wanted.setting, wanted.head
    rest = exact - possible
    # an iris may stand between its marks, a sixth of a stop say; dials click in thirds
    if kind != "lens" or abs(6 * rest - round(6 * rest)) > ON_A_MARK:
        clicks = ceil(THIRDS_PER_STOP * abs(rest) - ON_A_MARK)
        rest = Fraction(clicks, THIRDS_PER_STOP) * (1 if rest > 0 else -1)
    own = exact - rest
    others = [h for h in rig.heads if h is not head and setting.of(h) is not None]
    moved = setting.shifted([head], own)
    if not _can_all(setting, [head], own) or not _can_all(setting, others, -rest):
        return None  # an other head would pass full, or go out
    camera = _camera(setting.lens, rest, kind)
    if camera is None:
        return None
    lens, text = camera
    first = ""
    if own:
        first = f"{head.name} {'to its end' if own == possible else signed(float(own))}, then "
    back = (
        f" and bring everything else {'down' if rest > 0 else 'up'} {stops_text(abs(float(rest)))}"
    )
    return wanted.way(
        kind, f"{first}{text}{back if others else ''}: same picture", DIAL_S,
        moved.shifted(others, -rest).with_lens(lens), lens_stops=float(rest),
        extra=0.0 if kind == "lens" else GRAIN_OR_BLUR_A_STOP * abs(float(rest)),
    )  # fmt: skip


def lifted(wanted: Wanted) -> Iterator[Way]:
    """All heads up by whole thirds until this one no longer bands; the camera takes it back."""
    rig, setting, head = wanted.rig, wanted.setting, wanted.head
    needed = log2(head.bands_below / setting.output(head))
    up = Fraction(ceil(THIRDS_PER_STOP * needed - 1e-9), THIRDS_PER_STOP)
    lit = [h for h in rig.heads if setting.of(h) is not None]
    if not _can_all(setting, lit, up):
        return
    moved = setting.shifted(lit, up)
    for kind in ("lens", "iso", "shutter"):
        camera = _camera(setting.lens, -up, kind)
        if camera is None:
            continue
        lens, text = camera
        yield wanted.way(
            kind, f"all heads {signed(float(up))}, {text}: same picture, {head.name} at"
            f" {moved.output(head):.0%}", DIAL_S, moved.with_lens(lens), lens_stops=-float(up),
            extra=0.0 if kind == "lens" else GRAIN_OR_BLUR_A_STOP * float(up),
        )  # fmt: skip


def _can_all(setting: Setting, heads: list[Head], stops: Fraction) -> bool:
    """Whether heads can all go so much brighter without passing full or going out."""
    for head in heads:
        now = setting.of(head)
        if now is not None and not 0 <= now - stops <= Fraction(head.deepest_stops):
            return False
    return True


def _camera(lens: Lens, stops: Fraction, kind: str) -> tuple[Lens, str] | None:
    """The camera set to take in so much more light, in words; None beyond its scale."""
    size = stops_text(abs(float(stops)))
    if kind == "lens":
        exact = lens.exact_f_number * 2 ** (-float(stops) / 2)
        if not float(F_MARKS[0]) * 0.97 < exact < float(F_MARKS[-1]) * 1.03:
            return None
        mark = nearest_f_stop(exact)
        printed = abs(2 * log2(mark.exact / exact)) < 0.01
        f_number = float(mark.mark) if printed else round(exact, 2)
        to = f" to f/{f_number:g}" if printed else ""
        verb = "open" if stops > 0 else "close"
        return replace(lens, f_number=f_number), f"{verb} the lens {size}{to}"
    if kind == "iso":
        iso = _clicked(lens.iso, ISO_MARKS, stops)
        verb = "raise" if stops > 0 else "lower"
        return (replace(lens, iso=iso), f"{verb} the ISO to {iso:g}") if iso else None
    per_second = _clicked(1 / lens.shutter_s, SHUTTER_MARKS, -stops)
    if per_second is None:
        return None
    verb = "lengthen" if stops > 0 else "shorten"
    blur = " (a live sitter may blur)" if per_second < BLURS_BELOW else ""
    return (
        replace(lens, shutter_s=1 / per_second), f"{verb} the shutter to 1/{per_second:g}{blur}"
    )  # fmt: skip


def _clicked(value: float, marks: tuple[float, ...], stops: Fraction) -> float | None:
    """The printed mark so many thirds away from the one that is set, None off the scale."""
    at = min(range(len(marks)), key=lambda i: abs(log2(marks[i] / value)))
    to = at + round(THIRDS_PER_STOP * stops)
    if abs(log2(marks[at] / value)) > MARK_STOPS or not 0 <= to < len(marks):
        return None
    return float(marks[to])
