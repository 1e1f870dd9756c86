"""Whatever changes under a lit head, the light fades: no channel jumps, none falls to dark at once.

Frames are read as they would be sent; a jump is more than a tenth of the way in one of them.
"""

from dataclasses import replace
from itertools import pairwise

import pytest

from server.live.engine import Engine
from server.live.output import OutputStatus, Timeline
from server.studio.document import rig_from_document
from server.studio.history import Change
from server.studio.rig import Rig

FRAME_S = 1 / 44


class Line:
    """An output that can tell what it shows: the frames of the newest timeline by the clock."""

    def __init__(self, shown: dict[int, bytes] | None = None) -> None:
        self.timeline: Timeline | None = None
        self.now = 0.0
        self._shown = shown or {}

    def play(self, timeline: Timeline) -> None:
        self.timeline = timeline

    def shown(self) -> dict[int, bytes]:
        if self.timeline is None:
            return self._shown
        due = [frame for moment, frame in self.timeline.frames if moment <= self.now + 1e-9]
        return dict(due[-1]) if due else {}

    def status(self) -> OutputStatus:
        return OutputStatus("network", True)

    def stop(self, *, terminate: bool = True) -> None:
        """Nothing to end."""


def rig_of(**fill: object) -> Rig:
    return rig_from_document(
        {"room": {"name": "Test"}, "heads": [
            {"name": "Key", "role": "key", "address": 1},
            {"name": "Fill", "role": "fill", "address": 5, "placement": {"azimuth_deg": 0}} | fill,
        ]}
    )  # fmt: skip


class Studio:
    """An engine on a line, with a clock that is moved by hand."""

    def __init__(self, rig: Rig, shown: dict[int, bytes] | None = None, record=None) -> None:
        self.line = Line(shown)
        self.changes: list[Change] = []
        self.engine = Engine(
            rig, self.line, self.changes.append, record=record, clock=lambda: self.line.now
        )

    def run(self, seconds: float, slot: int) -> list[int]:
        """What a slot shows, frame by frame."""
        values = []
        for _ in range(round(seconds / FRAME_S)):
            values.append(self.line.shown().get(1, bytes(512))[slot - 1])
            self.line.now += FRAME_S
        return values


@pytest.fixture
def studio() -> Studio:
    studio = Studio(rig_of())
    studio.engine.set_levels({"Key": 60, "Fill": 80})
    studio.line.now = 10.0
    assert studio.run(0.1, 5) == [204] * 4
    return studio


def steps(values: list[int]) -> int:
    return max(abs(b - a) for a, b in pairwise(values))


def test_eight_to_sixteen_bits_shows_the_same_light(studio: Studio) -> None:
    studio.engine.replace_rig(rig_of(bits=16))
    values = studio.run(2.0, 5)
    assert steps(values) <= 1
    assert values[-1] == 204
    studio.engine.replace_rig(rig_of())
    assert steps(studio.run(2.0, 5)) <= 1


def test_a_head_that_is_taken_out_fades_out(studio: Studio) -> None:
    rig = rig_of()
    studio.engine.replace_rig(replace(rig, heads=rig.heads[:1]))
    values = studio.run(2.0, 5)
    assert values[0] > 190
    assert steps(values) <= 20
    assert values[-1] == 0


def test_a_tap_in_the_middle_does_not_cut_a_leaving_channel_off(studio: Studio) -> None:
    rig = rig_of()
    studio.engine.replace_rig(replace(rig, heads=rig.heads[:1]))
    values = studio.run(0.4, 5)
    studio.engine.nudge(head="Key", thirds=1)
    values += studio.run(1.5, 5)
    assert steps(values) <= 40  # a nudge is quicker, but no cut
    assert 0 not in values[:20]
    assert values[-1] == 0


def test_another_address_fades_over(studio: Studio) -> None:
    studio.engine.replace_rig(rig_of(address=100))
    at = studio.line.now
    old = studio.run(2.0, 5)
    studio.line.now = at
    new = studio.run(2.0, 100)
    assert old[0] > 190
    assert steps(old) <= 20
    assert old[-1] == 0
    assert new[0] < 20
    assert steps(new) <= 20
    assert new[-1] == 204


def test_another_universe_goes_on_until_it_is_dark(studio: Studio) -> None:
    studio.engine.replace_rig(rig_of(universe=2))
    first = studio.line.shown()
    assert set(first) == {1, 2}
    assert steps(studio.run(2.0, 5)) <= 20


def test_a_curve_that_is_put_right_keeps_the_light_where_it_is_and_fades(studio: Studio) -> None:
    studio.engine.replace_rig(rig_of(curve="square"))
    values = studio.run(2.0, 5)
    assert values[0] in range(202, 208)
    assert steps(values) <= 6
    assert values[-1] == round(255 * 0.8**0.5)  # the output stays 80 %


def test_a_server_that_starts_again_fades_from_what_the_keeper_shows(studio: Studio) -> None:
    """The keeper shows a dim good frame that was looked at; the record says more light."""
    record = studio.changes[-1].record
    frame = bytearray(512)
    frame[0], frame[4], frame[40] = 10, 20, 90  # a channel of nobody is lit too
    again = Studio(rig_of(), {1: bytes(frame)}, record)
    at = again.line.now
    key = again.run(2.5, 1)
    assert key[0] in range(10, 20)
    assert steps(key) <= 20
    assert key[-1] == 153
    again.line.now = at
    stray = again.run(2.5, 41)
    assert stray[0] > 80
    assert steps(stray) <= 10
    assert stray[-1] == 0


def test_a_server_that_starts_again_leaves_the_same_light_alone(studio: Studio) -> None:
    frame = bytearray(512)
    frame[0], frame[4] = 153, 204
    record = replace(studio.changes[-1].record, way=None)
    again = Studio(rig_of(), {1: bytes(frame)}, record)
    assert len(again.line.timeline.frames) == 1


def test_a_new_database_sets_off_from_the_light_that_is_there() -> None:
    """The record is gone, the keeper still shows a light: the first tap fades from it."""
    frame = bytearray(512)
    frame[0], frame[4] = 203, 120
    studio = Studio(rig_of(), {1: bytes(frame)})
    assert studio.line.timeline is None  # nothing is sent before a first light is asked for
    studio.engine.set_levels({"Key": 10, "Fill": 0})
    key = studio.run(1.5, 1)
    assert key[0] > 190
    assert steps(key) <= 20
    assert key[-1] == 26


def test_quick_taps_count_as_the_one_rise_they_are() -> None:
    """Three times two stops up within half a second take 1.5 s, as six stops at once would."""
    studio = Studio(rig_of())
    studio.engine.set_levels({"Key": 1.5, "Fill": 0})
    studio.line.now = 10.0
    for _ in range(3):
        studio.engine.nudge(head="Key", thirds=6)
        studio.line.now += 0.1
    before = studio.line.shown()[1][0]
    rise = studio.run(0.8, 1)
    assert before < 40
    assert max(rise) < 200  # 96 % would be 245
    assert studio.run(2.0, 1)[-1] == round(255 * 0.015 * 64 + 0.001)


def test_the_same_look_asked_for_sooner_comes_sooner() -> None:
    studio = Studio(rig_of())
    studio.engine.set_levels({"Key": 60}, fade_s=30.0)
    studio.line.now += 1.0
    studio.engine.set_levels({"Key": 60}, fade_s=0.0)
    assert studio.run(2.0, 1)[-1] == 153
