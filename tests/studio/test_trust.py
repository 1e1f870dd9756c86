"""How far the ratio is known, against drawn lots, and the fewest readings, against all sets.

Plain units: key f/8 (64) on the lit cheek alone, fill f/5.6 (32) on both: 96 : 32.
"""

from dataclasses import replace
from itertools import chain, combinations
from math import hypot

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.studio.light import light_matrix
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops
from server.studio.touched import Pair
from server.studio.trust import (
    BUDGET_STOPS,
    Term,
    Trust,
    fewest_readings,
    trust_of,
)
from server.studio.unsure import CARRIED_STOPS, METERED_STOPS, MOVED_STOPS, PREDICTED_STOPS
from tests.studio.test_readings import UNIT, metered_rig, read
from tests.studio.test_readings import rig as plain_rig
from tests.studio.test_touched import spot, touched

KEY, LIT_FILL, DARK_FILL = (
    ("cheek right", "Key", False), ("cheek right", "Fill", False), ("cheek left", "Fill", False),
)  # fmt: skip


def trust(rig: Rig, drifted: dict[Pair, float] | None = None, **outputs: float) -> Trust:
    setting = Setting(stops={n: exact_stops(o) for n, o in outputs.items()}, lens=rig.lens)
    found = trust_of(rig, light_matrix(rig, 0.0), setting, drifted or {})
    assert found is not None
    return found


def stops(found: Trust) -> dict[Pair, float]:
    return {t.pair: t.stops for t in found.terms}


def test_a_metered_room_is_good_to_a_sixth() -> None:
    """By hand: shares 2/3 and 1/3 of a tenth each; the shadow side is the fill alone, a tenth."""
    now = trust(metered_rig(), Key=1.0, Fill=1.0)
    assert now.lit_stops == pytest.approx(hypot(2 / 3, 1 / 3) * METERED_STOPS)
    assert now.ratio_stops == pytest.approx(hypot(now.lit_stops, METERED_STOPS))
    assert now.good
    assert now.fewest == ()


def test_the_formula_against_a_hundred_thousand_drawn_studios() -> None:
    """Every term off by chance, in stops, with the spread that the term says."""
    now = trust(metered_rig(), Key=1.0, Fill=1.0)
    lots = np.random.default_rng(1)
    off = {t.pair: 2 ** lots.normal(0, t.stops, 100_000) for t in now.terms}
    lit = 64 * off[KEY] + 32 * off[LIT_FILL]
    assert np.std(np.log2(lit)) == pytest.approx(now.lit_stops, rel=0.02)
    assert np.std(np.log2(lit / (32 * off[DARK_FILL]))) == pytest.approx(now.ratio_stops, rel=0.02)


def test_a_moved_key_asks_for_its_own_reading_alone() -> None:
    studio = metered_rig()
    key = studio.head("Key")
    away = replace(key, placement=replace(key.placement, distance_m=2.4))
    now = trust(replace(studio, heads=(away, studio.head("Fill"))), Key=1.0, Fill=1.0)
    assert stops(now)[KEY] == MOVED_STOPS
    assert not now.good
    assert now.fewest == (KEY,)
    assert now.after_stops <= BUDGET_STOPS


def test_a_touched_key_is_known_again_after_one_reading() -> None:
    doubted = trust(touched(metered_rig()), Key=1.0, Fill=1.0)
    assert stops(doubted)[KEY] == MOVED_STOPS
    assert doubted.fewest == (KEY,)
    again = trust(spot(touched(metered_rig()), 64 * 2**-0.4), Key=1.0, Fill=1.0)
    assert again.good
    fill = trust(spot(touched(metered_rig(), "Fill"), 32, head="Fill"), Key=1.0, Fill=1.0)
    assert stops(fill)[LIT_FILL] == METERED_STOPS
    assert stops(fill)[DARK_FILL] == CARRIED_STOPS  # its correction came from the other cheek


