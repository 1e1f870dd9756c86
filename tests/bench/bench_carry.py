"""Time of carrying looks to another room. Run by hand: `python tests/bench/bench_carry.py`.

Aims: 100 looks with 12 heads and 8 points in 1 s, a look with 64 heads and 32 points in 100 ms.
Both rooms metered or not; every look with a placement of its own is the dearest case. The best of
three runs counts, since other work on the machine only adds.
"""

import statistics
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from random import Random

from server.studio.carry import Carry
from server.studio.document import rig_from_document
from server.studio.head import ROLES
from server.studio.light import light_matrix
from server.studio.look import Look
from server.studio.readings import Reading
from server.studio.rig import Lens, Rig
from server.studio.setting import exact_stops

BEAM = [
    {"focus": 0, "candela": 90000, "beam_deg": 10, "field_deg": 18},
    {"focus": 1, "candela": 20000, "beam_deg": 50, "field_deg": 65},
]
NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


def room(heads: int, points: int, seed: int, metered: bool) -> Rig:
    """Heads of all roles round the sitter; the points are the same for every seed."""
    stand, spot = Random(seed), Random(99)
    rig = rig_from_document({
        "room": {"name": f"Room {seed}"},
        "heads": [
            {"name": f"Head {i}", "role": ROLES[i % 7], "address": 1 + 2 * i, "bits": 16,
             "curve": "square", "beam": BEAM,
             "placement": {"azimuth_deg": stand.uniform(-170, 170), "rise_m": stand.uniform(0, 1.2),
                           "distance_m": stand.uniform(1.5, 3.5), "focus": stand.uniform(0.3, 1)}}
            for i in range(heads)
        ],
        "points": [
            {"name": f"point {j}", "on": "face" if j < points // 2 else "room",
             "x": spot.uniform(-0.3, 0.3), "y": spot.uniform(-0.2, 0.2),
             "z": spot.uniform(-0.1, 0.1) - (j >= points // 2),
             "nx": spot.uniform(-1, 1), "ny": 0.0, "nz": spot.uniform(0.2, 1)}
            for j in range(points)
        ],
    })  # fmt: skip
    if not metered:
        return rig
    at = light_matrix(rig, 0.0).at
    readings = tuple(
        Reading(p, h, lux * stand.uniform(0.8, 1.2), 1.0, NOON, rig.head(h).placement)
        for p, row in at.items()
        for h, lux in row.items()
    )
    return replace(rig, readings=readings)


def looks(rig: Rig, count: int, moved: bool) -> Iterator[Look]:
    chance = Random(5)
    for i in range(count):
        stops = {
            h.name: exact_stops(chance.uniform(0.05, 0.9)) if chance.random() < 0.8 else None
            for h in rig.heads
        }
        off = 0.001 * i if moved else 0.0
        placements = {
            h.name: replace(h.placement, distance_m=h.placement.distance_m + off) for h in rig.heads
        }
        yield Look(i, f"Look {i}", stops, placements, Lens(), 0.0)


def seconds(heads: int, points: int, count: int, metered: bool, moved: bool) -> list[float]:
    """Seconds of each look; the first counts what the two rooms have in common."""
    source, target = room(heads, points, 1, metered), room(heads, points, 2, metered)
    todo, taken = list(looks(source, count, moved)), []
    start = time.perf_counter()
    carry = Carry(source, target)
    for look in todo:
        carry.carried(look)
        now = time.perf_counter()
        taken.append(now - start)
        start = now
    return taken


def main() -> None:
    seconds(8, 8, 2, False, False)  # numpy is loaded
    for metered in (False, True):
        for moved in (False, True):
            words = f"{'metered' if metered else 'reckoned'}, {'moved' if moved else 'unmoved'}"
            whole = min(sum(seconds(12, 8, 100, metered, moved)) for _ in range(3))
            print(f"100 looks, 12 heads, 8 points, {words:<18} {whole:6.2f} s   (aim 1)")
            each = min((seconds(64, 32, 5, metered, moved) for _ in range(3)), key=sum)
            usual, first = 1e3 * statistics.median(each), 1e3 * each[0]
            print(f"  a look, 64 heads, 32 points, {words:<18} {usual:6.0f} ms"
                  f"  (the first {first:.0f}; aim 100)")  # fmt: skip
    print("growth with heads, 16 points, against 8 heads:")
    base = 0.0
    for heads in (8, 16, 32, 64):
        each = min(statistics.median(seconds(heads, 16, 9, False, True)) for _ in range(3))
        base = base or each
        print(f"  {heads:3d} heads {each / base:6.1f} times")


if __name__ == "__main__":
    main()
