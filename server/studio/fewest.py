"""The fewest readings that make figures good enough, found by trying sets of them."""

from collections.abc import Hashable, Mapping, Sequence
from itertools import combinations
from math import comb
from typing import TypeVar

HELPS, HELPS_NOTICEABLY = 1e-9, 0.01
"""What a reading must take off the variances to be tried [stop**2]; and to be asked for in vain, as
a share of what the best one takes off. [1]"""
MOST_TRIED = 40_000

Key = TypeVar("Key", bound=Hashable)


def fewest(helps: Mapping[Key, Sequence[float]], over: Sequence[float]) -> tuple[Key, ...]:
    """The fewest readings that take enough off every figure's variance, the weightiest first.

    Found exactly, by trying all sets of one reading, of two, and so on; of several that do, the one
    that leaves the least. Where there are too many sets to try, the reading that helps most is
    taken, and again. Where no set will do, all that help noticeably.

    Parameters
    ----------
    helps : mapping
        Reading -> what it takes off each figure's variance. [stop**2]
    over : sequence of float
        What has to go of each figure's variance; below 0 where it is good already. [stop**2]
    """
    wanted = [i for i, o in enumerate(over) if o > 0]
    if not wanted:
        return ()
    gains = {key: [row[i] for i in wanted] for key, row in helps.items()}
    need = [over[i] for i in wanted]
    helpful = sorted((k for k, g in gains.items() if sum(g) > HELPS), key=lambda k: -sum(gains[k]))

    def left(taken: Sequence[Key]) -> list[float]:
        return [n - sum(gains[k][i] for k in taken) for i, n in enumerate(need)]

    if not helpful:
        return ()
    if max(left(helpful)) > 0:
        least = HELPS_NOTICEABLY * sum(gains[helpful[0]])
        return tuple(k for k in helpful if sum(gains[k]) > least)
    tried = 0
    for count in range(1, len(helpful) + 1):
        tried += comb(len(helpful), count) * len(need)
        if tried > MOST_TRIED:
            break
        best = min(combinations(helpful, count), key=lambda taken: max(left(taken)))
        if max(left(best)) <= 0:
            return best
    taken: list[Key] = []
    rest = need
    while max(rest) > 0:
        after = {
            k: [v - g for v, g in zip(rest, gains[k], strict=True)]
            for k in helpful if k not in taken
        }  # fmt: skip
        taken.append(min(after, key=lambda k: sum(max(0.0, v) for v in after[k])))
        rest = after[taken[-1]]
    return tuple(taken)
