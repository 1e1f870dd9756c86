"""Which light makes a picture: tones made from known light give that light back.

Inverse-square and cosine as everywhere; oracle of the mix: scipy.optimize.least_squares in stops.
"""

from dataclasses import replace
from math import log2

import numpy as np
import pytest
from scipy.optimize import least_squares

from server.errors import Refused
from server.studio.light import light_matrix
from server.studio.likeness import mixed_like, most_alike
from server.studio.rig import Lens
from server.studio.setting import Setting, exact_stops
from tests.studio.test_carry import look_of, room


def lux_of(rig, **outputs: float) -> dict[str, float]:
    matrix = light_matrix(rig, 0.0)
    return {p.name: matrix.lux(p.name, outputs) for p in rig.points}


def tones_of(rig, exposure: float = 0.0, **outputs: float) -> dict[str, float]:
    return {name: log2(lux) + exposure for name, lux in lux_of(rig, **outputs).items()}


def start(rig, lens: Lens = Lens(400, 1 / 125, 10), **outputs: float) -> Setting:  # noqa: B008
    return Setting({h.name: exact_stops(outputs.get(h.name, 0.0)) for h in rig.heads}, lens)


def test_the_likest_look_comes_first_whatever_the_exposure() -> None:
    rig = room(1.8, 1.8)
    looks = [look_of(rig, name, Key=0.4, Fill=fill, Ground=0.2)
             for name, fill in (("Hard", 0.02), ("Three", 0.2), ("Soft", 0.8))]  # fmt: skip
    found = most_alike(rig, looks, tones_of(rig, -7.3, Key=0.4, Fill=0.21, Ground=0.2))
    assert [a.look.name for a in found] == ["Three", "Soft", "Hard"]
    assert found[0].rms_stops < 0.1
    # how far a look is off, point by point, exposure apart: the weighted mean of these is none
    off = dict(found[1].off)
    plain = {p: log2(b / a) for (p, a), b in zip(
        lux_of(rig, Key=0.4, Fill=0.21, Ground=0.2).items(),
        lux_of(rig, Key=0.4, Fill=0.8, Ground=0.2).values(), strict=True)}  # fmt: skip
    mean = (plain["cheek right"] + plain["cheek left"] + 0.5 * plain["background"]) / 2.5
    assert off == pytest.approx({p: v - mean for p, v in plain.items()})


def test_a_mix_is_found_for_the_picture_and_the_lit_side_is_as_the_lens_wants() -> None:
    rig = room(1.8, 1.8)
    tones = tones_of(rig, 3.0, Key=0.3, Fill=0.05, Ground=0.1)
    lens = Lens(400, 1 / 125, 5.6)
    found = mixed_like(rig, tones, start(rig, lens, Key=0.5, Fill=0.5, Ground=0.5))
    assert found.rms_stops < 0.02
    lit = found.ratio.lit_lux
    assert lit == pytest.approx(32 * 125 / 400 * 250, rel=0.02)  # N**2 / t = E S / C, N**2 = 32
    assert found.lens.advice is None
    got = {h.name: found.setting.output(h) for h in rig.heads}
    assert got["Key"] / got["Fill"] == pytest.approx(6.0, rel=0.03)


def test_a_head_without_the_light_takes_all_down_and_the_lens_is_told() -> None:
    rig = room(1.8, 1.8)
    tones = tones_of(rig, 0.0, Key=0.9, Fill=0.15, Ground=0.1)
    bright = start(rig, Lens(100, 1 / 250, 16), Key=0.5, Fill=0.5, Ground=0.5)
    found = mixed_like(rig, tones, bright)
    assert found.rms_stops < 0.02
    assert found.setting.output(rig.head("Key")) == pytest.approx(1.0, abs=0.001)
    assert found.setting.lens == bright.lens  # it is the photographer's
    assert found.lens.advice


def test_a_dark_head_comes_in_only_when_it_is_needed() -> None:
    rig = room(1.8, 1.8)
    tones = tones_of(rig, 0.0, Key=0.3, Fill=0.1, Ground=0.3)
    needed = mixed_like(rig, tones, start(rig, Key=0.3, Fill=0.1))
    assert needed.setting.output(rig.head("Ground")) > 0.1
    face = {p.name: tones[p.name] for p in rig.face_points}
    spared = mixed_like(rig, face, start(rig, Key=0.3, Fill=0.1))
    assert spared.setting.of(rig.head("Ground")) is None
    assert spared.rms_stops < 0.02


@pytest.mark.parametrize("seed", range(40))
def test_the_mix_is_as_near_as_scipy_comes(seed: int) -> None:
    chance = np.random.default_rng(seed)
    rig = room(*chance.uniform(1.5, 2.5, 2))
    wanted = dict(zip(("Key", "Fill", "Ground"), chance.uniform(0.05, 0.4, 3), strict=True))
    tones = {n: t + chance.uniform(-0.1, 0.1) for n, t in tones_of(rig, **wanted).items()}
    found = mixed_like(rig, tones, start(rig, Key=0.3, Fill=0.3, Ground=0.3))
    matrix = light_matrix(rig, 0.0)
    rows = np.array([[matrix.at[n][h.name] for h in rig.heads] for n in tones])
    weight = np.sqrt(np.array([1.0, 1.0, 0.5]))

    def off(x: np.ndarray) -> np.ndarray:
        apart = np.log2(rows @ x) - np.array(list(tones.values()))
        return weight * (apart - np.average(apart, weights=weight**2))

    best = least_squares(off, list(wanted.values()), bounds=(1e-4, 1), xtol=1e-12)
    rms = float(np.sqrt(2 * best.cost / np.sum(weight**2)))
    assert found.rms_stops <= rms + 0.02


def test_too_few_points_and_darkness_are_said() -> None:
    rig = room(1.8, 1.8)
    one = {"cheek right": -1.0, "background": -3.0}
    with pytest.raises(Refused, match="two points on the face"):
        most_alike(rig, [], one)
    with pytest.raises(Refused, match="two points on the face"):
        mixed_like(rig, one, start(rig, Key=0.5))
    both = {"cheek right": -1.0, "cheek left": -3.0}
    with pytest.raises(Refused, match="no head is lit"):
        mixed_like(rig, both, start(rig))
    assert most_alike(rig, [look_of(rig)], both) == ()
    gone = replace(rig, heads=rig.heads[:1])
    assert most_alike(gone, [look_of(rig, Key=0.4, Fill=0.2)], both) == ()
