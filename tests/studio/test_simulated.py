"""What a metering pass is worth, in a studio whose errors the tool does not know.

Each share below was measured over all its looks; the same looks without the pass show that the
test can fail. A sixth of a stop is half of what a nudge moves.
"""

import json
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from math import log2
from pathlib import Path
from random import Random
from statistics import median

import pytest

from server.studio.carry import Carried, Carry
from server.studio.document import rig_from_document
from server.studio.figures import Ratio, ratio_of
from server.studio.light import light_matrix
from server.studio.look import Look
from server.studio.rig import Lens, Rig
from server.studio.setting import exact_stops
from server.studio.sure import Sureness, readings_for
from tests.studio.simulated import Errors, Studio, rounded

SIXTH = 1 / 6
WEAKER_STOPS = 4.0
USUAL, BELL, NO_NOISE = Errors(), Errors(bell=True), Errors(meter_stops=0.0)
Outputs = dict[str, float]


@cache
def boathouse() -> Rig:
    """The demo studio with curves whose bytes the simulation can round by itself."""
    rig = rig_from_document(json.loads(Path("demo_data/rig.json").read_text()))
    return replace(rig, heads=tuple(
        replace(h, bits=8, curve=h.curve if h.curve == "linear" else "square", curve_points=())
        for h in rig.heads
    ))  # fmt: skip


def looks(seed: int, count: int, rig: Rig, scale: float = 1.0) -> Iterator[Outputs]:
    """Random looks: one key, the fills, each other head in six of ten."""
    chance = Random(seed)
    keys = [h.name for h in rig.heads if h.role == "key"]
    for _ in range(count):
        key = chance.choice(keys)
        yield {
            h.name: 0.0
            if (h.role == "key" and h.name != key)
            or (h.role not in ("key", "fill") and chance.random() > 0.6)
            else scale * 2 ** -chance.uniform(0.3, 3.0 if h.role == "key" else 4.0)
            for h in rig.heads
        }


def errors_of(studio: Studio, known: Rig, wanted: Iterator[Outputs]) -> Iterator[float]:
    """The larger error of ratio and lit side, look by look. [stop]"""
    matrix = light_matrix(known, 0.0)
    keys = tuple(h.name for h in known.heads if h.role == "key")
    for outputs in wanted:
        ratio: Ratio = ratio_of(known, matrix, {h.name: rounded(h, outputs[h.name])
                                                for h in known.heads})  # fmt: skip
        lit, shadow = studio.lux(ratio.lit, outputs), studio.lux(ratio.shadow, outputs, 0.0, keys)
        assert ratio.value is not None
        yield max(abs(log2(ratio.lit_lux / lit)), abs(log2(ratio.value * shadow / lit)))


