"""Light over the network: E1.31 data packets by UDP, unicast, multicast or both."""

import contextlib
import errno
import socket
import time
import uuid
from collections.abc import Callable, Sequence

from server.errors import Refused
from server.live import e131

_WORDS = {
    errno.ENETUNREACH: "the network is not reachable; check cable, Wi-Fi and address",
    errno.EHOSTUNREACH: "no way to that address; check cable, Wi-Fi and address",
    errno.ENETDOWN: "the network is down; check cable and Wi-Fi",
    errno.EPERM: "this computer's firewall does not let it out",
    errno.EACCES: "this computer does not allow sending there; check the address",
    errno.EAGAIN: "the network takes no more packets",
    errno.ENOBUFS: "the network takes no more packets",
}


def resolve(host: str, port: int) -> tuple[str, int]:
    """IPv4 address of a host name, looked up once. [address, port 1..65535]

    A name may take seconds when no name server answers; a dotted address takes none.

    Raises
    ------
    Refused
        The name is not known or the port is out of range; the message says which.
    """
    if not 1 <= port <= 65535:
        raise Refused(f"{host}: the port must be 1..65535, got {port}")
    with contextlib.suppress(OSError):
        socket.inet_pton(socket.AF_INET, host)
        return host, port
    try:
        found = socket.getaddrinfo(host, port, socket.AF_INET, socket.SOCK_DGRAM)
    except (OSError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise Refused(
            f"cannot find {host!r} on the network ({reason}); give its IPv4 address instead"
        ) from None
    address = found[0][4][0]
    assert isinstance(address, str)  # AF_INET addresses always are
    return address, port


class _Path:
    """One destination with a socket of its own, so that its faults are its own too."""

    def __init__(self, label: str) -> None:
        self.label = label
        self.error = ""
        self._socket: socket.socket | None = None

    def send(self, packet: bytes, address: tuple[str, int]) -> None:
        """Send, or remember in words why not; the next packet tries again on a fresh socket."""
        try:
            if self._socket is None:
                self._socket = self._open()
            self._socket.sendto(packet, address)
        except OSError as error:
            reason = _WORDS.get(error.errno or 0) or error.strerror or str(error)
            self.error = f"nothing gets out to {self.label}: {reason}"
            self.close()
        else:
            self.error = ""

    def close(self) -> None:
        if self._socket is not None:
            with contextlib.suppress(OSError):  # it is being thrown away
                self._socket.close()
            self._socket = None

    @staticmethod
    def _open() -> socket.socket:
        opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        # Never wait for a full queue: a late packet is worth less than the next one.
        opened.setblocking(False)
        # Any free local port. On port 5568 we would take a local receiver's unicast from it.
        opened.bind(("", 0))
        return opened


class NetworkWire:
    """A `Wire` to E1.31 receivers.

    UDP gives no receipt: `error` is empty when this computer could send, which does not prove
    that a receiver listens.

    Parameters
    ----------
    destinations : sequence of (host, port)
        Unicast receivers; names are looked up once, here.
    multicast : bool
        Send to each universe's own group as well, and a universe discovery packet every 10 s.
    cid : uuid.UUID
        Identity of this sender; keep it from start to start (5.6).
    source_name : str
        At most 63 octets of UTF-8, shown by receivers (6.2.2).
    priority : int
        0..200 (6.2.3).
    resumed : bool
        This CID has sent before and was cut off, so receivers may remember its last sequence
        numbers, which we do not know: see `_next_sequence`.
    clock : callable
        Seconds, never going backwards; times the discovery packets.

    Raises
    ------
    Refused
        No destination at all, or one that cannot be found.
    ValueError
        Source name or priority out of range.

    References
    ----------
    ANSI E1.31-2018, clauses 8 and 9.
    """

    kind = "network"

    def __init__(
        self,
        destinations: Sequence[tuple[str, int]],
        multicast: bool,
        cid: uuid.UUID,
        source_name: str = "Thirdstop",
        priority: int = e131.DEFAULT_PRIORITY,
        *,
        resumed: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        if not destinations and not multicast:
            raise Refused("the network output needs --to HOST[:PORT], --multicast, or both")
        e131.data_packet(cid, source_name, priority, 0, 1, bytes(1))  # refuse bad values now
        self._unicast = [
            (_Path(f"{host}:{port}"), resolve(host, port)) for host, port in destinations
        ]
        self._multicast = _Path("the multicast groups") if multicast else None
        self._cid, self._source_name, self._priority = cid, source_name, priority
        self._resumed = resumed
        self._sequence: dict[int, int] = {}
        self._jumped: set[int] = set()
        self._transmitted: set[int] = set()
        self._clock = clock
        self._discover_at = clock()

    @property
    def error(self) -> str:
        """What is wrong with which destinations, in words; empty when all are well."""
        return "; ".join(path.error for path in self._paths() if path.error)

    def send(self, universe: int, slots: bytes) -> None:
        """Send one data packet to every destination."""
        self._transmitted.add(universe)
        self._send(universe, slots, terminated=False)
        self._discover_when_due()

    def terminate(self, universe: int, slots: bytes) -> None:
        """Send one packet with Stream_Terminated set (6.2.6), carrying the last values."""
        self._transmitted.discard(universe)
        self._send(universe, slots, terminated=True)

    def close(self) -> None:
        """Close the sockets."""
        for path in self._paths():
            path.close()

    def _paths(self) -> list[_Path]:
        paths = [path for path, _ in self._unicast]
        return paths if self._multicast is None else [*paths, self._multicast]

    def _send(self, universe: int, slots: bytes, *, terminated: bool) -> None:
        sequence = self._next_sequence(universe)
        packet = e131.data_packet(
            self._cid,
            self._source_name,
            self._priority,
            sequence,
            universe,
            slots,
            terminated=terminated,
        )
        for path, address in self._unicast:
            path.send(packet, address)
        if self._multicast is not None:
            self._multicast.send(packet, (e131.multicast_address(universe), e131.PORT))

    def _next_sequence(self, universe: int) -> int:
        """One more for each packet of the universe, wrapping (6.2.5).

        A receiver refuses a number up to 19 behind the last one it saw (6.7.2). After a restart
        with the same CID that could be any; so the second packet is numbered half a turn after
        the first: whichever number the receiver remembers, it accepts at least one of the two,
        and all that follow.
        """
        last = self._sequence.get(universe)
        if last is None:
            sequence = 0
        elif self._resumed and universe not in self._jumped:
            sequence = (last + 128) % 256
            self._jumped.add(universe)
        else:
            sequence = (last + 1) % 256
        self._sequence[universe] = sequence
        return sequence

    def _discover_when_due(self) -> None:
        """Announce the universes every 10 s (clause 8).

        It rides on the data packets, which never rest longer than a second, so it needs no thread;
        a packet late by that much does not delay the ones after it.
        """
        now = self._clock()
        if self._multicast is None or now < self._discover_at:
            return
        self._discover_at = max(
            self._discover_at + e131.DISCOVERY_INTERVAL_S, now + e131.DISCOVERY_INTERVAL_S / 2
        )
        group = (e131.multicast_address(e131.DISCOVERY_UNIVERSE), e131.PORT)
        for packet in e131.discovery_packets(self._cid, self._source_name, self._transmitted):
            self._multicast.send(packet, group)
