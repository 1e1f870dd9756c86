"""Play into a network that goes away and comes back; print what happened as JSON.

Must run as root in a network namespace of its own: the network there is one
address on the loopback interface, taken away and given back (works without extra kernel modules).
"""

import json
import subprocess
import time
import uuid

from server.live.network import NetworkWire
from server.live.output import Timeline
from server.live.player import Player
from tests.live.fakes import Listener, slots_of

ADDRESS = "10.9.0.1"


def ip(*words: str) -> None:
    subprocess.run(["ip", *words], check=True)


def network(there: bool) -> None:
    ip("address", "add" if there else "delete", f"{ADDRESS}/32", "dev", "lo")


def play(value: int) -> None:
    player.play(Timeline(((time.monotonic(), {1: slots_of(value)}),)))


network(there=True)
with Listener("0.0.0.0") as listener:
    player = Player([NetworkWire([(ADDRESS, listener.port)], False, uuid.uuid4())])
    play(10)
    time.sleep(0.15)
    well = player.status()
    network(there=False)
    time.sleep(0.3)
    play(20)
    time.sleep(0.8)
    during = player.status()
    while_down = sum(packet.slots[0] == 20 for packet in listener.sent)
    network(there=True)
    up_at = time.monotonic()
    while not listener.sent or listener.sent[-1].slots[0] != 20:
        time.sleep(0.005)
        if time.monotonic() - up_at > 3:
            break
    back_after_s = time.monotonic() - up_at
    time.sleep(0.05)
    after = player.status()
    player.stop()
print(
    json.dumps(
        {
            "well": [well.live, well.message],
            "during": [during.live, during.message],
            "while_down": while_down,
            "back_after_s": back_after_s,
            "after": [after.live, after.message],
        }
    )
)
