"""Play into a link that goes down and comes back; print what happened as JSON.

Must run as root in a network namespace of its own: it takes the loopback interface down.
"""

import json
import subprocess
import time
import uuid

from server.live.network import NetworkWire
from server.live.output import Timeline
from server.live.player import Player
from tests.live.fakes import Listener, slots_of


def link(state: str) -> None:
    subprocess.run(["ip", "link", "set", "lo", state], check=True)


def play(value: int) -> None:
    player.play(Timeline(((time.monotonic(), {1: slots_of(value)}),)))


with Listener() as listener:
    player = Player([NetworkWire([("127.0.0.1", listener.port)], False, uuid.uuid4())])
    play(10)
    time.sleep(0.15)
    well = player.status()
    link("down")
    time.sleep(0.3)
    play(20)
    time.sleep(0.8)
    during = player.status()
    while_down = sum(packet.slots[0] == 20 for packet in listener.sent)
    link("up")
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