def test_an_unread_room_asks_for_what_decides_and_not_in_the_order_of_the_rig() -> None:
    now = trust(plain_rig(), Key=1.0, Fill=1.0)
    assert set(stops(now).values()) == {PREDICTED_STOPS}
    # the lit cheek's key and the shadow cheek's fill decide, and come first
    assert set(now.fewest[:2]) == {KEY, DARK_FILL}
    weak = metered_rig()
    only_fill = replace(weak, readings=tuple(r for r in weak.readings if r.head != "Fill"))
    assert trust(only_fill, Key=1.0, Fill=1.0).fewest[0] == DARK_FILL  # not the first of the rig


def test_repeats_that_lie_apart_are_worth_their_spread() -> None:
    near = metered_rig()
    more = replace(
        near, readings=(*near.readings, read(near, "cheek right", "Key", 64 * 2**0.14, 5))
    )
    assert stops(trust(more, Key=1.0, Fill=1.0))[KEY] == pytest.approx(0.14)
    again = replace(near, readings=(*near.readings, read(near, "cheek right", "Key", 64, 5)))
    assert stops(trust(again, Key=1.0, Fill=1.0))[KEY] == pytest.approx(METERED_STOPS / 2**0.5)


def test_a_head_that_warmed_away_from_its_reading() -> None:
    now = trust(metered_rig(), {KEY: -0.3}, Key=1.0, Fill=1.0)
    assert stops(now)[KEY] == pytest.approx(hypot(0.1, 0.3))
    assert now.fewest == (KEY,)


def test_room_light_that_was_typed_and_never_read_is_doubted() -> None:
    studio = metered_rig()
    bright = replace(studio, room=replace(studio.room, ambient_lux=16 * UNIT))
    now = trust(bright, Key=1.0, Fill=1.0)
    assert stops(now)[("cheek left", "", False)] == PREDICTED_STOPS
    assert ("cheek left", "", False) in now.fewest


def test_the_dark_has_no_trust() -> None:
    setting = Setting(stops={"Key": None, "Fill": None})
    assert trust_of(plain_rig(), light_matrix(plain_rig(), 0.0), setting, {}) is None


def test_a_key_alone_in_a_black_room_still_says_what_to_read() -> None:
    plain = plain_rig()
    studio = replace(plain, readings=(read(plain, "cheek right", "Key", 64),))
    now = trust(studio, Key=1.0, Fill=0.0)
    assert now.fewest == (("cheek left", "Key", True),)


def terms_of(parts: list[tuple[float, float, float]]) -> list[Term]:
    return [
        Term((f"p{i}", "h", False), 1.0, "moved", 0.3, lit, ratio, left)
        for i, (lit, ratio, left) in enumerate(parts)
    ]


def left_by(terms: list[Term], taken: tuple[Term, ...]) -> float:
    share = [t.left if t in taken else 1.0 for t in terms]
    return max(
        sum((t.lit * s) ** 2 for t, s in zip(terms, share, strict=True)) ** 0.5,
        sum((t.ratio * s) ** 2 for t, s in zip(terms, share, strict=True)) ** 0.5,
    )


PART = st.tuples(st.floats(0, 0.3), st.floats(0, 0.3), st.sampled_from([0.1, 0.3, 0.9, 1.0]))


@settings(deadline=None)
@given(st.lists(PART, max_size=8))
def test_no_smaller_set_of_readings_would_do(parts: list[tuple[float, float, float]]) -> None:
    """All sets there are, tried one by one."""
    terms = terms_of(parts)
    sets = chain.from_iterable(combinations(terms, n) for n in range(len(terms) + 1))
    good = [s for s in sets if left_by(terms, s) <= BUDGET_STOPS]
    chosen = fewest_readings(terms)
    if good:
        assert len(chosen) == len(good[0])
        assert left_by(terms, tuple(t for t in terms if t.pair in chosen)) <= BUDGET_STOPS


def test_many_terms_are_answered_too() -> None:
    """Too many sets to try: thirty alike, each a thirtieth. Taken one by one they do the same."""
    terms = terms_of([(0.06, 0.06, 0.2)] * 30)
    chosen = fewest_readings(terms)
    assert left_by(terms, tuple(t for t in terms if t.pair in chosen)) <= BUDGET_STOPS
    fewer = terms[: len(chosen) - 1]
    assert left_by(terms, tuple(fewer)) > BUDGET_STOPS
