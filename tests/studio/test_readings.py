"""Readings anchor predictions. Plain units as the trade counts: f/8 is 64, f/5.6 is 32.

ISO 400, 1/125, C 250: a unit is 78.125 lux (ISO 2720:1974). EV values: colour-hdri as oracle.
"""

import warnings
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import log2

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.studio.by_sum import by_sum
from server.studio.document import rig_document, rig_from_document
from server.studio.figures import figures, lens_advice, ratio_label
from server.studio.head import Placement
from server.studio.light import light_matrix
from server.studio.reach import with_ratio
from server.studio.readings import Reading, lux_of_meter, metered
from server.studio.rig import Rig
from server.studio.room import Meter
from server.studio.setting import Setting, exact_stops

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it misses matplotlib, which we do not need
    from colour_hdri import illuminance_to_exposure_value

UNIT = 250 / (400 / 125)
NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


def rig() -> Rig:
    half = 0.5**0.5
    cheek = {"on": "face", "x": 0, "y": 0, "z": 0, "ny": 0, "receptor": "flat"}
    beam = [{"focus": 0, "candela": 20000, "beam_deg": 60, "field_deg": 90}]
    return rig_from_document(
        {
            "room": {"name": "Plain units"},
            "lens": {"iso": 400, "shutter_s": 1 / 125, "f_number": 10},
            "points": [
                {**cheek, "name": "cheek right", "nx": half, "nz": half},
                {**cheek, "name": "cheek left", "nx": -half, "nz": half},
            ],
            "heads": [
                {"name": "Key", "role": "key", "address": 1, "beam": beam,
                 "placement": {"azimuth_deg": 90, "distance_m": 2, "rise_m": 0, "focus": 0}},
                {"name": "Fill", "role": "fill", "address": 2, "beam": beam,
                 "placement": {"azimuth_deg": 0, "distance_m": 2, "rise_m": 0, "focus": 0}},
            ],
        }
    )  # fmt: skip


def read(
    rig: Rig, point: str, head: str, units: float, minutes: float = 0, shaded: bool = False
) -> Reading:
    """A reading of one head at half output, in plain units at full."""
    placement = rig.head(head).placement if head else None
    output = 0.5 if head else 0.0
    lux = units * UNIT * (output or 1)
    at = NOON + timedelta(minutes=minutes)
    return Reading(point, head, lux, output, at, placement, shaded=shaded)


def with_readings(rig: Rig, *readings: Reading) -> Rig:
    return replace(rig, readings=readings)


def told(rig: Rig, **outputs: float):
    setting = Setting(stops={n: exact_stops(o) for n, o in outputs.items()}, lens=rig.lens)
    return figures(rig, light_matrix(rig, 0.0), setting, None)


def metered_rig(bounce: float = 0.0, key: float = 64.0, fill: float = 32.0) -> Rig:
    """Key f/8 on the lit cheek alone, fill f/5.6 on both, and so much bounce of the key."""
    plain = rig()
    return with_readings(
        plain,
        read(plain, "cheek right", "Key", key * (1 + bounce)),
        read(plain, "cheek right", "Key", key * bounce, shaded=True),
        read(plain, "cheek left", "Key", key * bounce),
        read(plain, "cheek right", "Fill", fill),
        read(plain, "cheek left", "Fill", fill),
    )


def test_a_metered_pair_reads_what_the_meter_said() -> None:
    now = told(metered_rig(), Key=1.0, Fill=1.0)
    assert now.ratio.value == pytest.approx(3.0)
    assert now.ratio.source == "metered"
    assert {p.source for p in now.points} == {"metered"}
    assert now.lens.source == "metered"
    plain = told(rig(), Key=1.0, Fill=1.0)
    assert (plain.ratio.source, plain.lens.source) == ("predicted", "predicted")
    # where a lens is advised without all other figures (carry, match) it knows its source too
    assert lens_advice(metered_rig(), rig().lens, now.ratio).source == "metered"


def test_the_lens_rests_on_the_lit_side_alone() -> None:
    """Only the lit cheek was read: the ratio is about, the lens is not."""
    studio = metered_rig()
    lit_alone = replace(studio, readings=tuple(
        r for r in studio.readings if r.point == "cheek right"))  # fmt: skip
    now = told(lit_alone, Key=1.0, Fill=1.0)
    assert now.ratio.source != "metered"
    assert now.lens.source == "metered"


