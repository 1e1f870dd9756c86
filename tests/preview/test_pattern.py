"""Pattern names as taught, from the rendered nose shadow.

Sources: Navy training course 14209, pp. 7-9 to 7-11 (butterfly: shadow straight under the nose;
Rembrandt: lamp 45 degrees to the side and up; broad and short); Army SS05100028 (the nose shadow
merges with the cheek shadow and leaves a triangle); split at the side: common practice.
"""

import numpy as np
import pytest

from server.preview.chart import chart_of, irradiance, picture
from server.preview.pattern import pattern_of

TAUGHT = [(0, 45, "butterfly"), (30, 30, "loop"), (45, 45, "Rembrandt"), (90, 5, "split")]


@pytest.mark.parametrize(("azimuth", "elevation", "name"), TAUGHT)
@pytest.mark.parametrize("diameter_m", [0.1, 0.25, 0.6])
def test_names_as_taught(head, baked, azimuth, elevation, name, diameter_m):
    got = pattern_of(0.0, [head(azimuth, elevation, 1.8, diameter_m)], [1.0], baked)
    assert (got.name, got.side) == (name, "")


@pytest.mark.parametrize(("azimuth", "elevation", "name"), TAUGHT)
def test_mirror_image_has_the_same_name_and_the_mirrored_light(
    head, baked, azimuth, elevation, name
):
    there, here = head(azimuth, elevation), head(-azimuth, elevation)
    assert pattern_of(0.0, [here], [1.0], baked).name == name
    chart = chart_of(baked)
    one, other = (picture(chart, irradiance(chart, 0.0, [s], [1.0])) for s in (there, here))
    difference = np.abs(one - other[:, ::-1])
    assert difference.max() < 1e-3 * one.max()


def test_from_behind_it_is_a_rim(head, baked):
    assert pattern_of(0.0, [head(140, 20)], [1.0], baked).name == "rim"


def test_low_and_frontal_is_flat(head, baked):
    assert pattern_of(0.0, [head(0, 3)], [1.0], baked).name == "flat"


@pytest.mark.parametrize("azimuth", range(-100, 101, 10))
@pytest.mark.parametrize("elevation", [-20, 0, 9])
def test_no_rembrandt_from_a_low_lamp(head, baked, azimuth, elevation):
    """The lamp belongs well above the eyes (Navy p. 7-11); under 10 degrees none is claimed."""
    got = pattern_of(0.0, [head(azimuth, elevation)], [1.0], baked)
    assert got.name != "Rembrandt"
    assert "Rembrandt" not in (got.between or ())


def test_angle_counts_from_the_nose_not_the_camera(head, baked):
    """ "It has nothing to do with the position of the face relative to the camera" (as taught)."""
    for yaw in (-40.0, 0.0, 30.0):
        assert pattern_of(yaw, [head(yaw + 45, 45)], [1.0], baked).name == "Rembrandt"


@pytest.mark.parametrize(
    ("yaw", "azimuth", "side"),
    # Navy p. 7-9: broad lights the side turned toward the camera, short the side turned away
    [(30, 75, "short"), (30, -15, "broad"), (-30, -75, "short"), (-30, 15, "broad"), (0, 45, "")],
)
def test_broad_and_short(head, baked, yaw, azimuth, side):
    got = pattern_of(float(yaw), [head(azimuth, 45)], [1.0], baked)
    assert got.side == side
    assert got.label == ("Rembrandt, " + side if side else "Rembrandt")


def test_butterfly_has_no_side_on_a_turned_face(head, baked):
    assert pattern_of(30.0, [head(30, 45)], [1.0], baked).label == "butterfly"


def test_between_two_names_near_their_border(head, baked):
    names = [pattern_of(0.0, [head(a, 40)], [1.0], baked) for a in range(28, 50)]
    between = [n for n in names if n.between]
    assert between
    assert {n.between for n in between} == {("loop", "Rembrandt")}
    assert "between loop and Rembrandt" in {n.label for n in between}
    assert names[0].between is None
    assert names[-1].between is None


def test_no_key_has_no_name(head, baked):
    assert pattern_of(0.0, [], [], baked).name == "none"
    assert pattern_of(0.0, [head(45, 45)], [0.0], baked).name == "none"


def test_keys_are_summed_by_their_weight(head, baked):
    """A weak second key does not change the name; a second one as strong fills the split."""
    keys = [head(88, 5), head(-88, 5)]
    assert pattern_of(0.0, keys, [1.0, 0.01], baked).name == "split"
    assert pattern_of(0.0, keys, [1.0, 1.0], baked).name != "split"
    alike = pattern_of(0.0, [head(45, 45), head(45, 45)], [0.2, 0.3], baked)
    assert alike == pattern_of(0.0, [head(45, 45)], [1.0], baked)
