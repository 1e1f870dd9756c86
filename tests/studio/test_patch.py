"""The patch. ANSI E1.11: 512 slots in a universe; a 16-bit head takes two in a row."""

import pytest
from hypothesis import given as tried
from hypothesis import strategies as st

from server.errors import NotFound, OutOfRange, Refused
from server.studio.document import rig_from_document
from server.studio.patch import (
    channels_shown,
    conflicts,
    gaps,
    given,
    sheet,
    swapped,
    universes,
)

RIG = rig_from_document(
    {
        "room": {"name": "Test"},
        "heads": [
            {"name": "Key", "role": "key", "address": 1, "bits": 16},
            {"name": "Fill", "role": "fill", "address": 4},
            {"name": "Hair", "role": "hair", "address": 12},
            {"name": "Rim", "role": "rim", "address": 30, "universe": 3},
        ],
    }
)


def test_a_sheet_shows_halves_and_gaps() -> None:
    slots = sheet(RIG, 1, 12)
    assert [(s.address, s.head.name, s.half) for s in slots if s.head] == [
        (1, "Key", "coarse"), (2, "Key", "fine"), (4, "Fill", ""), (12, "Hair", ""),
    ]  # fmt: skip
    assert gaps(slots) == ("3", "5–11")
    assert gaps(sheet(RIG, 7, 12)) == ("1–12",)
    assert universes(RIG) == (1, 3)
    assert [channels_shown(RIG, u) for u in (1, 2, 3)] == [12, 12, 36]
    assert len(sheet(RIG, 1, 512)) == 512


def test_a_free_channel_is_given_and_a_taken_one_refused_with_both_names() -> None:
    assert given(RIG, "Fill", 1, 3).head("Fill").address == 3
    assert given(RIG, "Fill", 3, 1).head("Fill").universe == 3
    for address in (1, 2):
        with pytest.raises(Refused, match=r"channel \d is Key’s, so Fill"):
            given(RIG, "Fill", 1, address)
    with pytest.raises(Refused, match="channel 4 is Fill’s, so Key"):
        given(RIG, "Key", 1, 3)  # its second half would fall on 4
    assert given(RIG, "Key", 1, 2).head("Key").address == 2  # its own second half is no conflict


def test_two_heads_swap() -> None:
    there = swapped(RIG, "Fill", "Rim")
    assert (there.head("Fill").universe, there.head("Fill").address) == (3, 30)
    assert (there.head("Rim").universe, there.head("Rim").address) == (1, 4)
    assert swapped(there, "Fill", "Rim") == RIG
    with pytest.raises(Refused, match="Key has 16 bits and Fill 8"):
        swapped(RIG, "Key", "Fill")


@pytest.mark.parametrize(
    ("call", "kind"),
    [
        (lambda: given(RIG, "Nobody", 1, 3), NotFound),
        (lambda: given(RIG, "Fill", 1, 513), OutOfRange),
        (lambda: given(RIG, "Key", 1, 512), OutOfRange),
        (lambda: given(RIG, "Fill", 0, 3), OutOfRange),
        (lambda: swapped(RIG, "Key", "Key"), OutOfRange),
        (lambda: sheet(RIG, 0, 12), OutOfRange),
        (lambda: sheet(RIG, 1, 513), OutOfRange),
    ],
)
def test_what_cannot_be_is_refused(call, kind: type[Exception]) -> None:
    with pytest.raises(kind):
        call()


@tried(st.sampled_from(["Key", "Fill", "Hair"]), st.integers(1, 511))
def test_no_way_leads_to_a_shared_channel(name: str, address: int) -> None:
    try:
        there = given(RIG, name, 1, address)
    except Refused:
        there = RIG
    assert conflicts(there.heads) == ()
    assert {h.name for h in there.heads} == {h.name for h in RIG.heads}