def test_what_the_camera_tells_again_is_no_repeat_and_never_mixed_with_the_meter() -> None:
    """Two readings by the meter that agree count as two, their mean in stops is half way."""
    plain = rig()
    first, second = (
        read(plain, "cheek right", "Key", 64 * 2**off, minutes=m) for off, m in ((0.0, 0), (0.1, 1))
    )
    pair = first.pair
    twice = metered((first, second), {})[pair]
    assert twice.count == 2
    assert twice.lux_full == pytest.approx(64 * UNIT * 2**0.05)
    told_again = replace(second, by="camera")
    for older in (first, replace(first, by="camera")):
        alone = metered((older, told_again), {})[pair]
        assert (alone.count, alone.newest) == (1, told_again)
        assert alone.lux_full == pytest.approx(64 * UNIT * 2**0.1)
    after = metered((replace(first, by="camera"), second), {})[pair]
    assert (after.count, after.newest) == (1, second)


def test_fill_off_with_bounce_is_twenty_one_to_one() -> None:
    now = told(metered_rig(bounce=0.05), Key=1.0, Fill=0.0)
    assert now.ratio.value == pytest.approx(21.0, abs=0.05)
    assert now.ratio.label == "21:1"


def test_bounce_makes_nine_to_one_six_point_seven_and_says_what_would_mend_it() -> None:
    studio = metered_rig(bounce=0.05, fill=8.0)
    now = told(studio, Key=1.0, Fill=1.0)
    assert now.ratio.label == "6.7:1"
    setting = Setting(stops={"Key": exact_stops(1.0), "Fill": exact_stops(1.0)}, lens=studio.lens)
    wished = with_ratio(studio, light_matrix(studio, 0.0), setting, 9.0, "fill")
    there = wished.setting.stops["Fill"]
    assert there is not None
    assert float(there) == pytest.approx(0.74, abs=0.005)
    assert wished.got == pytest.approx(9.0, abs=0.01)
    offer = by_sum(studio, light_matrix(studio, 0.0), setting)
    assert offer is not None
    assert (ratio_label(offer.value), round(offer.fill_stops or 0, 2)) == ("9:1", -0.74)
    dark = metered_rig(fill=8.0)  # no bounce, and nothing to say
    assert by_sum(dark, light_matrix(dark, 0.0), setting) is None
    # half of the key off the walls: even without any fill it is no more than 3:1
    bright = metered_rig(bounce=0.5, fill=8.0)
    told_so = by_sum(bright, light_matrix(bright, 0.0), setting)
    assert told_so is not None
    assert told_so.fill_stops is None


def test_a_ratio_with_the_lens_held_minds_the_bounce() -> None:
    studio = metered_rig(bounce=0.05)
    setting = Setting(stops={"Key": exact_stops(0.5), "Fill": exact_stops(0.25)}, lens=studio.lens)
    matrix = light_matrix(studio, 0.0)
    before = figures(studio, matrix, setting, None).ratio.lit_lux
    wished = with_ratio(studio, matrix, setting, 4.0)
    after = figures(studio, matrix, wished.setting, None).ratio
    assert after.value == pytest.approx(4.0, abs=0.01)
    assert after.lit_lux == pytest.approx(before, rel=1e-3)


def test_a_moved_head_is_about_until_one_reading_trusts_it_again() -> None:
    """Key from 2.0 to 2.4 m: the inverse square says -0.53 stop; read again, it is off by 0.4 more,
    and the correction goes to that head alone."""
    studio = metered_rig()
    key = studio.head("Key")
    away = replace(key, placement=replace(key.placement, distance_m=2.4))
    moved = replace(studio, heads=(away, studio.head("Fill")))
    was, now = (told(r, Key=1.0, Fill=0.0) for r in (studio, moved))
    lit = {p.point.name: p.lux for p in was.points}, {p.point.name: p.lux for p in now.points}
    fall = log2(lit[0]["cheek right"] / lit[1]["cheek right"])
    assert fall == pytest.approx(2 * log2(2.4 / 2.0), abs=1e-6)
    assert told(moved, Key=1.0, Fill=1.0).ratio.source == "moved"
    units = lit[1]["cheek right"] / UNIT * 2**0.4
    again = with_readings(moved, *moved.readings, read(moved, "cheek right", "Key", units, 60))
    trusted = told(again, Key=1.0, Fill=1.0)
    assert trusted.points[0].source == "metered"
    assert trusted.points[0].lux == pytest.approx(lit[1]["cheek right"] * 2**0.4 + 32 * UNIT)
    assert told(again, Key=0.0, Fill=1.0).points == told(moved, Key=0.0, Fill=1.0).points


def test_repeats_that_agree_are_averaged_and_a_new_lamp_is_not() -> None:
    plain = rig()
    near = with_readings(
        plain, read(plain, "cheek right", "Key", 60), read(plain, "cheek right", "Key", 64, 1)
    )
    assert told(near, Key=1.0, Fill=0.0).points[0].lux / UNIT == pytest.approx((60 * 64) ** 0.5)
    lamp = with_readings(
        plain, read(plain, "cheek right", "Key", 48), read(plain, "cheek right", "Key", 64, 1)
    )
    assert told(lamp, Key=1.0, Fill=0.0).points[0].lux / UNIT == pytest.approx(64)


