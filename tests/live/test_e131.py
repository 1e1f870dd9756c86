"""E1.31 packets against the clauses of the standard and against two independent readers."""

import json
import os
import shutil
import struct
import subprocess
import sys
import uuid
from pathlib import Path

import pytest

from server.live.e131 import data_packet, discovery_packets, multicast_address
from tests.live.fakes import slots_of

CID = uuid.UUID("01234567-89ab-cdef-0123-456789abcdef")
SLOTS = bytes(range(256)) * 2

# ANSI E1.31-2018, clauses 5 to 7: (first octet, octets in hexadecimal, clause).
OCTETS = [
    (0, "0010", "5.1 preamble size"),
    (2, "0000", "5.2 post-amble size"),
    (4, "4153432d45312e3137000000", "5.3 ACN packet identifier"),
    (16, "726e", "5.4 root flags and length: 638 - 16 = 622"),
    (18, "00000004", "5.5 VECTOR_ROOT_E131_DATA"),
    (22, "0123456789abcdef0123456789abcdef", "5.6 CID"),
    (38, "7258", "6.1 framing flags and length: 638 - 38 = 600"),
    (40, "00000002", "6.2.1 VECTOR_E131_DATA_PACKET"),
    (44, "5468697264e28285" + "00" * 56, "6.2.2 source name, UTF-8, padded with nulls to 64"),
    (108, "64", "6.2.3 priority 100"),
    (109, "0000", "6.2.4 not synchronized"),
    (111, "fe", "6.2.5 sequence number"),
    (112, "00", "6.2.6 options"),
    (113, "f9ff", "6.2.7 universe 63999"),
    (115, "720b", "7.1 DMP flags and length: 638 - 115 = 523"),
    (117, "02", "7.2 set property"),
    (118, "a1", "7.3 address and data type"),
    (119, "0000", "7.4 first property address"),
    (121, "0001", "7.5 address increment"),
    (123, "0201", "7.6 property value count 513"),
    (125, "00", "7.7 null START code"),
    (126, SLOTS.hex(), "7.7 slots"),
]


def test_every_octet_by_clause():
    packet = data_packet(CID, "Third₅", 100, 254, 63999, SLOTS)
    covered = 0
    for at, octets, clause in OCTETS:
        expected = bytes.fromhex(octets)
        assert at == covered, f"the table leaves a hole before {clause}"
        assert packet[at : at + len(expected)] == expected, clause
        covered += len(expected)
    assert len(packet) == covered == 638


def test_options_by_bit():  # 6.2.6: bit 7 Preview_Data, bit 6 Stream_Terminated
    def options(**given: bool) -> int:
        return data_packet(CID, "T", 100, 0, 1, SLOTS, **given)[112]

    assert options(preview=True) == 0b1000_0000
    assert options(terminated=True) == 0b0100_0000
    assert options(preview=True, terminated=True) == 0b1100_0000


def test_lengths_follow_the_slots():  # 5.4, 6.1, 7.1, 7.6: the layers' lengths count to the end
    packet = data_packet(CID, "T", 100, 0, 1, bytes(24))
    assert len(packet) == 126 + 24
    assert struct.unpack("!H", packet[16:18])[0] == 0x7000 + 150 - 16
    assert struct.unpack("!H", packet[38:40])[0] == 0x7000 + 150 - 38
    assert struct.unpack("!H", packet[115:117])[0] == 0x7000 + 150 - 115
    assert struct.unpack("!H", packet[123:125])[0] == 25


@pytest.mark.parametrize(
    ("universe", "address"),  # 9.3.1
    [(1, "239.255.0.1"), (256, "239.255.1.0"), (300, "239.255.1.44"), (63999, "239.255.249.255"),
     (64214, "239.255.250.214")],
)  # fmt: skip
def test_multicast_addresses(universe, address):
    assert multicast_address(universe) == address


@pytest.mark.parametrize("universe", [0, -1, 64000, 64213, 65535, 70000])  # 6.2.7
def test_reserved_universes_are_refused(universe):
    with pytest.raises(ValueError, match="universe"):
        data_packet(CID, "T", 100, 0, universe, SLOTS)
    with pytest.raises(ValueError, match="universe"):
        multicast_address(universe)


@pytest.mark.parametrize(
    ("name", "priority", "sequence", "slots", "words"),
    [
        ("n" * 64, 100, 0, SLOTS, "source name"),  # 6.2.2: 64 octets with the closing null
        ("é" * 32, 100, 0, SLOTS, "source name"),  # octets count, not letters
        ("T", 201, 0, SLOTS, "priority"),  # 6.2.3
        ("T", -1, 0, SLOTS, "priority"),
        ("T", 100, 256, SLOTS, "sequence"),
        ("T", 100, 0, b"", "slots"),
        ("T", 100, 0, bytes(513), "slots"),  # E1.11: at most 512
    ],
)
def test_values_out_of_range_are_refused(name, priority, sequence, slots, words):
    with pytest.raises(ValueError, match=words):
        data_packet(CID, name, priority, sequence, 1, slots)


