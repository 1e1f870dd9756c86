"""What a picture of a face tells, in words: for those who cannot see it, and for its caption."""

from server.studio.figures import Figures
from server.studio.pattern import Pattern
from server.web.words import stops_words

BACKGROUND = "background"
EQUAL_WITHIN_THIRDS = 0.5


def light_words(pattern: Pattern | None, told: Figures) -> str:
    """`Rembrandt, short side, lit to shadow 4:1, background 2 stops under`."""
    if not any(h.output > 0 for h in told.heads):
        return "No head is lit"
    parts = [pattern_words(pattern), _ratio_words(told), _background_words(told)]
    text = ", ".join(p for p in parts if p)
    return text[:1].upper() + text[1:]


def pattern_words(pattern: Pattern | None) -> str:
    """`Rembrandt, short side`; empty while it is not known."""
    if pattern is None:
        return ""
    return f"{pattern.label} side" if pattern.side else pattern.label


def _ratio_words(told: Figures) -> str:
    ratio = told.ratio
    colon = "" if ratio.value is not None else ":"
    return f"lit to shadow{colon} {ratio.told}"


def _background_words(told: Figures) -> str:
    found = next((p for p in told.points if p.point.name == BACKGROUND), None)
    if found is None or told.ratio.lit_lux <= 0:
        return ""
    if found.over_lit_stops is None:
        return "background dark"
    thirds = 3 * abs(found.over_lit_stops)
    if thirds < EQUAL_WITHIN_THIRDS:
        return "background as bright as the lit side"
    words = stops_words(thirds)
    stop = "stops" if thirds + EQUAL_WITHIN_THIRDS >= 4 else "stop"
    return f"background {words} {stop} {'over' if found.over_lit_stops > 0 else 'under'}"
