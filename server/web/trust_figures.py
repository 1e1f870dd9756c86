"""What the ratio and the lens rest on, in words."""

from dataclasses import dataclass

from server.studio.by_sum import by_sum
from server.studio.figures import Figures, LensAdvice, Ratio, about, ratio_label
from server.studio.light import LightMatrix
from server.studio.rig import Rig
from server.studio.setting import Setting
from server.studio.trust import Trust
from server.web.trust_words import MARKS, SOURCES
from server.web.words import advice_words, f_words, lux_words, point_words, shutter_words

MOST_SAID_STOPS = 3.0


@dataclass(frozen=True)
class ToldFigure:
    """The ratio or the lens: the figure, its source, and what it is made of."""

    key: str
    name: str
    figure: str
    mark: str
    source: str
    lines: tuple[str, ...]


def told_figures(
    rig: Rig, matrix: LightMatrix, setting: Setting, told: Figures, trust: Trust
) -> tuple[ToldFigure, ...]:
    """The ratio, then the lens."""
    ratio, lit_source = told.ratio, told.lens.source
    return (
        ToldFigure(
            "ratio", "Ratio, lit : shadow", ratio.told, MARKS[ratio.source],
            SOURCES[ratio.source], _ratio_lines(rig, matrix, setting, ratio, trust),
        ),
        ToldFigure(
            "lens", "Lens for the lit side", _lens_figure(told.lens), MARKS[lit_source],
            SOURCES[lit_source], _lens_lines(told, trust),
        ),
    )  # fmt: skip


def _ratio_lines(
    rig: Rig, matrix: LightMatrix, setting: Setting, ratio: Ratio, trust: Trust
) -> tuple[str, ...]:
    shade = ", in the key’s shadow" if any(
        h.role == "key" and setting.output(h) > 0 for h in rig.heads) else ""  # fmt: skip
    lines = [
        f"Lit side: {point_words(ratio.lit)}, {lux_words(ratio.lit_lux)}. Shadow side:"
        f" {point_words(ratio.shadow)}{shade}, {lux_words(ratio.shadow_lux)}."
    ]
    if ratio.stops is not None:
        lines.append(
            f"{ratio.stops:.1f} stops side to side; {conventions(ratio)}."
            f" Known to {known_words(trust.ratio_stops)}."
        )
        if ratio.key_over_fill_stops is not None:
            lines.append(
                "Key over fill is what a meter at the mark shows, pointed at either; lit : shadow"
                " is read at the points of the face, so the two agree only roughly."
            )
    sums = by_sum(rig, matrix, setting)
    if sums is not None:
        label = ratio_label(sums.value)
        mend = f"no fill makes it a true {label} here" if sums.fill_stops is None else (
            f"for a true {label}: fill {_way(sums.fill_stops)}")  # fmt: skip
        lines.append(
            f"By key and fill alone it would be {label}; what the key throws off the walls makes it"
            f" {ratio.told}. {mend[0].upper()}{mend[1:]}."
        )
    return tuple(lines)


def conventions(ratio: Ratio) -> str:
    """Both ways in which the trade says a ratio: `key over fill 1 stop (key : fill 2:1),
    (key + fill) : fill 3:1, which is lit : shadow`."""
    both = f"lit : shadow {ratio.label} is (key + fill) : fill"
    over = ratio.key_over_fill_stops
    if over is None:
        return both
    way = f"{over:.2g} {'stop' if abs(round(over, 1)) == 1 else 'stops'}".replace("-", "−")
    return f"key over fill {way} (key : fill {ratio_label(2.0**over)}), {both}"


def _way(stops: float) -> str:
    return f"{'up' if stops > 0 else 'down'} {abs(stops):.2f} stop"


def _lens_figure(lens: LensAdvice) -> str:
    exact = lens.exact_f_number or 0.0
    return about(f"f/{exact:.2g}" if exact < 10 else f"f/{exact:.0f}", lens.source)


def _lens_lines(told: Figures, trust: Trust) -> tuple[str, ...]:
    lens, off = told.lens.lens, told.lens.off_by_stops or 0.0
    way = "just so" if abs(off) < 0.005 else (
        f"{abs(off):.2f} stop {'over' if off > 0 else 'under'} what is set")  # fmt: skip
    lines = [
        f"Set: {f_words(lens.f_number)}, ISO {lens.iso:g}, {shutter_words(lens.shutter_s)}. The lit"
        f" side is {way}, known to {known_words(trust.lit_stops)}."
    ]
    if told.lens.advice:
        lines.append(f"Advised: {advice_words(told.lens)}.")
    return tuple(lines)


def known_words(stops: float) -> str:
    """How well a figure is known: `0.12 stop`."""
    return f"{stops:.2f} stop" if stops < MOST_SAID_STOPS else "more than 3 stops"
