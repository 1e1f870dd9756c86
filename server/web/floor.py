"""Who has the floor, and what others ask for meanwhile."""

import itertools
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from server.errors import Refused
from server.store.devices import Device

ASK_LIVES_S = 8.0
GONE_AFTER_S = 20.0
"""A device that held the floor loses it when none of its pages has been open for so long. [s]"""


@dataclass(frozen=True)
class Ask:
    """A wish of a device that may not do it itself: kept as the request it was."""

    number: int
    device: Device
    text: str
    until: float
    scope: dict[str, object] = field(repr=False)
    body: bytes = field(repr=False)


class Floor:
    """Only one device at a time may hold it; nobody need. Methods may be called from any thread."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._holder: Device | None = None
        self._asks: dict[str, Ask] = {}
        self._numbers = itertools.count(1)
        self._open: dict[str, int] = {}
        self._left: dict[str, float] = {}

    # -- which devices are there -----------------------------------------------------------------

    def came(self, device: Device) -> None:
        """One of its pages opened."""
        with self._lock:
            self._open[device.device_id] = self._open.get(device.device_id, 0) + 1

    def went(self, device: Device) -> None:
        """One of its pages closed."""
        with self._lock:
            self._open[device.device_id] = max(0, self._open.get(device.device_id, 0) - 1)
            self._left[device.device_id] = self._clock()

    def is_there(self, device_id: str) -> bool:
        """Whether one of its pages is open."""
        return self._open.get(device_id, 0) > 0

    # -- only me -----------------------------------------------------------------------------------

    @property
    def holder(self) -> Device | None:
        """The device that holds the floor, as long as it is there."""
        with self._lock:
            held = self._holder
            if held and not self._open.get(held.device_id):
                left = self._left.setdefault(held.device_id, self._clock())
                if self._clock() - left > GONE_AFTER_S:
                    self._holder = held = None
            return held

    def take(self, device: Device) -> None:
        """Only this device moves the light from now on; the others ask."""
        held = self.holder
        if held and held.device_id != device.device_id:
            raise Refused(f"{held.name} holds the floor: ask, or wait until it is given back")
        with self._lock:
            self._holder = device
            self._left[device.device_id] = self._clock()

    def give_back(self, device: Device) -> None:
        """Everybody who may operate moves the light again."""
        with self._lock:
            if self._holder and self._holder.device_id == device.device_id:
                self._holder = None

    def sent_away(self, device_id: str) -> None:
        """A device whose pairing ended neither holds nor wishes anything."""
        with self._lock:
            if self._holder and self._holder.device_id == device_id:
                self._holder = None
            self._asks.pop(device_id, None)

    def must_ask(self, device: Device) -> bool:
        """Whether a device that operates has to ask because another holds the floor."""
        held = self.holder
        return held is not None and held.device_id != device.device_id

    # -- asking ------------------------------------------------------------------------------------

    def ask(self, device: Device, text: str, scope: dict[str, object], body: bytes) -> Ask:
        """Keep a wish; a newer one of the same device takes its place."""
        with self._lock:
            until = self._clock() + ASK_LIVES_S
            wish = Ask(next(self._numbers), device, text, until, scope, body)
            self._asks[device.device_id] = wish
            return wish

    def asks(self) -> tuple[Ask, ...]:
        """The wishes that wait for a yes."""
        with self._lock:
            now = self._clock()
            self._asks = {k: a for k, a in self._asks.items() if a.until > now}
            return tuple(self._asks.values())

    def granted(self, number: int) -> Ask:
        """Take a wish out to be done. Refused when its eight seconds are over."""
        wish = next((a for a in self.asks() if a.number == number), None)
        if wish is None:
            raise Refused("that wish is gone: wishes last eight seconds")
        with self._lock:
            self._asks.pop(wish.device.device_id, None)
        return wish
