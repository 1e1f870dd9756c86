"""The octets of ANSI E1.31-2018: data and universe discovery packets. Pure functions, no sockets.

Clauses are those of the 2018 edition. All integers are big-endian.
"""

import struct
import uuid
from collections.abc import Iterable

from server.live.output import SLOTS, check_universe

PORT = 5568
"""UDP port ACN_SDT_MULTICAST_PORT (clause 9)."""
DISCOVERY_UNIVERSE = 64214
DISCOVERY_INTERVAL_S = 10.0
"""Seconds between universe discovery packets (clauses 8 and 12)."""
DEFAULT_PRIORITY, HIGHEST_PRIORITY = 100, 200

_UNIVERSES_PER_PAGE = 512
_NAME_OCTETS = 64

# 5.1 preamble size, 5.2 post-amble size, 5.3 ACN packet identifier "ASC-E1.17".
_PREAMBLE = struct.pack("!HH12s", 0x0010, 0x0000, b"ASC-E1.17")
_VECTOR_ROOT_E131_DATA = 0x00000004  # 5.5
_VECTOR_ROOT_E131_EXTENDED = 0x00000008  # 5.5, discovery
_VECTOR_E131_DATA_PACKET = 0x00000002  # 6.2.1
_VECTOR_E131_EXTENDED_DISCOVERY = 0x00000002  # clause 8
_VECTOR_UNIVERSE_LIST = 0x00000001  # clause 8
_PREVIEW_DATA, _STREAM_TERMINATED = 0x80, 0x40  # 6.2.6

_ROOT = struct.Struct("!HI16s")  # 5.4 flags and length, 5.5 vector, 5.6 CID
_DATA_FRAMING = struct.Struct("!HI64sBHBBH")  # 6.1, 6.2.1 .. 6.2.7
_DMP = struct.Struct("!HBBHHHB")  # 7.1 .. 7.6 and the START code of 7.7
_DISCOVERY_FRAMING = struct.Struct("!HI64sI")
_DISCOVERY = struct.Struct("!HIBB")


def _flags_and_length(octets: int) -> int:
    """Flags 0x7 in the top four bits, the layer's length to the packet's end below (5.4)."""
    return 0x7000 | octets


def _name(source_name: str) -> bytes:
    """Source name as UTF-8; struct pads it with nulls to 64 octets, the last one stays null."""
    encoded = source_name.encode()
    if len(encoded) >= _NAME_OCTETS:
        raise ValueError(
            f"source name must be under {_NAME_OCTETS} octets of UTF-8, got {len(encoded)}"
        )
    return encoded


