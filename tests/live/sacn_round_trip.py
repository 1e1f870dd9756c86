"""Send two looks to a receiver made by others; print what it heard as JSON."""

import json
import time
import uuid

import sacn

from server.live.network import NetworkWire
from server.live.output import Timeline
from server.live.player import Player
from tests.live.fakes import slots_of

heard: list = []
availability: list[str] = []
receiver = sacn.sACNreceiver(bind_address="127.0.0.1")
receiver.start()
receiver.register_listener("universe", heard.append, universe=3)
receiver.register_listener("availability", lambda universe, changed: availability.append(changed))
player = Player([NetworkWire([("127.0.0.1", 5568)], False, uuid.uuid4())])
for values in ((200, 7, 0, 91), (12, 34, 0, 56)):
    player.play(Timeline(((time.monotonic(), {3: slots_of(*values)}),)))
    time.sleep(1.3)  # this receiver tells nothing in its first second
    if values[0] == 200:
        first = list(heard[0].dmxData[:4])
player.stop()
time.sleep(0.3)
receiver.stop()
print(
    json.dumps(
        {
            "first": first,
            "last": list(heard[-1].dmxData[:4]),
            "dark": sum(not any(packet.dmxData) for packet in heard),
            "source": heard[-1].sourceName,
            "priority": heard[-1].priority,
            "availability": availability,
        }
    )
)
