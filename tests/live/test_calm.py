"""Quick changes counted together: the few lights that are kept decide as all of them would."""

from math import log2

from hypothesis import given
from hypothesis import strategies as st

from server.live.calm import Calm

LUX = st.fixed_dictionaries(
    {"cheek": st.sampled_from((0.0, 1.0, 3.9, 4.1, 17.0)), "chin": st.floats(0.01, 20)}
)
TAPS = st.lists(st.tuples(st.floats(0, 1), st.sampled_from((0.0, 0.2, 2.0)), LUX, LUX), max_size=12)


def rises(before: dict[str, float], after: dict[str, float]) -> bool:
    """More than two stops, as the design states it: at any point of the face."""
    pairs = [(before[point], lux) for point, lux in after.items() if lux > 0]
    return any(was <= 0 or log2(lux / was) > 2 for was, lux in pairs)


@given(taps=TAPS)
def test_every_light_of_the_last_second_and_a_half_counts(taps: list) -> None:
    calm, moment, seen = Calm(), 100.0, []
    for passed, wanted_s, before, after in taps:
        moment += passed
        seen.append((moment, before))
        lights = [lux for at, lux in seen if moment - at < 1.5] if wanted_s else [before]
        slow = any(rises(lux, after) for lux in lights)
        expected = max(wanted_s, 1.5) if slow else wanted_s
        assert calm.seconds(wanted_s, before, after, moment) == expected


def test_taps_up_and_down_leave_little_to_remember() -> None:
    calm = Calm()
    for i in range(1000):
        calm.seconds(0.2, {"cheek": 8.0 + i % 2}, {"cheek": 9.0 - i % 2}, 0.001 * i)
    assert len(calm._seen) <= 2
