"""The face in zones: one flat tone a zone, what has no detail left marked by a pattern.

One zone is one stop and V is middle grey, as taught. From VIII on a camera's picture is white
(2.5 stops over middle grey, where a straight encoding ends); 0 and I hold no detail.
"""

from functools import lru_cache

import numpy as np

from server.preview.develop import MID_GREY, table_index, table_reflectance, tone_table

WHITE_FROM, BLACK_TO = 8, 1
ZONES = 11
_STRIPE, _STRIPE_EVERY = 3, 8
_DOT, _DOT_EVERY = 2, 7


@lru_cache(maxsize=1)
def zone_table() -> np.ndarray:
    """Zone 0 to 10 of each place of the tables, uint8.

    References
    ----------
    Zone System, as taught: V is middle grey (18 %), one zone is one stop.
    """
    relative = np.maximum(table_reflectance(), 1e-9) / MID_GREY
    return np.clip(np.floor(5.5 + np.log2(relative)), 0, ZONES - 1).astype(np.uint8)


@lru_cache(maxsize=1)
def zone_tones() -> np.ndarray:
    """The print's grey for each zone, and the grey of its mark: (2, 11) uint8."""
    middles = MID_GREY * 2.0 ** (np.arange(ZONES) - 5.0)
    places = np.abs(np.log(np.maximum(table_reflectance(), 1e-9))[:, None] - np.log(middles))
    flat = tone_table()[places.argmin(axis=0)]
    mark = flat.copy()
    mark[: BLACK_TO + 1] = 92
    mark[WHITE_FROM:] = 40
    return np.stack([flat, mark])


def zone_picture(linear: np.ndarray, lux_for_mid_grey: float) -> np.ndarray:
    """Grey picture in zones, uint8: white is striped, black is dotted."""
    zone = zone_table().take(table_index(linear, lux_for_mid_grey))
    y, x = np.indices(zone.shape)
    striped = (zone >= WHITE_FROM) & ((x + y) % _STRIPE_EVERY < _STRIPE)
    dotted = (zone <= BLACK_TO) & (x % _DOT_EVERY < _DOT) & (y % _DOT_EVERY < _DOT)
    flat, mark = zone_tones()
    return np.where(striped | dotted, mark.take(zone), flat.take(zone))