def test_discovery_by_octet():  # clauses 8 and 12; list sorted, 16 bits each
    (packet,) = discovery_packets(CID, "Third", [300, 1, 300])
    assert packet[:16] == bytes.fromhex("00100000" + "4153432d45312e3137000000")
    assert packet[16:22] == bytes.fromhex("706c" + "00000008")  # 124 - 16 = 108
    assert packet[22:38] == CID.bytes
    assert packet[38:44] == bytes.fromhex("7056" + "00000002")  # 124 - 38 = 86
    assert packet[44:112] == b"Third".ljust(64, b"\0") + bytes(4)
    assert packet[112:118] == bytes.fromhex("700c" + "00000001")  # 124 - 112 = 12
    assert packet[118:] == bytes.fromhex("0000" + "0001" + "012c")


def test_discovery_pages():  # clause 8: at most 512 universes a page; page, last page
    first, second = discovery_packets(CID, "T", range(1, 514))
    assert (len(first), first[118], first[119]) == (120 + 1024, 0, 1)
    assert (len(second), second[118], second[119]) == (120 + 2, 1, 1)
    assert len(discovery_packets(CID, "T", [])) == 1


TSHARK = shutil.which("tshark")


@pytest.mark.skipif(
    TSHARK is None or shutil.which("text2pcap") is None,
    reason="tshark and text2pcap are not installed (Debian: tshark, wireshark-common)",
)
def test_tshark_decodes_the_packets(tmp_path):
    """Wireshark's ACN dissector is the judge; it knows nothing of this program."""
    packets = [
        data_packet(CID, "Thirdstop", 100, 255, 300, slots_of(200, 7)),
        data_packet(CID, "Thirdstop", 150, 0, 1, slots_of(1), terminated=True),
    ]
    dump = "".join(
        f"{at:06x} {packet[at : at + 16].hex(' ')}\n"
        for packet in packets
        for at in range(0, len(packet), 16)
    )
    (tmp_path / "packets.txt").write_text(dump)
    capture = str(tmp_path / "packets.pcap")
    to_pcap = ["text2pcap", "-q", "-u", "5568,5568", "-4", "10.0.0.2,239.255.1.44"]
    subprocess.run([*to_pcap, str(tmp_path / "packets.txt"), capture], check=True, timeout=20)
    names = ("source_name", "priority", "seq_number", "universe", "option_p",
             "option_s", "count")  # fmt: skip
    read = [str(TSHARK), "-r", capture, "--enable-heuristic", "acn", "-o", "acn.dmx_enable:TRUE"]
    fields = [word for name in names for word in ("-e", f"acn.dmx.{name}")]
    table = subprocess.run(
        [*read, "-T", "fields", "-E", "separator=;", *fields],
        check=True, capture_output=True, text=True, timeout=30,
    ).stdout.split("\n")  # fmt: skip
    assert table[0].split(";")[:4] == ["Thirdstop", "100", "255", "300"]
    assert table[1].split(";")[:4] == ["Thirdstop", "150", "0", "1"]
    assert [row.split(";")[4] for row in table[:2]] == ["0", "0"]  # preview
    assert [row.split(";")[5] for row in table[:2]] == ["0", "1"]  # terminated
    assert [int(row.split(";")[6], 0) for row in table[:2]] == [513, 513]
    whole = subprocess.run(
        [*read, "-V"], check=True, capture_output=True, text=True, timeout=30
    ).stdout
    assert "Malformed" not in whole
    assert whole.count("Start Code: 0 (0x00)") == 2
    assert "001-020: C8  7 .." in whole  # slots 1 and 2
    assert whole.count(f"CID: {CID}") == 2


def test_an_independent_receiver_understands_us():
    """The `sacn` library (a dev dependency) listens where E1.31 says: UDP port 5568.

    As root it runs in a network namespace of its own, because on one machine only one socket gets
    the unicast packets for a port.
    """
    script = Path(__file__).with_name("sacn_round_trip.py")
    command = [sys.executable, str(script)]
    if os.geteuid() == 0 and shutil.which("unshare") and shutil.which("ip"):
        command = ["unshare", "-n", "sh", "-c", 'ip link set lo up && exec "$@"', "sh", *command]
    done = subprocess.run(command, capture_output=True, text=True, timeout=20)
    assert done.returncode == 0, done.stderr
    heard = json.loads(done.stdout)
    assert heard["first"] == [200, 7, 0, 91], "the first thing heard must be the first look"
    assert heard["last"] == [12, 34, 0, 56]
    assert heard["dark"] == 0, "no frame without light was ever sent"
    assert heard["source"] == "Thirdstop"
    assert heard["priority"] == 100
    # This receiver says "timeout" for every packet with Stream_Terminated: three (6.2.6).
    assert heard["availability"] == ["available"] + ["timeout"] * 3
