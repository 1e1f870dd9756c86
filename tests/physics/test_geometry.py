"""Placements, positions and angles, against numpy and scipy as general reference libraries."""

from math import inf, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from server.errors import OutOfRange
from server.physics.geometry import (
    MARK,
    angle_between_deg,
    cosine_between,
    from_to,
    head_position,
    length,
    placement_of,
    turned,
)

COORDINATE = st.floats(-20, 20)
VECTOR = st.tuples(COORDINATE, COORDINATE, COORDINATE).filter(lambda v: length(v) > 1e-3)
AZIMUTH = st.floats(-179.9, 179.9)
DISTANCE = st.floats(0.2, 30)
SHARE = st.floats(-0.99, 0.99)  # rise as a share of the distance


# Right triangles and the compass of the set, by definition: camera right is +x, the camera +z.
@pytest.mark.parametrize(
    ("placement", "position"),
    [
        ((0, 2, 0), (0, 0, 2)),
        ((90, 2, 0), (2, 0, 0)),
        ((-90, 2, 0), (-2, 0, 0)),
        ((180, 2, 0), (0, 0, -2)),
        ((0, 5, 3), (0, 3, 4)),
        ((90, 5, -3), (4, -3, 0)),
        ((30, 2, 0), (1, 0, 1.7320508)),
        # "about 4 ft away, 2 ft above eye level, 45 deg to the lens axis": Navy manual
        # Photography (Basic), NAVEDTRA 14209, p. 7-11; sqrt((1.2192**2 - 0.6096**2) / 2) by hand.
        ((45, 1.2192, 0.6096), (0.74660, 0.6096, 0.74660)),
    ],
)
def test_head_position(placement, position):
    assert head_position(*placement) == pytest.approx(position, abs=1e-5)


def test_a_head_straight_overhead_is_refused_just_below_it_stands():
    with pytest.raises(OutOfRange, match="rise_m"):
        head_position(0, 2, 2)
    assert head_position(0, 2, 1.999)[1] == pytest.approx(1.999)


@pytest.mark.parametrize("distance", [0, -1, nan, inf])
def test_head_position_refuses_a_distance(distance):
    with pytest.raises(OutOfRange, match="distance_m"):
        head_position(0, distance, 0)


@pytest.mark.parametrize("rise", [2.0, -2.0, 5.0, nan, inf])
def test_head_position_refuses_a_rise(rise):
    with pytest.raises(OutOfRange, match="rise_m"):
        head_position(0, 2.0, rise)


def test_nothing_stands_on_the_mark():
    with pytest.raises(OutOfRange, match="mark"):
        placement_of(MARK)


@given(AZIMUTH, DISTANCE, SHARE)
def test_placement_to_position_and_back(azimuth, distance, share):
    placement = (azimuth, distance, share * distance)
    assert placement_of(head_position(*placement)) == pytest.approx(placement, abs=1e-9)


@given(st.tuples(COORDINATE, COORDINATE, COORDINATE).filter(lambda v: abs(v[0]) + abs(v[2]) > 0.1))
def test_position_to_placement_and_back(position):
    assert head_position(*placement_of(position)) == pytest.approx(position, abs=1e-6)


@given(AZIMUTH, DISTANCE, SHARE)
def test_the_distance_is_the_straight_line(azimuth, distance, share):
    position = head_position(azimuth, distance, share * distance)
    assert np.linalg.norm(position) == pytest.approx(distance)


@given(VECTOR, st.floats(-360, 360))
def test_turning_is_the_rotation_about_y(vector, yaw):
    expected = Rotation.from_euler("y", yaw, degrees=True).apply(vector)
    assert turned(vector, yaw) == pytest.approx(expected, abs=1e-9)


def test_a_turned_nose_points_where_a_head_at_that_azimuth_stands():
    # Both angles are positive to camera right, so they must agree.
    assert turned((0.0, 0.0, 2.0), 35.0) == pytest.approx(head_position(35.0, 2.0, 0.0))


@given(VECTOR, VECTOR)
def test_from_to_and_length(start, end):
    assert from_to(start, end) == pytest.approx(np.subtract(end, start))
    assert length(start) == pytest.approx(np.linalg.norm(start))


@given(VECTOR, VECTOR)
def test_cosine_between(a, b):
    expected = np.dot(a, b) / (np.linalg.norm(a) * np.linalg.norm(b))
    assert cosine_between(a, b) == pytest.approx(expected, abs=1e-9)
    assert -1 <= cosine_between(a, b) <= 1


@pytest.mark.parametrize("deg", [0, 15, 30, 45, 60, 75, 90, 120, 180])
def test_angle_between(deg):
    # A unit vector at a known angle (cosine and sine table).
    ray = (np.sin(np.radians(deg)), 0.0, np.cos(np.radians(deg)))
    assert angle_between_deg((0.0, 0.0, 3.0), ray) == pytest.approx(deg, abs=1e-6)


@pytest.mark.parametrize("broken", [MARK, (nan, 0.0, 0.0), (inf, 0.0, 0.0), (0.0, 0.0, -inf)])
def test_no_angle_without_a_direction(broken):
    # Once a coordinate that is no number came out as "square on", cosine 1.
    with pytest.raises(OutOfRange, match="no angle"):
        cosine_between(broken, (1.0, 0.0, 0.0))
    with pytest.raises(OutOfRange, match="no angle"):
        angle_between_deg((1.0, 0.0, 0.0), broken)


@given(VECTOR, st.floats(0.01, 100))
def test_parallel_and_opposite(vector, scale):
    along = tuple(scale * v for v in vector)
    against = tuple(-scale * v for v in vector)
    assert angle_between_deg(vector, along) == pytest.approx(0, abs=1e-5)
    assert angle_between_deg(vector, against) == pytest.approx(180, abs=1e-5)
