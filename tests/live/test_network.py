"""The network wire: sequence numbers, faults that must not spread, discovery."""

import json
import os
import shutil
import socket
import subprocess
import sys
import uuid
from pathlib import Path

import pytest

from server.errors import Refused
from server.live.network import NetworkWire, resolve
from tests.live.fakes import Listener, slots_of, wait_for

pytestmark = pytest.mark.alone

CID = uuid.UUID("01234567-89ab-cdef-0123-456789abcdef")
# A socket that has not asked to broadcast is refused this address with EACCES (POSIX sendto).
FAILS = ("255.255.255.255", 9)


@pytest.fixture
def listener():
    with Listener() as made:
        yield made


def wire_to(*destinations: tuple[str, int], **options) -> NetworkWire:
    return NetworkWire(destinations, False, CID, **options)


def heard(listener: Listener, count: int) -> None:
    wait_for(lambda: len(listener.sent) >= count, 2.0, f"{count} packets")


def test_sequence_counts_per_universe_and_wraps(listener):  # 6.2.5
    wire = wire_to(("127.0.0.1", listener.port))
    sent = 0
    for i in range(300):
        wire.send(1, slots_of(1))
        if i % 3 == 0:
            wire.send(2, slots_of(2))
        sent += 1 + (i % 3 == 0)
        if i % 20 == 19:
            heard(listener, sent)  # the system queues only so many for a slow reader
    wire.close()
    for universe, count in ((1, 300), (2, 100)):
        numbers = [s.sequence for s in listener.sent if s.universe == universe]
        assert numbers == [i % 256 for i in range(count)]


def test_after_a_restart_a_receiver_accepts_us_by_the_second_packet(listener):
    """6.7.2: a receiver refuses a number when (new - last) as signed 8 bits is <= 0 and > -20."""
    wire = wire_to(("127.0.0.1", listener.port), resumed=True)
    for _ in range(30):
        wire.send(1, slots_of(1))
    heard(listener, 30)
    wire.close()
    for remembered in range(256):
        last, refused = remembered, 0
        for number in (s.sequence for s in listener.sent):
            difference = (number - last + 128) % 256 - 128
            if -20 < difference <= 0:
                refused += 1
            else:
                last = number
        assert refused <= 1, f"the receiver remembered {remembered}"


def test_terminated_packets_carry_the_option(listener):  # 6.2.6
    wire = wire_to(("127.0.0.1", listener.port))
    wire.send(1, slots_of(9))
    wire.terminate(1, slots_of(9))
    heard(listener, 2)
    wire.close()
    assert [(s.terminated, s.slots[0]) for s in listener.sent] == [(False, 9), (True, 9)]


def test_a_failing_destination_is_named_and_hurts_no_other(listener):
    wire = wire_to(FAILS, ("127.0.0.1", listener.port), FAILS)
    for i in range(5):
        wire.send(1, slots_of(i))
    heard(listener, 5)
    assert [s.slots[0] for s in listener.sent] == [0, 1, 2, 3, 4]
    assert "255.255.255.255:9" in wire.error
    assert "127.0.0.1" not in wire.error
    wire.close()


def test_a_broken_socket_is_made_anew(listener):
    wire = wire_to(("127.0.0.1", listener.port))
    wire.send(1, slots_of(1))
    path, _ = wire._unicast[0]
    os.close(path._socket.detach())  # as if the system had taken it away
    wire.send(1, slots_of(2))
    assert "127.0.0.1" in wire.error
    wire.send(1, slots_of(3))
    assert wire.error == ""
    heard(listener, 2)
    assert [s.slots[0] for s in listener.sent] == [1, 3]
    wire.close()


def test_the_sender_never_takes_port_5568():
    wire = wire_to(("127.0.0.1", 9))
    wire.send(1, slots_of(1))
    path, _ = wire._unicast[0]
    assert path._socket.getsockname()[1] not in (0, 5568)
    wire.close()


