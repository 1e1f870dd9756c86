"""The light on the stand-in obeys the formula that every other figure of the studio uses."""

from dataclasses import replace
from math import acos, degrees, exp, log, sqrt

import numpy as np
import pytest

from server.preview.bust import SKIN
from server.preview.develop import composite
from server.preview.frames import one_light_frame
from server.preview.render import stage_of
from server.preview.scene import STAND_INS, Ambient, Scene, Source

CM = 0.01


def formula_lux(point_m, normal, source):
    """E = I(theta) cos(phi) 2^-s / d^2, with the two-angle beam, in plain Python.

    Inverse square and cosine: CIE e-ILV 17-25-104, photometric distance law. Beam angle between
    the 50 % directions, field angle between the 10 % ones: IES usage; the curve is ours.
    """
    ray = [source.position_m[i] - point_m[i] for i in range(3)]
    d = sqrt(sum(r * r for r in ray))
    axis = [source.aim_m[i] - source.position_m[i] for i in range(3)]
    axis_length = sqrt(sum(a * a for a in axis))
    theta = degrees(acos(-sum(r * a for r, a in zip(ray, axis, strict=True)) / (d * axis_length)))
    n = log(log(10) / log(2)) / log(source.field_deg / source.beam_deg)
    candela = source.candela * exp(-log(2) * (theta / (source.beam_deg / 2)) ** n)
    cos_phi = sum(r * m for r, m in zip(ray, normal, strict=True)) / d
    return candela * 2**-source.scrim_stops * max(0.0, cos_phi) / d**2


def cheek_rows(stage):
    """Rows of the cheek on the sitter's +x side."""
    x, y, z = stage.view.point.T
    on_cheek = (x - 3.9) ** 2 + (y + 3.6) ** 2 < 0.9**2
    return np.flatnonzero((stage.surface.material == SKIN) & on_cheek & (z > 2))


def lux_in_frame(stage, frame, rows):
    return frame.reshape(-1)[stage.view.pixel[rows]] / stage.surface.reflectance[rows]


