"""Stand-ins for the far ends of the light output, written by hand."""

import socket
import threading
import time
from dataclasses import dataclass, field
from itertools import pairwise

from server.live.output import Frame
from server.live.schedule import Schedule


@dataclass(frozen=True)
class Sent:
    """One packet: when [s], which universe, which values, and whether it ends the stream."""

    at: float
    universe: int
    slots: bytes
    terminated: bool = False
    sequence: int = 0
    thread: int = 0


def slots_of(*values: int) -> bytes:
    """512 slots, the first ones given."""
    return bytes(values).ljust(512, b"\0")


def frame_of(*values: int, universe: int = 1) -> Frame:
    """A frame of one universe."""
    return {universe: slots_of(*values)}


@dataclass(eq=False)
class FakeWire:
    """A wire that records; with ``broken`` set it raises what no wire should."""

    kind: str = "network"
    error: str = ""
    sent: list[Sent] = field(default_factory=list)
    closed: bool = False
    broken: bool = False

    def send(self, universe: int, slots: bytes) -> None:
        self._record(universe, slots, terminated=False)

    def terminate(self, universe: int, slots: bytes) -> None:
        self._record(universe, slots, terminated=True)

    def close(self) -> None:
        self.closed = True

    def _record(self, universe: int, slots: bytes, *, terminated: bool) -> None:
        if self.broken:
            raise RuntimeError("made to fail")
        here = threading.get_ident()
        self.sent.append(Sent(time.monotonic(), universe, slots, terminated, thread=here))


def run_schedule(schedule: Schedule, start: float, until: float) -> list[Sent]:
    """Play a schedule on an imagined clock that jumps from deadline to deadline."""
    sent: list[Sent] = []
    now = start
    while now <= until:
        sent += [Sent(now, p.universe, p.slots, p.terminated) for p in schedule.due(now)]
        later = schedule.next_due(now)
        assert later > now, "the schedule would spin"
        now = later
    return sent


class Listener:
    """A UDP socket that notes every E1.31 data packet with its arrival. [s]

    Fields are read at the octets of the E1.31-2018 data packet: sequence 111 (6.2.5), options 112
    (6.2.6), universe 113-114 (6.2.7), slots from 126 (7.7).
    """

    def __init__(self, address: str = "127.0.0.1") -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind((address, 0))
        self._socket.settimeout(0.05)
        self.port: int = self._socket.getsockname()[1]
        self.sent: list[Sent] = []
        self._ending = False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._ending:
            try:
                data = self._socket.recv(2048)
            except TimeoutError:
                continue
            self.sent.append(
                Sent(
                    at=time.monotonic(),
                    universe=int.from_bytes(data[113:115], "big"),
                    slots=data[126:],
                    terminated=bool(data[112] & 0x40),
                    sequence=data[111],
                )
            )

    def close(self) -> None:
        self._ending = True
        self._thread.join(1.0)
        self._socket.close()

    def __enter__(self) -> "Listener":
        return self

    def __exit__(self, *why: object) -> None:
        self.close()


def gaps(sent: list[Sent]) -> list[float]:
    """Times between one packet and the next. [s]"""
    return [b.at - a.at for a, b in pairwise(sent)]


def wait_for(condition, within_s: float, what: str) -> float:
    """Wait until a condition holds and say how long it took [s]; fail naming it otherwise."""
    start = time.monotonic()
    while not condition():
        assert time.monotonic() - start < within_s, f"{what}: not within {within_s} s"
        time.sleep(0.005)
    return time.monotonic() - start