def test_names_are_looked_up_once_and_refused_in_words():
    assert resolve("127.0.0.1", 5568) == ("127.0.0.1", 5568)
    assert resolve("localhost", 5568) == ("127.0.0.1", 5568)
    with pytest.raises(Refused, match=r"nowhere\.invalid.*IPv4"):  # RFC 6761: never resolves
        wire_to(("nowhere.invalid", 5568))
    with pytest.raises(Refused, match="port"):
        wire_to(("127.0.0.1", 0))
    with pytest.raises(Refused, match="--to"):
        NetworkWire([], False, CID)
    with pytest.raises(ValueError, match="priority"):
        wire_to(("127.0.0.1", 5568), priority=201)


class FakeMulticast:
    """Notes what would go to which group."""

    error = ""

    def __init__(self) -> None:
        self.sent: list[tuple[bytes, tuple[str, int]]] = []

    def send(self, packet: bytes, address: tuple[str, int]) -> None:
        self.sent.append((packet, address))

    def close(self) -> None:
        pass


def test_discovery_every_ten_seconds_to_its_own_group():  # clauses 8, 9.3.1 and 12
    now = [100.0]
    wire = NetworkWire([], True, CID, clock=lambda: now[0])
    group = FakeMulticast()
    wire._multicast = group
    wire.send(300, slots_of(1))
    wire.send(1, slots_of(1))
    while now[0] < 160.0:
        now[0] += 0.9
        wire.send(300, slots_of(1))
        wire.send(1, slots_of(1))
    announced = [(p, a) for p, a in group.sent if a[0] == "239.255.250.214"]
    assert 6 <= len(announced) <= 7
    assert {a for _, a in group.sent} == {
        ("239.255.250.214", 5568),
        ("239.255.1.44", 5568),
        ("239.255.0.1", 5568),
    }
    assert announced[-1][0][120:] == bytes.fromhex("0001012c")  # sorted list: 1, 300
    wire.terminate(1, slots_of(1))
    now[0] += 10.0
    wire.send(300, slots_of(1))
    assert group.sent[-1][0][120:] == bytes.fromhex("012c")


def test_without_multicast_there_is_no_discovery(listener):
    now = [0.0]
    wire = wire_to(("127.0.0.1", listener.port), clock=lambda: now[0])
    for _ in range(4):
        now[0] += 10.0
        wire.send(1, slots_of(1))
    heard(listener, 4)
    assert [s.universe for s in listener.sent] == [1] * 4
    wire.close()


def in_a_namespace(script: str) -> list[str]:
    here = str(Path(__file__).with_name(script))
    return ["unshare", "-n", "sh", "-c", 'ip link set lo up && exec "$@"', "sh",
            sys.executable, here]  # fmt: skip


needs_namespace = pytest.mark.skipif(
    os.geteuid() != 0 or not shutil.which("unshare") or not shutil.which("ip"),
    reason="needs root, unshare and ip to make a network namespace",
)


@needs_namespace
def test_a_link_that_goes_down_and_comes_back():
    """The light comes back within 1 s of the network, and the fault is told meanwhile."""
    done = subprocess.run(
        in_a_namespace("link_down.py"), capture_output=True, text=True, timeout=20
    )
    assert done.returncode == 0, done.stderr
    happened = json.loads(done.stdout)
    assert happened["well"] == [True, ""]
    assert happened["while_down"] == 0
    live, message = happened["during"]
    assert not live
    assert message.startswith("nothing gets out to 10.9.0.1:")
    assert "network" in message
    assert happened["back_after_s"] <= 1.0
    assert happened["after"] == [True, ""]


@needs_namespace
def test_an_interface_that_goes_down_and_comes_back():
    """The same over a virtual cable whose near end is taken down for three seconds."""
    done = subprocess.run(
        in_a_namespace("interface_down.py"), capture_output=True, text=True, timeout=20
    )
    if done.returncode == 77:
        pytest.skip("this kernel makes no virtual cables (veth)")
    assert done.returncode == 0, done.stderr
    happened = json.loads(done.stdout)
    assert happened["well"] == [True, ""]
    assert happened["before"] >= 3
    live, message = happened["during"]
    assert not live
    assert "network" in message
    assert happened["while_down"] == 0
    assert 0 <= happened["back_after_s"] <= 1.0
    assert happened["after"] == [True, ""]


def test_the_listener_would_notice_a_foreign_packet(listener):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.sendto(bytes(638), ("127.0.0.1", listener.port))
    heard(listener, 1)
    assert not any(listener.sent[0].slots)
