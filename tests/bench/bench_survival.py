"""The keeper killed 20 times in fades. Run by hand: python -m tests.bench.bench_survival

Prints, for each kill -9, how long no packet came and how long the new process took to its first
packet; then the longest gap of all against the limit of 1 s. Exits with 1 when a gap was over 1 s,
a packet was dark, the stream was terminated, or a fade did not end where it should.
"""

import sys
import tempfile
import time
from pathlib import Path

from server.live.keeper_link import KeeperOutput
from server.live.keeper_protocol import hello
from tests.live.fakes import Listener, frame_of, gaps, wait_for
from tests.live.keeper_process import KeeperProcess, now_ramp

KILLS = 20
LIMIT_S = 1.0
RESTART_AFTER_S = 0.05  # the parent's first delay


def main() -> int:
    faults: list[str] = []
    with tempfile.TemporaryDirectory() as folder, Listener() as listener:
        keeper = KeeperProcess(Path(folder), listener)
        keeper.start()
        keeper.ready()
        low, high = 20, 220
        for i in range(KILLS):
            output = KeeperOutput(keeper.socket)
            output.play(now_ramp(1.5, low, high))
            time.sleep(0.15)
            output.stop(terminate=False)
            time.sleep(0.05 * (i % 10))  # another moment of the fade each time
            keeper.kill()
            time.sleep(RESTART_AFTER_S)
            count, began = len(listener.sent), time.monotonic()
            keeper.start()
            wait_for(lambda n=count: len(listener.sent) > n, 3.0, "light again")
            dark_s = listener.sent[count].at - listener.sent[count - 1].at
            first_s = listener.sent[count].at - began
            wait_for(lambda h=high: listener.sent[-1].slots[0] == h, 3.0, "the fade's end")
            keeper.ready()
            if hello(keeper.socket).frame != frame_of(high, 33):
                faults.append(f"kill {i + 1}: another frame than the fade's last is lit")
            print(
                f"kill {i + 1:2}: no packet for {dark_s * 1e3:4.0f} ms, "
                f"start to first packet {first_s * 1e3:4.0f} ms"
            )
            low, high = high, low
        keeper.end()
        longest = max(gaps(listener.sent))
        print(f"longest gap {longest * 1e3:.0f} ms, {longest / LIMIT_S:.2f} of the limit")
        if longest > LIMIT_S:
            faults.append("a gap over the limit")
        if min(s.slots[0] for s in listener.sent) < 20:
            faults.append("a dark packet")
        if any(s.terminated for s in listener.sent):
            faults.append("the stream was terminated")
    print("\n".join(faults) or "no fault")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
