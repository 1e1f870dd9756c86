"""Moving a head. Lengths by the right triangle, worked by hand: a foot 2 m from the mark and a lens
1.5 m up are 2.5 m apart."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import NotFound, OutOfRange, Refused
from server.physics.beam import Beam, BeamRow
from server.studio.head import Head, Placement
from server.studio.placing import GRAIN_M, dragged, focused, raised, scrimmed, stepped

ZOOM = (BeamRow(0.0, Beam(60000, 11, 20)), BeamRow(1.0, Beam(9000, 50, 66)))
HEAD = Head("Key", "key", beam=ZOOM, placement=Placement(45.0, 2.5, 1.5, 0.5))


def test_the_foot_of_the_stand_stays_when_the_lens_goes_up() -> None:
    low = raised(HEAD.placement, 0.0)
    assert (low.distance_m, low.rise_m, low.azimuth_deg) == (2.0, 0.0, 45.0)
    assert raised(low, 1.5) == HEAD.placement


def test_a_drag_from_above_moves_the_stand_and_keeps_the_height() -> None:
    there = dragged(HEAD.placement, "above", 200.0, 0.0, "m")  # straight to camera right
    assert (there.azimuth_deg, there.distance_m, there.rise_m) == (90.0, 2.5, 1.5)
    behind = dragged(HEAD.placement, "above", 0.0, -200.0, "m")
    assert (behind.azimuth_deg, behind.distance_m) == (180.0, 2.5)


def test_a_drag_from_the_side_only_raises() -> None:
    there = dragged(HEAD.placement, "side", 9999.0, -0.4, "m")
    assert (there.rise_m, there.distance_m) == (0.0, 2.0)
    inches = dragged(HEAD.placement, "side", 0.0, -100 * 20.4 * 0.0254, "ft")
    assert inches.rise_m == pytest.approx(20 * 0.0254)  # whole inches on a tape in inches


@given(
    st.floats(-179, 180), st.floats(0.5, 6), st.floats(-0.4, 0.4), st.integers(-40, 40),
    st.sampled_from(["m", "ft"]),
)  # fmt: skip
def test_a_drag_and_its_steps_agree(
    azimuth: float, distance: float, rise: float, steps: int, units: str
) -> None:
    """Up the stand by so many small steps, or dragged there: the same to a tenth of a millimetre
    once both stand on whole marks."""
    grain = GRAIN_M[units]
    start = raised(Placement(azimuth, distance, rise), round(rise / grain) * grain)
    by_steps = Head("Key", "key", beam=ZOOM, placement=start)
    for _ in range(abs(steps)):
        higher = stepped(by_steps, "rise", grain if steps > 0 else -grain)
        by_steps = Head("Key", "key", beam=ZOOM, placement=higher)
    by_drag = dragged(start, "side", 0.0, -100 * (start.rise_m + steps * grain), units)
    assert by_drag.rise_m == pytest.approx(by_steps.placement.rise_m, abs=1e-4)
    assert by_drag.distance_m == pytest.approx(by_steps.placement.distance_m, abs=1e-4)


def test_steps_there_and_back_meet_again() -> None:
    for what, by in (("azimuth", 5), ("distance", 0.1), ("rise", 0.05), ("focus", 0.1)):
        there = stepped(HEAD, what, by)
        assert there != HEAD.placement
        back = Head("Key", "key", beam=ZOOM, placement=there)
        assert stepped(back, what, -by) == HEAD.placement


def test_round_behind_the_sitter() -> None:
    behind = Head("Key", "key", placement=Placement(179.0, 2.0, 0.5))
    assert stepped(behind, "azimuth", 5).azimuth_deg == -176
    assert stepped(behind, "azimuth", 1).azimuth_deg == 180


def test_focus_and_scrims() -> None:
    assert focused(HEAD, 2.0).focus == 1.0
    flooded = Head("Key", "key", beam=ZOOM, placement=focused(HEAD, 1.0))
    with pytest.raises(Refused, match="full flood already"):
        stepped(flooded, "focus", 0.1)
    with pytest.raises(Refused, match="one beam only"):
        focused(Head("Key", "key"), 0.0)
    one = scrimmed(HEAD, "single", "in")
    assert one.scrim_stops == 0.5
    with pytest.raises(Refused, match="no double scrim in Key"):
        scrimmed(Head("Key", "key", placement=one), "double", "out")
    assert scrimmed(Head("Key", "key", placement=one), "single", "out") == HEAD.placement


@pytest.mark.parametrize(
    ("call", "kind"),
    [
        (lambda: stepped(HEAD, "colour", 1), NotFound),
        (lambda: stepped(HEAD, "distance", float("nan")), OutOfRange),
        (lambda: stepped(HEAD, "distance", -2.0), OutOfRange),  # nearer than it stands high
        (lambda: raised(HEAD.placement, 1e9), OutOfRange),
        (lambda: dragged(HEAD.placement, "below", 1, 1, "m"), NotFound),
        (lambda: dragged(HEAD.placement, "above", float("inf"), 1, "m"), OutOfRange),
        (lambda: dragged(Placement(0, 1.0, 0.0), "above", 0.0, 0.0, "m"), OutOfRange),
        (lambda: scrimmed(HEAD, "silk", "in"), OutOfRange),
    ],
)
def test_what_cannot_be_is_refused(call, kind: type[Exception]) -> None:
    with pytest.raises(kind):
        call()