@pytest.mark.parametrize("yaw_deg", [0.0, 25.0])
@pytest.mark.parametrize("distance_m", [1.0, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("scrim_stops", [0.0, 1.5])
def test_lit_cheek_reads_what_the_formula_says(bare, head, baked, yaw_deg, distance_m, scrim_stops):
    scene = replace(bare, yaw_deg=yaw_deg)
    source = head(50 + yaw_deg, 30, distance_m, scrim_stops=scrim_stops)
    stage = stage_of(scene, baked)
    rows = cheek_rows(stage)
    assert len(rows) > 20
    got = lux_in_frame(stage, one_light_frame(scene, source, baked), rows)
    turn = stage.view.turn.astype(float)
    wanted = [
        formula_lux(CM * (turn @ stage.view.point[i]), turn @ stage.view.normal[i], source)
        for i in rows
    ]
    assert got == pytest.approx(np.array(wanted), rel=0.03)


def test_light_falls_with_the_square_of_the_distance(bare, head, baked):
    """CIE e-ILV 17-25-104, photometric distance law, measured along the cheek's own normal."""
    stage = stage_of(bare, baked)
    rows = cheek_rows(stage)
    middle = CM * stage.view.point[rows].mean(axis=0).astype(float)
    normal = stage.view.normal[rows].mean(axis=0).astype(float)
    normal /= np.linalg.norm(normal)
    lux = {}
    for d in (1.0, 1.5, 2.0, 3.0):
        place = tuple(middle + d * normal)
        source = head(0, 0, 1.0, 0.1, position_m=place, aim_m=tuple(middle))
        lux[d] = lux_in_frame(stage, one_light_frame(bare, source, baked), rows).mean()
    # the patch is 18 mm across and curved: 1 % is what its edges' other cosine leaves
    for d in (1.5, 2.0, 3.0):
        assert lux[1.0] / lux[d] == pytest.approx(d * d, rel=0.01)


def test_a_big_near_source_gives_the_same_illuminance(bare, head, baked):
    """Size softens the shadow; what falls on an open cheek is still set by the candela."""
    stage = stage_of(bare, baked)
    rows = cheek_rows(stage)
    small, big = (
        lux_in_frame(stage, one_light_frame(bare, head(50, 30, 1.2, size), baked), rows).mean()
        for size in (0.1, 0.8)
    )
    assert big == pytest.approx(small, rel=0.03)


def test_light_adds(bare, head, baked):
    """Two heads lit together at a point give the sum: drawn here as one source of their candela."""
    scene = replace(bare, bounce=0.012, gloss=True)
    one, two = head(40, 30, candela=4000.0), head(40, 30, candela=5000.0)
    together = one_light_frame(scene, head(40, 30, candela=9000.0), baked)
    apart = composite(
        [one_light_frame(scene, one, baked), one_light_frame(scene, two, baked)], [1.0, 1.0]
    )
    assert apart == pytest.approx(together, rel=1e-5, abs=1e-4)


def test_output_scales_and_order_does_not_matter(bare, head, baked):
    key, fill = (one_light_frame(bare, head(az, 20), baked) for az in (45, -20))
    look = composite([key, fill], [0.5, 0.25])
    assert look == pytest.approx(0.5 * key + 0.25 * fill, rel=1e-6)
    assert composite([fill, key], [0.25, 0.5]) == pytest.approx(look, rel=1e-6)


def test_a_third_of_a_stop_in_scrim(bare, head, baked):
    """A scrim of 1/3 stop passes 2^(-1/3) of the light (by definition of the stop)."""
    full = one_light_frame(bare, head(45, 30), baked)
    less = one_light_frame(bare, head(45, 30, scrim_stops=1 / 3), baked)
    assert less == pytest.approx(full * 2 ** (-1 / 3), rel=1e-5)


def test_background_gets_cosine_and_inverse_square(head, baked):
    """Outside the sitter's shadow the plane reads E = I cos / d^2 (CIE e-ILV 17-25-104)."""
    scene = Scene(
        "one", 0.0, 1.2, 0.5, width=96, height=120, supersample=1, bounce=0.0, gloss=False
    )
    source = Source((1.5, 1.0, 0.5), (0.2, 0.15, -1.2), 0.1, 9000.0, 100.0, 130.0)
    frame = one_light_frame(scene, source, baked)
    # the ray of the pixel in the top right corner, followed to the plane z = -1.2 m
    stage = stage_of(scene, baked)
    spot = CM * stage.backdrop.reshape(120, 96, 3)[2, -3].astype(float)
    assert spot[2] == pytest.approx(-1.2)
    assert frame[2, -3] == pytest.approx(0.5 * formula_lux(spot, (0, 0, 1), source), rel=0.01)


def test_head_behind_the_background_lights_nothing_in_front(bare, baked):
    source = Source((0.0, 0.5, -2.5), (0.0, 0.0, -4.0), 0.1, 9000.0, 40.0, 60.0)
    assert one_light_frame(bare, source, baked).max() < 1e-3


def test_positive_yaw_turns_the_nose_to_camera_right(bare, baked):
    stage = stage_of(replace(bare, yaw_deg=30.0), baked)
    tip = stage.view.pixel[stage.view.point[:, 2].argmax()]
    assert tip % bare.width > bare.width * 0.55


def test_a_head_at_camera_right_lights_the_camera_right_cheek(bare, head, baked):
    frame = one_light_frame(bare, head(70, 10), baked)[40:90]
    half = bare.width // 2
    camera_left, camera_right = frame[:, half - 20 : half - 6], frame[:, half + 6 : half + 20]
    assert camera_right.mean() > 4 * camera_left.mean()


def test_even_light_reaches_every_pixel(bare, baked):
    frame = one_light_frame(bare, Ambient(100.0), baked)
    assert frame.min() > 0
    assert frame.max() <= 100.0 * 0.45  # no surface drawn reflects more


def test_every_stand_in_can_be_drawn(head, baked):
    assert len(STAND_INS) >= 2
    levels = {}
    for name, who in STAND_INS.items():
        scene = Scene(name, 0.0, width=64, height=80, supersample=1, bounce=0.0, gloss=False)
        assert 0.10 <= who.skin_reflectance <= 0.45
        frame = one_light_frame(scene, head(0, 20), baked)
        assert np.isfinite(frame).all()
        levels[name] = float(np.median(frame[25:30, 26:38]))  # forehead
    # the darker skin gives less light back, in proportion to its luminance factor
    ratio = STAND_INS["three"].skin_reflectance / STAND_INS["two"].skin_reflectance
    assert levels["three"] / levels["two"] == pytest.approx(ratio, rel=0.15)
