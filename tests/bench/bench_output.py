"""How fast and how evenly light leaves. Run by hand: python -m tests.bench.bench_output [SECONDS]

Prints, on loopback: the time from `play` to the packet's arrival and the time `play` itself takes,
for the player in this process and through the lamp keeper; then the gaps between packets over a
fade loop (SECONDS, default 60) played by the keeper. Ratios are to the shortest gap that E1.31
allows (1/44 s).
"""

import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from pathlib import Path

from server.live.keeper_link import KeeperOutput
from server.live.network import NetworkWire
from server.live.output import Timeline
from server.live.player import Player
from server.live.schedule import MIN_GAP_S
from tests.live.fakes import Listener, gaps, slots_of, wait_for
from tests.live.keeper_process import KeeperProcess, ramp

PLAYS = 200


def percentiles(seconds: list[float]) -> str:
    cuts = statistics.quantiles(seconds, n=100)
    return f"p50 {cuts[49] * 1e3:.3f}  p99 {cuts[98] * 1e3:.3f}  max {max(seconds) * 1e3:.3f} ms"


def measure_play(name: str, play: Callable[[Timeline], None], listener: Listener) -> None:
    """Single sets, far enough apart that the shortest gap does not count; then whole fades."""
    for what, seconds in (("one frame", 0.0), ("a 1 s fade, 40 frames, 2 universes", 1.0)):
        arrived, took = [], []
        for i in range(PLAYS):
            time.sleep(0.1 + (i % 7) * 0.0037)  # not in step with the frames of the last fade
            before = len(listener.sent)
            value = 1 + i % 250
            began = time.monotonic()
            frames = tuple(
                (began + k / 40, {1: slots_of(value, k), 2: slots_of(k, value)})
                for k in range(1 + round(40 * seconds))
            )
            timeline = Timeline(frames)
            began = time.monotonic()
            play(timeline)
            took.append(time.monotonic() - began)

            def new(after: int = before, wanted: int = value) -> list[float]:
                return [s.at for s in listener.sent[after:] if s.slots[0] == wanted]

            wait_for(lambda: bool(new()), 1.0, "the packet")
            arrived.append(new()[0] - began)
        print(f"{name}, {what}: play -> packet {percentiles(arrived)}; play() {percentiles(took)}")


def measure_gaps(output: KeeperOutput, listener: Listener, seconds: float) -> None:
    """One fade after another, up and down, for a while."""
    began, count = time.monotonic(), len(listener.sent)
    low, high = 20, 220
    while (start := time.monotonic()) - began < seconds:
        output.play(ramp(start, 2.0, low, high))
        low, high = high, low
        time.sleep(max(0.0, start + 2.0 - time.monotonic()))
    found = gaps([s for s in listener.sent[count:] if s.universe == 1])
    print(f"gaps over {seconds:g} s of fades at 40 frames/s: {len(found)}, {percentiles(found)}")
    middle = statistics.median(found)
    print(
        f"ratio to the shortest allowed gap: median {middle / MIN_GAP_S:.3f}, "
        f"longest {max(found) / MIN_GAP_S:.3f}, shortest {min(found) / MIN_GAP_S:.3f}"
    )


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    with Listener() as listener:
        player = Player([NetworkWire([("127.0.0.1", listener.port)], False, uuid.uuid4())])
        measure_play("in this process", player.play, listener)
        player.stop()
    with tempfile.TemporaryDirectory() as folder, Listener() as listener:
        keeper = KeeperProcess(Path(folder), listener)
        keeper.start()
        keeper.ready()
        output = KeeperOutput(keeper.socket)
        measure_play("through the keeper", output.play, listener)
        measure_gaps(output, listener, seconds)
        output.stop()
        keeper.end()


if __name__ == "__main__":
    main()
