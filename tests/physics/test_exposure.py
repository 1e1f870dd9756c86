"""Exposure equation, exposure values and f-number marks; colour-hdri as independent library."""

import warnings
from math import inf, log2, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.exposure import (
    C_DOME,
    C_FLAT,
    F_MARKS,
    ev100,
    exact_f_number,
    f_number_for,
    f_stop,
    lux_for,
    nearest_f_stop,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it says on import that matplotlib is missing
    import colour_hdri

POSITIVE = st.floats(1e-3, 1e6)

# Marked and exact third-stop f-numbers: marks from a public f-stop table, exact 2**(k/6).
THIRDS = """1.0/1.000 1.1/1.122 1.2/1.260 1.4/1.414 1.6/1.587 1.8/1.782 2/2.000 2.2/2.245 2.5/2.520
2.8/2.828 3.2/3.175 3.5/3.564 4/4.000 4.5/4.490 5/5.040 5.6/5.657 6.3/6.350 7.1/7.127 8/8.000
9/8.980 10/10.08 11/11.31 13/12.70 14/14.25 16/16.00 18/17.96 20/20.16 22/22.63 25/25.40 29/28.51
32/32.00"""
PAIRS = [tuple(float(v) for v in pair.split("/")) for pair in THIRDS.split()]

# E = C 2**EV / S (encyclopedia entry "Exposure value", after ISO 2720): EV100, lux at C = 250 and
# at C = 330; the first column is also in a public lux/EV list ("EV 0 2.50, 1 5.00 ...").
EV_TABLE = [
    (0, 2.5, 3.3), (1, 5, 6.6), (4, 40, 52.8), (5, 80, 105.6), (6, 160, 211.2), (7, 320, 422.4),
    (8, 640, 844.8), (9, 1280, 1689.6), (10, 2560, 3379.2), (11, 5120, 6758.4),
    (12, 10240, 13516.8),
]  # fmt: skip


@pytest.mark.parametrize(("ev", "lux_250", "lux_330"), EV_TABLE)
def test_ev_table(ev, lux_250, lux_330):
    assert ev100(lux_250) == pytest.approx(ev, abs=1e-9)
    assert ev100(lux_330, constant=330.0) == pytest.approx(ev, abs=1e-9)


@given(st.floats(0.01, 1e6), st.floats(240, 540))
def test_ev_like_an_independent_library(lux, constant):
    expected = colour_hdri.illuminance_to_exposure_value(lux, 100, constant)
    assert ev100(lux, constant) == pytest.approx(float(expected), abs=1e-9)


def test_constants_lie_in_the_ranges_of_the_standard():
    # ISO 2720 (ranges from memory): 240..400 flat, 320..540 hemispherical.
    assert C_FLAT == 250
    assert 320 <= C_DOME <= 540


def test_a_meter_with_another_constant_reads_the_same_lux_darker():
    # C = 330 against 250: log2(330/250) = 0.401 stop.
    assert ev100(1000) - ev100(1000, constant=330.0) == pytest.approx(0.401, abs=0.0005)


# N**2 / t = E S / C worked by hand, C = 250 (ISO 2720 equation): E, S, t, N.
@pytest.mark.parametrize(
    ("lux", "iso", "shutter", "f_number"),
    [
        (2500, 100, 1 / 60, 4.082),
        (1000, 400, 1 / 125, 3.578),
        (500, 800, 1 / 60, 5.164),
        (5000, 100, 1 / 125, 4.000),
        (600, 400, 1 / 60, 4.000),
        (9600, 100, 1 / 60, 8.000),
    ],
)
def test_f_number_check_values(lux, iso, shutter, f_number):
    assert f_number_for(lux, iso, shutter) == pytest.approx(f_number, rel=0.002)
    assert lux_for(f_number, iso, shutter) == pytest.approx(lux, rel=0.002)


# EV = log2(N**2 / t), "Exposure value": f/8 at 1/125 as written, at the exact 1/128, 2500 lx.
def test_ev_of_camera_settings():
    assert ev100(lux_for(8, 100, 1 / 125)) == pytest.approx(12.966, abs=0.0005)
    assert ev100(lux_for(8, 100, 1 / 128)) == pytest.approx(13.0)
    assert ev100(2500) == pytest.approx(9.966, abs=0.0005)


def test_shutter_marks_taken_as_written():
    # 1/15, 1/30, 1/60 as written are 0.093 stop brighter than the binary 1/16, 1/32, 1/64.
    for written, binary in ((15, 16), (30, 32), (60, 64)):
        stops = 2 * log2(f_number_for(1000, 100, 1 / written) / f_number_for(1000, 100, 1 / binary))
        assert stops == pytest.approx(0.093, abs=0.0005)


@pytest.mark.parametrize(("index", "pair"), list(enumerate(PAIRS)))
def test_marks(index, pair):
    marked, exact = pair
    stop = f_stop(index)
    assert float(stop.mark) == marked
    assert stop.exact == pytest.approx(exact, rel=0.0005)
    assert stop.label == f"f/{stop.mark}"
    assert exact_f_number(marked) == stop.exact
    assert nearest_f_stop(exact) == stop
    assert nearest_f_stop(marked) == stop


def test_the_worst_marks():
    # Marked against exact: f/1.2 is 0.141 stop out, f/11 and f/22 0.081, no other third more.
    errors = {
        f_stop(k).mark: abs(2 * log2(f_stop(k).exact / float(f_stop(k).mark))) for k in range(31)
    }
    worst = sorted(errors, key=errors.__getitem__, reverse=True)
    assert worst[0] == "1.2"
    assert set(worst[1:3]) == {"11", "22"}
    assert [round(errors[m], 3) for m in ("1.2", "11", "22")] == [0.141, 0.081, 0.081]


def test_a_stop_is_three_marks_and_halves_the_light():
    # Whole stops of the old ring: 1 1.4 2 2.8 4 5.6 8 11 16 22 32 45 64.
    assert F_MARKS[::3] == (
        "1",
        "1.4",
        "2",
        "2.8",
        "4",
        "5.6",
        "8",
        "11",
        "16",
        "22",
        "32",
        "45",
        "64",
    )
    assert lux_for(f_stop(12).exact, 100, 1) / lux_for(f_stop(9).exact, 100, 1) == pytest.approx(2)


# Half-stop marks that no third-stop ring prints stay what they say; 13 is both, read as the third.
@pytest.mark.parametrize("half", [1.7, 2.4, 3.3, 4.8, 6.7, 9.5, 19.0, 27.0])
def test_half_stop_marks_are_taken_as_exact(half):
    assert exact_f_number(half) == half


def test_thirteen_is_read_as_the_third():
    assert exact_f_number(13) == pytest.approx(12.70, abs=0.005)


# key 64 + fill 32 lit, then the fill down a third: f/9.8 -> f/9.46, nearest third f/9 (not f/10).
@pytest.mark.parametrize(
    ("f_number", "label"), [(9.8, "f/10"), (9.46, "f/9"), (10.6, "f/10"), (10.8, "f/11")]
)
def test_nearest_mark(f_number, label):
    assert nearest_f_stop(f_number).label == label


def test_beyond_the_marks_the_outermost_answers():
    assert nearest_f_stop(0.7).label == "f/1"
    assert nearest_f_stop(128).label == "f/64"


@given(st.floats(1, 64))
def test_the_nearest_mark_is_within_a_sixth_of_a_stop(f_number):
    assert abs(2 * log2(f_number / nearest_f_stop(f_number).exact)) <= 1 / 6 + 1e-9


@given(POSITIVE, st.floats(25, 25600), st.floats(1e-4, 60), st.floats(240, 540))
def test_lux_to_f_number_and_back(lux, iso, shutter, constant):
    f_number = f_number_for(lux, iso, shutter, constant)
    assert lux_for(f_number, iso, shutter, constant) == pytest.approx(lux)


@given(POSITIVE, st.floats(25, 25600), st.floats(1e-4, 60))
def test_twice_the_light_is_one_stop_of_lens_and_of_ev(lux, iso, shutter):
    factor = f_number_for(2 * lux, iso, shutter) / f_number_for(lux, iso, shutter)
    assert factor == pytest.approx(1.414214, rel=1e-6)
    assert ev100(2 * lux) - ev100(lux) == pytest.approx(1)


@pytest.mark.parametrize("index", [-1, 37])
def test_no_mark_there(index):
    with pytest.raises(OutOfRange, match="f/64"):
        f_stop(index)


@pytest.mark.parametrize("bad", [0.0, -2.0, nan])
def test_what_is_not_positive_is_refused(bad):
    for place, name in enumerate(("illuminance", "iso", "shutter_s", "C")):
        values = [1000.0, 100.0, 0.01, 250.0]
        values[place] = bad
        with pytest.raises(OutOfRange, match=name):
            f_number_for(*values)
    for place, name in enumerate(("f_number", "iso", "shutter_s", "C")):
        values = [4.0, 100.0, 0.01, 250.0]
        values[place] = bad
        with pytest.raises(OutOfRange, match=name):
            lux_for(*values)
    for refused in (ev100, nearest_f_stop, exact_f_number, lambda v: ev100(100.0, v)):
        with pytest.raises(OutOfRange, match="above 0"):
            refused(bad)


def test_endless_light_has_endless_ev():
    assert ev100(inf) == inf
