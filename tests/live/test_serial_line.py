"""DMX512-A on a serial line. Timing limits as cited for ANSI E1.11 in `serial_line`.

A pseudo-terminal carries the octets but no break (the kernel accepts the call and does nothing), so
the break itself is checked on a port that notes the calls and their moments.
"""

import itertools
import os
import threading
import time

import pytest

from server.live.serial_line import SerialWire, open_port
from tests.live.fakes import slots_of, wait_for

pytestmark = pytest.mark.alone


class FakePort:
    """Notes what is done to it; can be unplugged, or be unable to make a break."""

    def __init__(self, *, breaks: bool = True) -> None:
        self.did: list[tuple[float, str, bytes]] = []
        self.plugged, self.closed, self._breaks = True, False, breaks

    def _note(self, what: str, data: bytes = b"") -> None:
        if not self.plugged:
            raise OSError(5, "Input/output error")
        self.did.append((time.monotonic(), what, data))

    @property
    def break_condition(self) -> bool:
        return False

    @break_condition.setter
    def break_condition(self, on: bool) -> None:
        if not self._breaks:
            raise OSError(25, "Inappropriate ioctl for device")
        self._note("break" if on else "mark")

    def write(self, data: bytes) -> int:
        self._note("write", data)
        return len(data)

    def flush(self) -> None:
        self._note("flush")

    def close(self) -> None:
        self.closed = True

    def packets(self) -> list[bytes]:
        return [data for _, what, data in self.did if what == "write"]


@pytest.fixture
def port():
    return FakePort()


@pytest.fixture
def wire(port):
    made = SerialWire("/dev/fake", lambda device: port)
    yield made
    made.close()
    assert port.closed


def test_nothing_before_the_first_values(wire, port):
    time.sleep(0.1)
    assert port.did == []


def test_break_mark_start_code_slots(wire, port):
    wire.send(1, slots_of(200, 7))
    wait_for(lambda: len(port.packets()) >= 5, 1.0, "five packets")
    assert [what for _, what, _ in port.did[:4]] == ["flush", "break", "mark", "write"]
    assert port.packets()[0] == b"\x00" + slots_of(200, 7)  # null START code, 512 slots
    for i in range(0, 16, 4):
        (_, _, _), (broken, _, _), (marked, _, _), (written, _, _) = port.did[i : i + 4]
        assert marked - broken >= 92e-6  # E1.11: break sent
        assert written - marked >= 12e-6  # E1.11: mark after break sent


def test_it_refreshes_by_itself_at_most_40_times_a_second(wire, port):
    wire.send(1, slots_of(5))
    time.sleep(1.0)
    assert 10 <= len(port.packets()) <= 40  # about 35; the lower bound is for a busy machine
    starts = [at for at, what, _ in port.did if what == "break"]
    # E1.11: break to break at least 1204 us, and not before 513 slots of 44 us are out.
    assert min(b - a for a, b in itertools.pairwise(starts)) >= 513 * 44e-6


def test_new_values_are_in_the_next_refresh(wire, port):
    wire.send(1, slots_of(5))
    wait_for(lambda: bool(port.packets()), 1.0, "a packet")
    wire.send(1, slots_of(6))
    took = wait_for(lambda: port.packets()[-1][1] == 6, 1.0, "the new value")
    assert took < 0.1


def test_the_lowest_universe_has_the_line(wire, port):
    wire.send(7, slots_of(70))
    wire.send(3, slots_of(30))
    wait_for(lambda: bool(port.packets()) and port.packets()[-1][1] == 30, 1.0, "universe 3")
    wire.terminate(3, slots_of(30))
    wait_for(lambda: port.packets()[-1][1] == 70, 1.0, "universe 7")
    wire.terminate(7, slots_of(70))
    time.sleep(0.06)
    count = len(port.packets())
    time.sleep(0.1)
    assert len(port.packets()) == count, "nothing is left to refresh"


def test_unplugged_and_plugged_back():
    ports, present = [FakePort()], [True]

    def opener(device: str) -> FakePort:
        if not present[0]:
            raise OSError(2, "No such file or directory")
        return ports[-1]

    wire = SerialWire("/dev/fake", opener)
    wire.send(1, slots_of(44))
    wait_for(lambda: bool(ports[0].packets()), 1.0, "a packet")
    assert wire.error == ""
    present[0], ports[0].plugged = False, False
    wait_for(lambda: "/dev/fake" in wire.error, 1.0, "the fault is told")
    assert "plugged in" in wire.error
    assert ports[0].closed
    time.sleep(0.6)
    ports.append(FakePort())
    present[0] = True
    wait_for(lambda: bool(ports[1].packets()), 0.8, "light again, tried every 0.5 s")
    assert ports[1].packets()[0][1] == 44
    wait_for(lambda: wire.error == "", 0.5, "the fault is over")
    wire.close()


def test_a_port_that_cannot_break_is_told():
    wire = SerialWire("/dev/fake", lambda device: FakePort(breaks=False))
    wire.send(1, slots_of(1))
    wait_for(lambda: "Inappropriate ioctl" in wire.error, 1.0, "the fault is told")
    wire.close()


def test_a_missing_device_is_told_before_anything_is_played():
    wire = SerialWire("/dev/there-is-no-such-adapter")
    wait_for(lambda: "there-is-no-such-adapter" in wire.error, 2.0, "the fault is told")
    wire.close()


def test_through_a_pseudo_terminal_with_pyserial():
    outer, inner = os.openpty()
    device = os.ttyname(inner)
    got = bytearray()

    def read() -> None:
        while True:
            try:
                data = os.read(outer, 4096)
            except OSError:
                return
            if not data:
                return
            got.extend(data)

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    wire = SerialWire(device)
    values = slots_of(200, 7, 255, 17, 19, 13, 10)  # 17, 19, 13, 10: a terminal must not meddle
    wire.send(1, values)
    wait_for(lambda: len(got) >= 3 * 513, 2.0, f"three packets ({wire.error})")
    assert wire.error == ""
    assert bytes(got[: 3 * 513]) == (b"\x00" + values) * 3
    wire.close()
    os.close(inner)
    os.close(outer)


def test_the_port_is_8n2_at_250_kbit():
    outer, inner = os.openpty()
    port = open_port(os.ttyname(inner))
    assert (port.baudrate, port.bytesize, port.parity, port.stopbits) == (250_000, 8, "N", 2)
    port.close()
    os.close(inner)
    os.close(outer)
