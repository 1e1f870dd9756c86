"""The channel walk: what was seen, and a patch mended from it."""

import pytest

from server.errors import OutOfRange, Refused
from server.studio.document import rig_from_document
from server.studio.setting import Setting
from server.studio.walk import GLOW_OUTPUT, Walk, channel_of, glow, mended

RIG = rig_from_document(
    {"room": {"name": "Test"}, "heads": [
        {"name": "Key", "role": "key", "address": 1, "bits": 16},
        {"name": "Fill", "role": "fill", "address": 3},
        {"name": "Hair", "role": "hair", "address": 4},
        {"name": "Rim", "role": "rim", "address": 5, "universe": 2}]}
)  # fmt: skip
NAMES = tuple(h.name for h in RIG.heads)


def walked(**seen: str) -> Walk:
    walk = Walk(NAMES)
    while walk.lit is not None:
        walk = walk.saw(walk.lit, seen.get(walk.lit, walk.lit))
    return walk


def test_one_head_glows_low_and_alone() -> None:
    before = Setting().with_outputs({"Key": 1.0, "Fill": 0.5})
    there = glow(before, RIG, "Hair")
    assert [there.output(h) for h in RIG.heads] == [0, 0, GLOW_OUTPUT, 0]
    assert GLOW_OUTPUT <= 1 / 16


def test_all_right() -> None:
    walk = walked()
    assert (walk.crossed, walk.silent, walk.can_mend) == ({}, (), False)
    with pytest.raises(Refused):
        mended(RIG, walk)


def test_two_swapped_channels_are_told_and_mended() -> None:
    """The channel of Key (16 bits) lights Fill, and the channel of Fill lights Key."""
    walk = walked(Key="Fill", Fill="Key")
    assert walk.crossed == {"Key": "Fill", "Fill": "Key"}
    after = mended(RIG, walk)
    assert channel_of(after.head("Fill")) == channel_of(RIG.head("Key")) == (1, 1, 16)
    assert channel_of(after.head("Key")) == (1, 3, 8)
    assert after.head("Hair") == RIG.head("Hair")


def test_three_in_a_ring_over_two_universes() -> None:
    after = mended(RIG, walked(Fill="Hair", Hair="Rim", Rim="Fill"))
    assert [channel_of(after.head(n)) for n in ("Fill", "Hair", "Rim")] == [
        (2, 5, 8), (1, 3, 8), (1, 4, 8),
    ]  # fmt: skip


@pytest.mark.parametrize("seen", [{"Key": "Fill"}, {"Key": "Fill", "Fill": "Fill"},
                                  {"Key": "Fill", "Fill": ""}])  # fmt: skip
def test_what_does_not_add_up_is_not_mended(seen: dict[str, str]) -> None:
    walk = walked(**seen)
    assert not walk.can_mend
    with pytest.raises(Refused, match="add up"):
        mended(RIG, walk)


def test_nothing_seen_is_told_and_hinders_no_mending_elsewhere() -> None:
    walk = walked(Key="Fill", Fill="Key", Rim="")
    assert walk.silent == ("Rim",)
    assert walk.can_mend


def test_an_answer_counts_for_the_channel_that_glowed() -> None:
    walk = Walk(NAMES).saw("Key", "Key")
    with pytest.raises(Refused, match="already"):
        walk.saw("Key", "Fill")
    with pytest.raises(OutOfRange):
        walk.saw("Fill", "Candle")
