"""Amps per circuit: at full, now, and at the worst moment of a change. Planning figures only."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.physics.lamp import tungsten_amps
from server.physics.lightness import between
from server.physics.load import mains_amps
from server.studio.head import Head
from server.studio.rig import Rig

FADE_SAMPLES = 24


@dataclass(frozen=True)
class CircuitLoad:
    """One circuit. Amps; `over` compares the amps now with the planning limit."""

    name: str
    amps_full: float
    amps_now: float
    limit_amps: float
    breaker_amps: float

    @property
    def over(self) -> bool:
        """Beyond the planning limit now."""
        return self.amps_now > self.limit_amps


def head_amps(head: Head, mains_volts: float, output: float) -> float:
    """Mains current of a head at an output. [A]

    LED: proportional to the light. Tungsten: the lamp's current, which falls much slower.
    """
    full = mains_amps(head.watts, mains_volts, head.power_factor)
    return tungsten_amps(full, output) if head.lamp == "tungsten" else full * output


def circuit_loads(rig: Rig, outputs: Mapping[str, float]) -> tuple[CircuitLoad, ...]:
    """Every circuit of the room with its load at full and at these outputs."""
    volts = rig.room.mains_volts
    loads = []
    for circuit in rig.room.circuits:
        heads = [h for h in rig.heads if h.circuit == circuit.name]
        loads.append(
            CircuitLoad(
                name=circuit.name,
                amps_full=circuit.other_amps + sum(head_amps(h, volts, 1.0) for h in heads),
                amps_now=circuit.other_amps
                + sum(head_amps(h, volts, outputs[h.name]) for h in heads),
                limit_amps=rig.room.limit_amps(circuit),
                breaker_amps=circuit.breaker_amps,
            )
        )
    return tuple(loads)


def worst_of_change(
    rig: Rig, start: Mapping[str, float], end: Mapping[str, float]
) -> tuple[CircuitLoad, ...]:
    """Every circuit at its worst moment between two lights, both ends included.

    Two lamps that pass each other half-way can draw more together than either light alone.
    """
    worst: dict[str, CircuitLoad] = {}
    for step in range(FADE_SAMPLES + 1):
        outputs = {name: between(start[name], end[name], step / FADE_SAMPLES) for name in start}
        for load in circuit_loads(rig, outputs):
            known = worst.get(load.name)
            if known is None or load.amps_now > known.amps_now:
                worst[load.name] = load
    return tuple(worst.values())