def data_packet(
    cid: uuid.UUID,
    source_name: str,
    priority: int,
    sequence: int,
    universe: int,
    slots: bytes,
    *,
    preview: bool = False,
    terminated: bool = False,
) -> bytes:
    """One E1.31 data packet with the null START code. [octets, 126 + number of slots]

    Parameters
    ----------
    cid : uuid.UUID
        Identity of the sender, constant for its life.
    source_name : str
        At most 63 octets of UTF-8.
    priority : int
        0..200; the highest wins at the receiver.
    sequence : int
        0..255; one more for each packet of the universe, wrapping.
    universe : int
        1..63999.
    slots : bytes
        1..512 slot values.
    preview, terminated : bool
        Options Preview_Data (not for live use) and Stream_Terminated (the universe ends here).

    Returns
    -------
    bytes
        The UDP payload: 638 octets for 512 slots.

    Raises
    ------
    ValueError
        An argument outside the ranges above.

    References
    ----------
    ANSI E1.31-2018, clauses 5, 6.1, 6.2 and 7, field by field in the code.
    """
    check_universe(universe)
    if not 0 <= priority <= HIGHEST_PRIORITY:
        raise ValueError(f"priority must be 0..{HIGHEST_PRIORITY}, got {priority}")
    if not 0 <= sequence <= 255:
        raise ValueError(f"sequence must be 0..255, got {sequence}")
    if not 1 <= len(slots) <= SLOTS:
        raise ValueError(f"a packet carries 1..{SLOTS} slots, got {len(slots)}")
    dmp = _DMP.size + len(slots)
    framing = _DATA_FRAMING.size + dmp
    root = _ROOT.size + framing
    options = (_PREVIEW_DATA if preview else 0) | (_STREAM_TERMINATED if terminated else 0)
    return b"".join(
        (
            _PREAMBLE,
            _ROOT.pack(_flags_and_length(root), _VECTOR_ROOT_E131_DATA, cid.bytes),
            _DATA_FRAMING.pack(
                _flags_and_length(framing),  # 6.1
                _VECTOR_E131_DATA_PACKET,  # 6.2.1
                _name(source_name),  # 6.2.2
                priority,  # 6.2.3
                0,  # 6.2.4 synchronization address: not synchronized
                sequence,  # 6.2.5
                options,  # 6.2.6
                universe,  # 6.2.7
            ),
            _DMP.pack(
                _flags_and_length(dmp),  # 7.1
                0x02,  # 7.2 set property
                0xA1,  # 7.3 address and data type
                0x0000,  # 7.4 first property address
                0x0001,  # 7.5 address increment
                1 + len(slots),  # 7.6 property value count, START code included
                0x00,  # 7.7 null START code
            ),
            slots,  # 7.7
        )
    )


def discovery_packets(
    cid: uuid.UUID, source_name: str, universes: Iterable[int]
) -> tuple[bytes, ...]:
    """Universe discovery packets listing what this sender transmits. [octets, 120 + 2 n each]

    Parameters
    ----------
    cid, source_name
        As for `data_packet`.
    universes : iterable of int
        Universes now transmitted, each 1..63999, in any order; 512 fit on one page.

    Returns
    -------
    tuple of bytes
        One UDP payload a page; at least one, also for an empty list.

    Raises
    ------
    ValueError
        A universe outside 1..63999 or too long a name.

    References
    ----------
    ANSI E1.31-2018, clause 8 (layer, pages, sorted list) and 12 (defined values).
    """
    listed = sorted(set(universes))
    for universe in listed:
        check_universe(universe)
    pages = [
        listed[i : i + _UNIVERSES_PER_PAGE] for i in range(0, len(listed), _UNIVERSES_PER_PAGE)
    ] or [[]]
    packets = []
    for page, chunk in enumerate(pages):
        layer = _DISCOVERY.size + 2 * len(chunk)
        framing = _DISCOVERY_FRAMING.size + layer
        root = _ROOT.size + framing
        packets.append(
            _PREAMBLE
            + _ROOT.pack(_flags_and_length(root), _VECTOR_ROOT_E131_EXTENDED, cid.bytes)
            + _DISCOVERY_FRAMING.pack(
                _flags_and_length(framing),
                _VECTOR_E131_EXTENDED_DISCOVERY,
                _name(source_name),
                0,  # reserved
            )
            + _DISCOVERY.pack(_flags_and_length(layer), _VECTOR_UNIVERSE_LIST, page, len(pages) - 1)
            + struct.pack(f"!{len(chunk)}H", *chunk)
        )
    return tuple(packets)


def multicast_address(universe: int) -> str:
    """Multicast group of a universe. [IPv4 address, 239.255.high.low]

    Parameters
    ----------
    universe : int
        1..63999, or 64214 for universe discovery.

    Raises
    ------
    ValueError
        Any other number.

    Examples
    --------
    >>> multicast_address(300)
    '239.255.1.44'

    References
    ----------
    ANSI E1.31-2018, 9.3.1: third octet the universe's high byte, fourth octet its low byte.
    """
    if universe != DISCOVERY_UNIVERSE:
        check_universe(universe)
    return f"239.255.{universe >> 8}.{universe & 0xFF}"
