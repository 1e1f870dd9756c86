"""Heads placed by azimuth and elevation."""

from math import cos, radians, sin

import pytest

from server.preview.scene import Scene, Source


@pytest.fixture(scope="session")
def head():
    """Make a head: azimuth and elevation as seen from the mark, aimed at it."""

    def place(azimuth_deg, elevation_deg, distance_m=1.5, diameter_m=0.2, **changes):
        a, e = radians(azimuth_deg), radians(elevation_deg)
        position = (
            distance_m * sin(a) * cos(e),
            distance_m * sin(e),
            distance_m * cos(a) * cos(e),
        )
        values = {
            "position_m": position,
            "aim_m": (0.0, 0.0, 0.0),
            "diameter_m": diameter_m,
            "candela": 9000.0,
            "beam_deg": 50.0,
            "field_deg": 65.0,
        }
        return Source(**(values | changes))

    return place


@pytest.fixture(scope="session")
def bare():
    """A small scene with direct light alone: no bounce, no gloss."""
    return Scene("one", 0.0, width=96, height=120, supersample=1, bounce=0.0, gloss=False)