def test_ambient_is_read_where_it_is_and_taken_off() -> None:
    plain = rig()
    studio = with_readings(
        plain, read(plain, "cheek right", "", 4), read(plain, "cheek right", "Key", 72)
    )
    # the key was read at half output over 4 units of room light: 36 - 4 at half is 64 at full
    assert told(studio, Key=1.0, Fill=0.0).points[0].lux / UNIT == pytest.approx(68)


def test_what_a_head_gives_around_a_corner_counts_on_the_whole_face() -> None:
    """The key past cheek left reads 3.2 units there off the walls: in its shadow, at any cheek."""
    plain = rig()
    studio = with_readings(plain, read(plain, "cheek left", "Key", 3.2))
    matrix = light_matrix(studio, 0.0)
    assert matrix.bounce["cheek right"]["Key"] / UNIT == pytest.approx(3.2)
    assert matrix.lux_in_shadow("cheek right", {"Key": 1.0}, {"Key"}) / UNIT == pytest.approx(3.2)
    # but where a reading says less than that, the reading is right
    less = with_readings(studio, *studio.readings, read(plain, "cheek right", "Key", 2.0, 1))
    assert light_matrix(less, 0.0).lux("cheek right", {"Key": 1.0}) / UNIT == pytest.approx(2.0)


def test_repeats_of_one_day_a_fifth_apart_are_averaged_and_of_another_day_are_not() -> None:
    plain = rig()
    for minutes, units in ((9.0, (64 * 64 * 2**0.2) ** 0.5), (60.0 * 24 * 90, 64 * 2**0.2)):
        studio = with_readings(
            plain, read(plain, "cheek right", "Key", 64),
            read(plain, "cheek right", "Key", 64 * 2**0.2, minutes),
        )  # fmt: skip
        assert told(studio, Key=1.0).points[0].lux / UNIT == pytest.approx(units)


def test_a_dome_reading_does_not_anchor_a_flat_point() -> None:
    plain = rig()
    dome = replace(read(plain, "cheek right", "Key", 64), receptor="dome")
    assert told(with_readings(plain, dome), Key=1.0).points[0].source == "predicted"


@given(st.floats(1, 20000), st.sampled_from([100.0, 400.0, 1600.0]))
def test_what_a_meter_shows_in_ev_is_as_colour_hdri_says(lux: float, iso: float) -> None:
    shown = float(illuminance_to_exposure_value(lux, iso))
    back = lux_of_meter("ev", shown, meter=Meter(), receptor="flat", iso=iso)
    assert back == pytest.approx(lux, rel=1e-9)


def test_f_numbers_with_tenths_and_the_dome() -> None:
    """E = C N**2 / (S t): f/5.6 and 4 tenths at ISO 400, 1/125, exact marks."""
    flat = lux_of_meter("f", 5.6, meter=Meter(), receptor="flat", iso=400, shutter_s=1 / 125)
    assert flat == pytest.approx(250 * 32 * 125 / 400)
    more = lux_of_meter(
        "f", 5.6, meter=Meter(), receptor="flat", iso=400, shutter_s=1 / 125, tenths=4
    )
    assert log2(more / flat) == pytest.approx(0.4)
    dome = lux_of_meter(
        "f", 5.6, meter=Meter(c_dome=330), receptor="dome", iso=400, shutter_s=1 / 125
    )
    assert log2(dome / flat) == pytest.approx(0.40, abs=0.005)  # C 330 against 250


@pytest.mark.parametrize(
    ("kind", "value", "says"),
    [("f", 812, "is it lux"), ("ev", 300, "is it lux"), ("lux", -3, "lux must"),
     ("foot", 1, "kind"), ("lux", float("nan"), "number"), ("f", 0, "f-number")],
)  # fmt: skip
def test_what_no_meter_shows_is_said(kind: str, value: float, says: str) -> None:
    with pytest.raises(OutOfRange, match=says):
        lux_of_meter(kind, value, meter=Meter(), receptor="flat")


def test_readings_travel_with_the_rig() -> None:
    studio = metered_rig(0.05)
    assert rig_from_document(rig_document(studio)) == studio


@pytest.mark.parametrize(
    "wrong",
    [{"output": 0.0}, {"output": 1.5}, {"placement": None}, {"lux": -1.0}, {"receptor": "ball"},
     {"at": datetime(2026, 5, 1)}],
)  # fmt: skip
def test_a_reading_that_cannot_be_is_refused(wrong: dict) -> None:
    plain = Reading("cheek right", "Key", 100.0, 0.5, NOON, Placement())
    with pytest.raises(OutOfRange):
        replace(plain, **wrong)
