"""By hand: what must move, in which order, and what a tick does."""

import pytest

from server.errors import NotFound
from server.studio.document import rig_from_document
from server.studio.faders import Faders, fader_numbers
from server.studio.setting import Setting


def listed(faders: Faders) -> list[tuple[str, int, int, bool]]:
    return [(m.head, m.before, m.number, m.done) for m in faders.moves]


def test_numbers_are_levels_rounded_once_on_the_heads_own_curve() -> None:
    rig = rig_from_document(
        {"room": {"name": "Test"}, "heads": [
            {"name": "Straight", "role": "key"},
            {"name": "Square", "role": "fill", "address": 2, "curve": "square"},
            {"name": "Dark", "role": "hair", "address": 3}]}
    )  # fmt: skip
    setting = Setting().with_outputs({"Straight": 0.255, "Square": 0.25})
    assert fader_numbers(rig, setting) == {"Straight": 26, "Square": 50, "Dark": 0}


def test_largest_change_first_and_a_tick_moves_no_row() -> None:
    faders = Faders().aimed({"Key": 60, "Fill": 10, "Hair": 30, "Rim": 0})
    assert listed(faders) == [("Key", 0, 60, False), ("Hair", 0, 30, False), ("Fill", 0, 10, False)]
    faders = faders.ticked("Hair", 30)
    assert listed(faders)[1] == ("Hair", 0, 30, True)
    assert [m.head for m in faders.moves] == ["Key", "Hair", "Fill"]


def test_the_next_light_starts_from_what_was_ticked() -> None:
    faders = Faders().aimed({"Key": 60, "Fill": 10}).ticked("Key", 60)
    faders = faders.aimed({"Key": 62, "Fill": 40})
    assert listed(faders) == [("Fill", 0, 40, False), ("Key", 60, 62, False)]
    assert listed(faders.all_ticked()) == [("Fill", 0, 40, True), ("Key", 60, 62, True)]
    assert faders.all_ticked().aimed({"Key": 62, "Fill": 41}).moves[0].before == 40


def test_a_tick_is_for_the_number_that_was_shown() -> None:
    """The light went on meanwhile: the fader stands at the old number and must move again."""
    faders = Faders().aimed({"Key": 60}).aimed({"Key": 50}).ticked("Key", 60)
    assert listed(faders) == [("Key", 0, 50, False)]
    assert listed(faders.aimed({"Key": 40})) == [("Key", 60, 40, False)]


def test_a_mistaken_tick_is_taken_back() -> None:
    faders = Faders().aimed({"Key": 60}).ticked("Key", 60)
    assert listed(faders.unticked("Key")) == [("Key", 0, 60, False)]
    with pytest.raises(NotFound, match="Key"):
        faders.ticked("Kex", 3)


def test_the_same_light_again_changes_nothing() -> None:
    faders = Faders().aimed({"Key": 60}).ticked("Key", 60)
    assert faders.aimed({"Key": 60}) is faders
    assert Faders().aimed({"Key": 0}).moves == ()
