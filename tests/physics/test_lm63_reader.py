"""Our reader of photometric files against an independent one, photompy (PyPI).

ANSI/IES LM-63 multiplies candela by the multiplier and by the ballast factor; photompy leaves the
latter to its user.
"""

import random
import warnings
from pathlib import Path

import pytest

from server.physics.distribution import axial_curve
from server.physics.lm63 import parse_lm63
from tests.physics.lm63_files import ROUND, written

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its plotting library's own
    from photompy import IESFile


def other(path: Path, text: str) -> IESFile:
    file = path / "lamp.ies"
    file.write_text(text, encoding="ascii", newline="")
    return IESFile.read(file)


@pytest.mark.parametrize("seed", range(40))
def test_two_readers_read_the_same_candela(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    vertical = [0.0, *sorted(chance.sample(range(1, 90), chance.randint(1, 30))), 90.0]
    horizontal = chance.choice([[0.0], [0.0, 45.0, 90.0], [0.0, 90.0, 180.0]])
    rows = [[round(chance.uniform(0, 9e4), 2) for _ in vertical] for _ in horizontal]
    ballast = chance.choice([1.0, 0.9, 1.1])
    multiplier = chance.choice([1.0, 2.5, 0.1])
    text = written(rows, vertical, horizontal, ballast=ballast, multiplier=multiplier, watts=650.0,
                   opening=(0.2, 0.2, 0.0), a_line=chance.randint(1, 12))  # fmt: skip
    ours, theirs = parse_lm63(text), other(tmp_path, text)
    assert list(ours.table.vertical_deg) == list(theirs.photometry.thetas)
    assert list(ours.table.horizontal_deg) == list(theirs.photometry.phis)
    for row, values in zip(ours.table.candelas, theirs.photometry.values, strict=True):
        assert list(row) == pytest.approx([ballast * v for v in values], rel=1e-12)
    assert ours.watts == theirs.header.input_watts
    assert ours.width_m == theirs.header.width


def test_beam_and_field_angle_agree(tmp_path: Path) -> None:
    """Half of the peak at 10 degrees, a tenth at 20: beam 20, field 40 degrees."""
    theirs = other(tmp_path, ROUND).photometry
    curve = axial_curve(parse_lm63(ROUND).table)
    assert curve.beam_deg == pytest.approx(theirs.beam_angle, abs=0.2)
    assert curve.field_deg == pytest.approx(theirs.field_angle, abs=0.2)
