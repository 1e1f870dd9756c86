"""Amps per circuit.

Watts over volts times power factor; NEC 210.20(A) for the planning share of 80 %; lamp rerating for
dimmed tungsten (power V**1.6, current V**0.55, light V**3.4).
"""

from typing import Any

import pytest

from server.studio.document import rig_from_document
from server.studio.load import circuit_loads, neutral_load, trips, worst_of_change, worst_of_order
from server.studio.rig import Rig


def rig_of(heads: list[tuple[str, float, str]], volts: float, amps: float, **circuit: Any) -> Rig:
    """Heads as (name, watts, lamp) on one circuit."""
    return rig_from_document(
        {"room": {"name": "R", "mains_volts": volts,
                  "circuits": [{"name": "A", "breaker_amps": amps, **circuit}]},
         "heads": [{"name": n, "role": "key", "address": i + 1, "watts": w, "lamp": lamp,
                    "cct_kelvin": 3200, "circuit": "A"} for i, (n, w, lamp) in enumerate(heads)]}
    )  # fmt: skip


def test_story_17_dimmed_tungsten_carries_its_lamps_current() -> None:
    """Two 1000 W a stop down and 300 W at full on 20 A, 120 V: watts say 14.5 A, the breaker
    carries 17.4 A."""
    rig = rig_of([("One", 1000, "tungsten"), ("Two", 1000, "tungsten"), ("Three", 300, "led")],
                 120, 20)  # fmt: skip
    load = circuit_loads(rig, {"One": 0.5, "Two": 0.5, "Three": 1.0})[0]
    assert load.amps_now == pytest.approx(17.4, abs=0.05)
    by_watts = (2 * 1000 * 0.5 ** (1.6 / 3.4) + 300) / 120
    assert by_watts == pytest.approx(14.5, abs=0.05)
    assert load.over
    assert load.amps_full == pytest.approx(19.17, abs=0.01)
    assert load.limit_amps == 16


def test_story_18_two_more_heads_before_the_plug_goes_in() -> None:
    """Eight of 200 W at 230 V are 7.0 A of 16, well under the 12.8; two of 1000 W more: 15.7 A."""
    eight = [(f"H{i}", 200.0, "led") for i in range(8)]
    load = circuit_loads(rig_of(eight, 230, 16), {f"H{i}": 1.0 for i in range(8)})[0]
    assert load.amps_full == pytest.approx(7.0, abs=0.05)
    assert not load.over
    ten = [*eight, ("Big one", 1000.0, "tungsten"), ("Big two", 1000.0, "tungsten")]
    rig = rig_of(ten, 230, 16)
    load = circuit_loads(rig, {h.name: 1.0 for h in rig.heads})[0]
    assert load.amps_full == pytest.approx(15.7, abs=0.05)
    assert load.limit_amps == pytest.approx(12.8)
    assert load.over


def test_story_19_the_change_between_two_looks_is_the_worst() -> None:
    """One 1000 W lamp each, 120 V: 8.3 A at either end, 14.9 A when both pass a stop down."""
    rig = rig_of([("One", 1000, "tungsten"), ("Two", 1000, "tungsten")], 120, 12)
    first, second = {"One": 1.0, "Two": 0.0}, {"One": 0.0, "Two": 1.0}
    assert circuit_loads(rig, first)[0].amps_now == pytest.approx(8.33, abs=0.01)
    assert circuit_loads(rig, {"One": 0.5, "Two": 0.5})[0].amps_now == pytest.approx(14.9, abs=0.05)
    worst = worst_of_change(rig, first, second)[0]
    assert worst.amps_now == pytest.approx(14.9, abs=0.05)
    assert [c.name for c in trips(rig, first, second)] == ["A"]
    told = worst_of_order(rig, [("Loop", first), ("Split", second), ("Rim", second)])
    assert (told[0].before, told[0].after) == ("Loop", "Split")
    assert told[0].load.amps_now == worst.amps_now


def test_what_cannot_be_too_much_or_is_so_already_is_not_told_again() -> None:
    rig = rig_of([("One", 1000, "tungsten"), ("Two", 1000, "tungsten")], 120, 20)
    assert trips(rig, {"One": 0.0, "Two": 0.0}, {"One": 1.0, "Two": 1.0}) == ()
    small = rig_of([("One", 1000, "tungsten"), ("Two", 1000, "tungsten")], 120, 12)
    full = {"One": 1.0, "Two": 1.0}
    assert trips(small, full, {"One": 1.0, "Two": 0.5}) == ()


def test_the_neutral_of_three_phases() -> None:
    """Equal phases cancel, one alone comes back whole; phase-cut dimmers are told apart."""
    circuits = [{"name": p, "breaker_amps": 16, "phase": p} for p in ("L1", "L2", "L3")]
    rig = rig_from_document(
        {"room": {"name": "R", "mains_volts": 230, "circuits": circuits},
         "heads": [{"name": p, "role": "key", "address": i + 1, "watts": 2300, "circuit": p,
                    "lamp": "tungsten" if p == "L1" else "led"}
                   for i, p in enumerate(("L1", "L2", "L3"))]}
    )  # fmt: skip
    told = neutral_load(rig, {"L1": 1.0, "L2": 1.0, "L3": 1.0})
    assert told is not None
    assert told.neutral_amps == pytest.approx(0, abs=1e-6)
    assert told.phase_cut
    alone = neutral_load(rig, {"L1": 0.0, "L2": 1.0, "L3": 0.0})
    assert alone is not None
    assert alone.neutral_amps == pytest.approx(10)
    assert neutral_load(rig_of([("One", 100, "led")], 230, 16), {"One": 1.0}) is None
