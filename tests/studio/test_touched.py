"""A head touched since metering: about until one spot reading, which corrects that head alone.

Plain units: key f/8 (64), fill f/5.6 (32), 3:1. The key reads 0.4 under: 64 * 2**-0.4 = 48.5, so
80.5 : 32 = 2.5:1.
"""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.studio.document import rig_document, rig_from_document
from server.studio.rig import Rig
from server.studio.room import Point
from tests.studio.test_readings import NOON, UNIT, metered_rig, read, told

HOUR = NOON + timedelta(hours=1)


def touched(rig: Rig, name: str = "Key") -> Rig:
    heads = tuple(replace(h, touched_at=HOUR) if h.name == name else h for h in rig.heads)
    return replace(rig, heads=heads)


def spot(rig: Rig, units: float, point: str = "cheek right", head: str = "Key") -> Rig:
    return replace(rig, readings=(*rig.readings, read(rig, point, head, units, 61)))


def test_a_touched_head_is_about_and_the_figures_stay() -> None:
    before, after = (
        told(metered_rig(), Key=1.0, Fill=1.0),
        told(touched(metered_rig()), Key=1.0, Fill=1.0),
    )
    assert before.ratio.source == "metered"
    assert after.ratio.source == "moved"
    assert after.ratio.value == pytest.approx(before.ratio.value)
    assert told(touched(metered_rig()), Key=0.0, Fill=1.0).ratio.source == "metered"


def test_one_reading_four_tenths_off_corrects_that_head_alone() -> None:
    again = spot(touched(metered_rig()), 64 * 2**-0.4)
    now = told(again, Key=1.0, Fill=1.0)
    assert now.ratio.source == "metered"
    assert now.ratio.label == "2.5:1"
    assert told(again, Key=0.0, Fill=1.0).points == told(metered_rig(), Key=0.0, Fill=1.0).points


@given(st.floats(-2, 2), st.floats(8, 500), st.floats(8, 500))
def test_the_correction_goes_to_all_readings_of_the_head(
    off: float, forehead: float, fill: float
) -> None:
    plain = metered_rig(fill=fill)
    third = Point("forehead", "face", 0, 0, 0, 0.6, 0, 0.8)
    known = replace(plain, points=(*plain.points, third))
    known = replace(known, readings=(*known.readings, read(known, "forehead", "Key", forehead)))
    again = spot(touched(known), 64 * 2**off)
    lux = {p.point.name: p.lux for p in told(again, Key=1.0, Fill=0.0).points}
    assert lux["cheek right"] == pytest.approx(64 * 2**off * UNIT)
    assert lux["forehead"] == pytest.approx(forehead * 2**off * UNIT)


def test_the_bounce_of_a_touched_key_follows_too() -> None:
    again = spot(touched(metered_rig(bounce=0.05)), 64 * 1.05 * 2**-0.4)
    was, now = (told(r, Key=1.0, Fill=0.0).ratio.value for r in (metered_rig(0.05), again))
    assert now == pytest.approx(was)  # the same share of the key comes off the walls


def test_a_reading_close_by_is_not_averaged_with_one_from_before_the_touch() -> None:
    again = spot(touched(metered_rig()), 64 * 2**-0.1)
    lux = told(again, Key=1.0, Fill=0.0).points[0].lux
    assert lux == pytest.approx(64 * 2**-0.1 * UNIT)


def test_a_reading_where_none_was_before_tells_nothing_of_the_other_points() -> None:
    plain = metered_rig()
    fewer = replace(plain, readings=tuple(r for r in plain.readings if r.point == "cheek right"))
    again = spot(touched(fewer, "Fill"), 32, "cheek left", "Fill")
    now = {p.point.name: p.source for p in told(again, Key=0.0, Fill=1.0).points}
    assert now == {"cheek right": "moved", "cheek left": "metered"}


def test_where_it_was_never_read_its_figures_follow_and_stay_reckoned() -> None:
    """As after a lamp change: what changed the head changed it everywhere."""
    plain = metered_rig()
    third = Point("forehead", "face", 0, 0, 0, 0.6, 0, 0.8)
    known = replace(plain, points=(*plain.points, third))
    again = spot(touched(known), 64 * 2**-0.4)
    was, now = (told(r, Key=1.0, Fill=0.0).points[2] for r in (known, again))
    assert now.lux == pytest.approx(was.lux * 2**-0.4)
    assert now.source == "predicted"


def test_a_touch_travels_with_the_rig() -> None:
    studio = touched(metered_rig())
    assert rig_from_document(rig_document(studio)) == studio
