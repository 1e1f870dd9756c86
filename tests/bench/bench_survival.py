"""100 kills of the web server and 20 of the keeper. By hand: python -m tests.bench.bench_survival

    [WEB KILLS] [KEEPER KILLS] [SEED]

The whole program with the demo studio, lamps on loopback, an operator who nudges without a pause;
kill -9 at random moments, in random order. Prints the longest gap between packets against the limit
of 1 s, how long each process was away, and what was answered. Exits with 1 when anything was lost:
see tests/live/survival.py.
"""

import random
import statistics
import sys
import tempfile
from pathlib import Path

from tests.live.survival import LIMIT_S, Studio
from tests.web.test_light_on_the_network import free_port

KILLS = (100, 20)


def main() -> int:
    given = [int(word) for word in sys.argv[1:]]
    web, keeper = (*given[:2], *KILLS[len(given[:2]) :])
    seed = given[2] if len(given) > 2 else 1
    order = ["web"] * web + ["keeper"] * keeper
    random.Random(seed).shuffle(order)
    with tempfile.TemporaryDirectory() as folder:
        studio = Studio(Path(folder), free_port(), seed)
        try:
            for number, which in enumerate(order, start=1):
                studio.kill(which)
                if number % 10 == 0:
                    print(f"{number} of {len(order)} kills, {len(studio.faults)} faults")
        finally:
            studio.end()
    answers, longest = studio.answers, studio.longest_gap_s
    print(f"longest gap {longest * 1e3:.0f} ms, {longest / LIMIT_S:.2f} of the limit")
    for which, words in (("web", "kill to answering again"), ("keeper", "kill to the next packet")):
        if away := studio.back_after_s[which]:
            middle = statistics.median(away)
            print(f"{which}: {words}: median {middle:.2f} s, longest {max(away):.2f} s")
    print(
        f"{studio.packets} packets; {len(answers.revisions)} changes answered,"
        f" {answers.unanswered} broken off"
    )
    print("\n".join(studio.faults) or "no fault")
    return 1 if studio.faults else 0


if __name__ == "__main__":
    sys.exit(main())
