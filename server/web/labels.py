"""Fields as the pages call them: an error on a page never speaks of `distance_m`."""

import re

LABELS = {
    "azimuth_deg": "azimuth",
    "distance_m": "distance to the sitter",
    "rise_m": "height above the eyes",
    "lens_diameter_m": "lens diameter",
    "power_factor": "power factor",
    "cct_kelvin": "colour at full",
    "bands_below": "may band below",
    "steady_from": "steady from",
    "curve_points": "curve points",
    "candela": "peak candela",
    "beam_deg": "beam angle",
    "field_deg": "field angle",
    "mains_volts": "mains, volts",
    "continuous_factor": "planned share of a breaker",
    "ambient_lux": "ambient light, lux",
    "breaker_amps": "breaker, amps",
    "other_amps": "other load, amps",
    "yaw_deg": "face turned, degrees",
    "white_over_lit_stops": "white soon, stops over the lit side",
    "stand_in": "who is drawn for the sitter",
    "signal_loss": "without signal",
    "shutter_s": "shutter, seconds",
    "f_number": "f-number",
    "iso": "ISO",
    "address": "channel",
} | {
    f"{which}_{field}": f"{words} at {which}"
    for which in ("spot", "flood")
    for field, words in (
        ("candela", "peak candela"), ("beam_deg", "beam angle"), ("field_deg", "field angle"),
    )
}  # fmt: skip
"""Field of a form or a document -> what stands beside it on the page."""

_PLAIN = [name for name in LABELS if "_" not in name]
_FIELD = re.compile(
    rf"\b(?:{'|'.join(name for name in LABELS if '_' in name)})\b"
    rf"|\b(?:{'|'.join(_PLAIN)})(?= must\b|: )"  # a word of everyday speech, where it is a field
)


def in_words(sentence: str) -> str:
    """A sentence with every field called as its page calls it."""
    return _FIELD.sub(lambda found: LABELS[found[0]], sentence)
