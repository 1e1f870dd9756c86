"""Play over an interface that goes down and comes back up; print what happened as JSON.

Must run as root in a network namespace of its own. A second namespace, held by a child process, is
the lamps' end of a virtual cable. Exits with 77 when the kernel has no such cables.
"""

import json
import os
import subprocess
import sys
import time
import uuid

from server.live.network import NetworkWire
from server.live.output import Timeline
from server.live.player import Player
from tests.live.fakes import Listener, slots_of

HERE, THERE = "10.9.0.1", "10.9.0.2"


def ip(*words: str) -> bool:
    return subprocess.run(["ip", *words], stderr=subprocess.DEVNULL).returncode == 0


def far_end() -> None:
    """The lamps: arrivals [s, first slot], told when the standard input ends."""
    sys.stdin.readline()  # the cable is here
    ip("address", "add", f"{THERE}/24", "dev", "far")
    ip("link", "set", "far", "up")
    with Listener("0.0.0.0") as listener:
        print(listener.port, flush=True)
        sys.stdin.read()
        time.sleep(0.1)
        print(json.dumps([(sent.at, sent.slots[0]) for sent in listener.sent]), flush=True)


def main() -> int:
    if not ip("link", "add", "near", "type", "veth", "peer", "name", "far"):
        return 77
    lamps = subprocess.Popen(
        ["unshare", "-n", sys.executable, __file__, "far"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    ours = os.readlink("/proc/self/ns/net")
    while os.readlink(f"/proc/{lamps.pid}/ns/net") == ours:
        time.sleep(0.01)
    ip("link", "set", "far", "netns", str(lamps.pid))
    ip("address", "add", f"{HERE}/24", "dev", "near")
    ip("link", "set", "near", "up")
    lamps.stdin.write("here\n")
    lamps.stdin.flush()
    port = int(lamps.stdout.readline())
    player = Player([NetworkWire([(THERE, port)], False, uuid.uuid4())])

    def play(value: int) -> None:
        player.play(Timeline(((time.monotonic(), {1: slots_of(value)}),)))

    play(10)
    time.sleep(0.5)
    well = player.status()
    ip("link", "set", "near", "down")
    time.sleep(0.3)
    play(20)
    time.sleep(2.5)
    during = player.status()
    ip("link", "set", "near", "up")
    up_at = time.monotonic()
    time.sleep(1.5)
    after = player.status()
    player.stop()
    told, _ = lamps.communicate("")
    arrivals = json.loads(told)
    with_new = [at for at, value in arrivals if value == 20]
    print(
        json.dumps(
            {
                "well": [well.live, well.message],
                "before": sum(value == 10 for _, value in arrivals),
                "during": [during.live, during.message],
                "while_down": sum(at < up_at for at in with_new),
                "back_after_s": min(with_new, default=99.0) - up_at,
                "after": [after.live, after.message],
            }
        )
    )
    return 0


if __name__ == "__main__":
    if sys.argv[1:] == ["far"]:
        far_end()
    else:
        sys.exit(main())
