"""Run by hand: a nudge heard on twenty pages, two operators nudging.

python -m tests.bench.bench_pages [SECONDS]
"""

import sys
import tempfile
from pathlib import Path

from tests.web.listening import Served, delays_ms, listened

AIM_MS = 100.0


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 300.0
    served = Served(Path(tempfile.mkdtemp()))
    try:
        pages, operators = listened(served.port, pages=20, seconds=seconds)
    finally:
        served.close()
    delays = delays_ms(pages, operators)
    p50, p99 = delays[len(delays) // 2], delays[int(0.99 * len(delays))]
    sent = sum(len(o.sent) for o in operators)
    agree = all(page.state == pages[0].state for page in pages)
    print(f"{sent} nudges in {seconds:g} s, heard {len(delays)} times on 20 pages; agree: {agree}")
    print(f"sent -> heard: p50 {p50:.1f} ms, p99 {p99:.1f} ms, longest {delays[-1]:.1f} ms")
    print(f"p99 : aim of {AIM_MS:g} ms = {p99 / AIM_MS:.2f}")


if __name__ == "__main__":
    main()
