"""What the form of a new head begins with."""

from dataclasses import replace

from server.studio.head import ROLES, SLOTS, Head
from server.studio.next_head import USUAL, next_head
from server.studio.rig import Rig
from server.studio.room import USUAL_POINTS, Circuit, Room

EMPTY = Rig(Room("Attic", circuits=(Circuit("Wall", 16),)))


def grown(rig: Rig, count: int) -> Rig:
    """The rig after so many heads were taken as they were offered."""
    for _ in range(count):
        rig = replace(rig, heads=(*rig.heads, next_head(rig)))
    return rig


def test_roles_come_in_the_order_heads_are_put_up() -> None:
    heads = grown(EMPTY, 4).heads
    assert [(h.name, h.role, h.address) for h in heads] == [
        ("Key", "key", 1), ("Fill", "fill", 2), ("Rim", "rim", 3), ("Background", "background", 4)
    ]  # fmt: skip
    assert {h.circuit for h in heads} == {"Wall"}
    assert heads[3].placement.aim == "background"
    assert set(USUAL) == set(ROLES)


def test_the_lamp_of_the_head_before_is_offered_again() -> None:
    lamp = Head("Hot", "key", universe=2, address=7, bits=16, watts=650, lamp="tungsten",
                cct_kelvin=3200, curve="s-curve", power_factor=0.9)  # fmt: skip
    offered = next_head(replace(EMPTY, heads=(lamp,)))
    assert (offered.universe, offered.address, offered.bits) == (2, 9, 16)
    assert (offered.watts, offered.lamp, offered.cct_kelvin) == (650, "tungsten", 3200)
    assert (offered.role, offered.curve, offered.beam) == ("fill", "s-curve", lamp.beam)


def test_every_offer_may_be_taken_as_it_is() -> None:
    rig = grown(EMPTY, 40)
    assert len({h.name for h in rig.heads}) == 40
    assert rig.heads[8].name == "Accent 3"
    bare = replace(EMPTY, points=USUAL_POINTS[:3], heads=rig.heads[:3])
    assert next_head(bare).placement.aim == "mark"
    last = replace(EMPTY, heads=(Head("Last", "key", address=SLOTS - 1, bits=16),))
    assert next_head(last).address == SLOTS - 1  # taken: the form says so when it is saved