def share_within(errors: Errors, repeats: int, studios: int = 20) -> float:
    """Of 500 looks in so many studios, those whose ratio and lit side are within a sixth."""
    found: list[float] = []
    for seed in range(studios):
        studio = Studio(boathouse(), seed, errors)
        known = studio.after_a_pass(repeats) if repeats else boathouse()
        found += errors_of(studio, known, looks(1000 + seed, 500 // studios, known))
    assert len(found) == 500
    return sum(e <= SIXTH for e in found) / len(found)


@pytest.mark.parametrize("yaw_deg", [0.0, 30.0])
def test_without_errors_the_formula_written_anew_gives_the_same_light(yaw_deg: float) -> None:
    studio = Studio(boathouse(), 1, Errors(0.0, 0.0, 0.0, 0.0))
    at = light_matrix(boathouse(), yaw_deg).at
    for point in boathouse().points:
        for head in boathouse().heads:
            anew = studio.part(point, head, yaw_deg)
            assert at[point.name][head.name] == pytest.approx(anew, rel=1e-6, abs=1e-6)


def test_after_one_pass_ratio_and_lit_side_are_within_a_sixth() -> None:
    """Measured: 99.8 % of 500 looks; 20 % of the same looks without the pass."""
    assert share_within(USUAL, 1) >= 0.95
    assert share_within(USUAL, 0) <= 0.5


def test_a_poorer_meter_needs_every_reading_twice() -> None:
    """One reading in three is more than 0.1 stop off: 90 % after one pass over 100 studios."""
    once, twice = share_within(BELL, 1, 50), share_within(BELL, 2, 50)
    assert once < 0.95 <= twice


def test_the_pass_is_short_enough_for_a_morning() -> None:
    """Nine heads, five points; bounce of each head and at each point is among the readings."""
    rig = boathouse()
    known = Studio(rig, 1).after_a_pass()
    assert len(known.readings) <= 41
    walls = light_matrix(known, 0.0).bounce
    assert all(walls[p.name][h.name] > 0 for p in rig.face_points
               for h in rig.heads if h.name != "Fill" and "fill" not in h.role)  # fmt: skip


def other_room(seed: int) -> Rig:
    """The same roles with other throws, a few degrees elsewhere."""
    chance = Random(seed)
    rig = boathouse()
    heads = []
    for head in rig.heads:
        at, throw = head.placement, chance.uniform(0.85, 1.2)
        azimuth = max(-179.0, min(179.0, at.azimuth_deg + chance.uniform(-4, 4)))
        at = replace(at, distance_m=at.distance_m * throw, rise_m=at.rise_m * throw,
                     azimuth_deg=azimuth)  # fmt: skip
        heads.append(replace(head, placement=at))
    return replace(rig, heads=tuple(heads), room=replace(rig.room, name="The other room"))


Judged = tuple[Carried, list[tuple[str, float, float]]]


def weaker(rig: Rig, heads: tuple[str, ...], stops: float) -> Rig:
    """The same heads with less light."""
    return replace(rig, heads=tuple(
        replace(h, beam=tuple(
            replace(row, beam=replace(row.beam, candela=row.beam.candela * 2**-stops))
            for row in h.beam
        )) if h.name in heads else h
        for h in rig.heads
    ))  # fmt: skip


def without(rig: Rig, heads: tuple[str, ...]) -> Rig:
    return replace(rig, heads=tuple(h for h in rig.heads if h.name not in heads))


@cache
def rooms(
    seed: int, repeats: int, errors: Errors = USUAL, weak: tuple[str, ...] = ()
) -> tuple[Studio, Studio, Rig, Rig]:
    """Two studios, and what is known of each after so many passes."""
    here = Studio(boathouse(), seed, errors)
    there = Studio(weaker(other_room(seed), weak, WEAKER_STOPS), 777 + seed, errors)
    return here, there, here.after_a_pass(repeats), there.after_a_pass(repeats)


def carried_between(
    repeats: int, missing: tuple[str, ...] = (), errors: Errors = USUAL
) -> Iterator[Judged]:
    """300 looks between 20 pairs of rooms: (point, said off, really off) of each. [stop]"""
    for seed in range(20):
        here, there, *known = rooms(seed, repeats, errors)
        carry = Carry(known[0], without(known[1], missing))
        for outputs in looks(9000 + seed, 15, boathouse(), 0.6):
            done = carry.carried(look_of(outputs))
            yield done, list(really_off(here, there, outputs, done))


def look_of(outputs: Outputs) -> Look:
    placements = {h.name: h.placement for h in boathouse().heads}
    stops = {n: exact_stops(o) for n, o in outputs.items()}
    return Look(1, "A look", stops, placements, Lens(400, 1 / 125, 5.6), 0.0)


def really_off(
    here: Studio, there: Studio, outputs: Outputs, done: Carried
) -> Iterator[tuple[str, float, float]]:
    given = {n: 0.0 if s is None else 2.0 ** -float(s) for n, s in done.setting.stops.items()}
    keys = tuple(h.name for h in here.rig.heads if h.role == "key")
    for name, said in done.off:
        point, _, in_shadow = name.partition(",")
        shaded = keys if in_shadow else ()
        was = here.lux(point, outputs, 0.0, shaded) * 2**-done.down_stops
        yield name, said, log2(there.lux(point, given, 0.0, shaded) / was)


def share(values: list[float], limit: float) -> float:
    return sum(abs(v) <= limit for v in values) / len(values)


def test_carried_light_is_within_a_sixth_where_it_can_be_reached() -> None:
    """Both rooms metered once: 99.5 % of the points of looks said to be reached; without a pass in
    either room 76 %, though nothing but the errors differs."""
    reached = [real for done, points in carried_between(1) if done.verdict != "not reached"
               for _, _, real in points]  # fmt: skip
    assert len(reached) > 1000
    assert share(reached, SIXTH) >= 0.95
    blind = [real for done, points in carried_between(0) if done.verdict != "not reached"
             for _, _, real in points]  # fmt: skip
    assert share(blind, SIXTH) < 0.9


MISSING = -1 / 3
"""What is under by more is told as missing. [stop]"""
FILLS, GROUND, NONE = ("Fill", "Under fill"), ("Background",), ()
CASES = [(GROUND, NONE), (FILLS, NONE), (NONE, FILLS)]
"""(heads that the other room has not, heads that are weaker there)"""
PAIRS_OF_ROOMS = 6


def missing_stops(
    missing: tuple[str, ...], weak: tuple[str, ...], errors: Errors, read_more: bool = False
) -> Iterator[tuple[float, float, int]]:
    """(said less real, give or take, readings taken more) where a look misses light. [stop]"""
    for seed in range(PAIRS_OF_ROOMS):
        here, there, *known = rooms(seed, 1, errors, weak)
        for number, outputs in enumerate(looks(9000 + seed, 15, boathouse(), 0.6)):
            look = look_of(outputs)
            carry = Carry(known[0], without(known[1], missing))
            done, taken = carry.carried(look), ()
            if not any(look.stops[h] is not None for h in missing + weak):
                continue
            figures = Sureness(carry).figures(done)
            short = [p for p, said in done.off if said < MISSING]
            if read_more:
                taken = readings_for([figures[p] for p in short])
                more = [
                    studio.reading_more(
                        rig, [r.pair for r in taken if r.there is away], 100 * number + away
                    )
                    for studio, rig, away in ((here, known[0], True), (there, known[1], False))
                ]
                carry = Carry(more[0], without(more[1], missing))
                done = carry.carried(look)
                figures = Sureness(carry).figures(done)
            for point, said, real in really_off(here, there, outputs, done):
                if point in short:
                    yield said - real, figures[point].give_or_take_stops, len(taken)


@pytest.mark.parametrize(("missing", "weak"), CASES)
def test_missing_stops_are_exact_but_for_the_meter(
    missing: tuple[str, ...], weak: tuple[str, ...]
) -> None:
    """No background head, no fill, fills four stops weaker; a meter that never errs."""
    wrong = [w for w, *_ in missing_stops(missing, weak, NO_NOISE)]
    assert len(wrong) > 40
    assert share(wrong, 0.1) >= 0.98


@pytest.mark.parametrize(("missing", "weak"), CASES)
def test_missing_stops_are_said_with_what_they_may_be_off(
    missing: tuple[str, ...], weak: tuple[str, ...]
) -> None:
    """One pass in each room, one reading of either a tenth off: the difference of two such is
    within a tenth for three of four. Within a sixth, and within what the figure says of itself,
    for nearly all; 2 standard deviations are 95 of 100 (normal distribution)."""
    told = list(missing_stops(missing, weak, USUAL))
    wrong = [w for w, *_ in told]
    assert share(wrong, 0.1) >= 0.75
    assert share(wrong, SIXTH) >= 0.95
    assert sum(abs(w) <= give for w, give, _ in told) / len(told) >= 0.95
    assert median(give for _, give, _ in told) <= 0.3


@pytest.mark.parametrize(("missing", "weak"), CASES)
def test_a_few_readings_more_tell_missing_stops_within_a_tenth(
    missing: tuple[str, ...], weak: tuple[str, ...]
) -> None:
    """The readings that are asked for, in both rooms together, not a second pass.

    Measured over 20 pairs of rooms: 96.4, 97.2 and 97.7 % of 168, 669 and 298 figures. Of the few
    pairs here chance may take three standard deviations of a share of 53: 0.05 and more.
    """
    told = list(missing_stops(missing, weak, USUAL, read_more=True))
    assert share([w for w, *_ in told], 0.1) >= 0.9
    assert median(n for *_, n in told) <= 8
