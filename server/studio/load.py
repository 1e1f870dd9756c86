"""Amps per circuit: at full, now, and at the worst moment of a change. Planning figures only."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from server.physics.lamp import tungsten_amps
from server.physics.lightness import between
from server.physics.load import mains_amps, neutral_amps
from server.studio.head import Head
from server.studio.rig import Rig
from server.studio.room import PHASES

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


def trips(
    rig: Rig, start: Mapping[str, float], end: Mapping[str, float]
) -> tuple[CircuitLoad, ...]:
    """Circuits whose breaker's rating a change would pass, at their worst moment.

    One that is beyond it already and gets no worse is not told again.
    """
    before = {c.name: c for c in circuit_loads(rig, start)}
    if all(c.amps_full <= c.breaker_amps for c in before.values()):
        return ()  # nothing that can be lit is too much
    return tuple(
        c
        for c in worst_of_change(rig, start, end)
        if c.amps_now > max(c.breaker_amps, before[c.name].amps_now)
    )


@dataclass(frozen=True)
class NeutralLoad:
    """A three-phase supply: amps of each phase now, and of their neutral were they sine waves."""

    phases: tuple[tuple[str, float], ...]
    neutral_amps: float
    phase_cut: bool
    """Tungsten heads hang on it: a phase-cut dimmer's neutral then carries more than the sum."""


def neutral_load(rig: Rig, outputs: Mapping[str, float]) -> NeutralLoad | None:
    """What the neutral of the room's phases carries; None in a room of one phase."""
    by_phase = dict.fromkeys(PHASES, 0.0)
    phases = {c.name: c.phase for c in rig.room.circuits}
    if len({p for p in phases.values() if p}) < 2:
        return None
    for load in circuit_loads(rig, outputs):
        if phases[load.name]:
            by_phase[phases[load.name]] += load.amps_now
    return NeutralLoad(
        tuple(by_phase.items()),
        neutral_amps(*by_phase.values()),
        any(h.lamp == "tungsten" and phases.get(h.circuit) for h in rig.heads),
    )


def worst_of_change(
    rig: Rig, start: Mapping[str, float], end: Mapping[str, float]
) -> tuple[CircuitLoad, ...]:
    """Every circuit at its worst moment between two lights, both ends included.

    Two lamps that pass each other half-way can draw more together than either light alone. Counted
    for steps equal to the eye, as fades go, and for steps equal in light, where both are a stop
    down at once: the worse of the two.
    """
    worst: dict[str, CircuitLoad] = {}
    for step in range(FADE_SAMPLES + 1):
        part = step / FADE_SAMPLES
        seen = {name: between(start[name], end[name], part) for name in start}
        even = {name: start[name] + part * (end[name] - start[name]) for name in start}
        for load in (*circuit_loads(rig, seen), *circuit_loads(rig, even)):
            known = worst.get(load.name)
            if known is None or load.amps_now > known.amps_now:
                worst[load.name] = load
    return tuple(worst.values())


@dataclass(frozen=True)
class WorstChange:
    """Where in a running order a circuit carries most: within a look, or between two."""

    load: CircuitLoad
    before: str
    after: str


def worst_of_order(
    rig: Rig, lights: Sequence[tuple[str, Mapping[str, float]]]
) -> tuple[WorstChange, ...]:
    """Every circuit's worst moment in a running order, each light changing to the next."""
    worst: dict[str, WorstChange] = {}
    pairs = list(pairwise(lights)) or [(light, light) for light in lights]
    for (before, start), (after, end) in pairs:
        for load in worst_of_change(rig, start, end):
            known = worst.get(load.name)
            if known is None or load.amps_now > known.load.amps_now:
                worst[load.name] = WorstChange(load, before, after)
    return tuple(worst.values())
