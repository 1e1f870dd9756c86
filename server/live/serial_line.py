"""Light over a wire: DMX512-A through an RS-485 adapter on a serial port."""

import contextlib
import termios
import threading
import time
from collections.abc import Callable
from typing import Protocol

BAUD = 250_000
"""ANSI E1.11: 250 kbit/s, 8 data bits, no parity, 2 stop bits; a slot takes 44 us."""
BREAK_S = 200e-6
"""Break before each packet. [s] E1.11: at least 92 us sent, typically 176 us."""
MARK_S = 20e-6
"""Mark after break. [s] E1.11: at least 12 us sent."""
REFRESH_S = 1 / 35
"""Time from packet to packet. [s] A full packet lasts 22.9 ms (200 + 20 us + 513 slots of 44 us);
the 5.7 ms left let an adapter empty its own buffer before the next break."""
RETRY_S = 0.5
"""Time between attempts to open a missing adapter. [s] common practice"""
_WRITE_TIMEOUT_S = 0.5


class Port(Protocol):
    """The part of a serial port that is used here; pyserial's Serial has it."""

    break_condition: bool

    def write(self, data: bytes, /) -> int | None: ...
    def flush(self) -> None: ...
    def close(self) -> None: ...


def open_port(device: str) -> Port:
    """Open a serial device for DMX512-A. [250 kbit/s, 8N2]

    Raises
    ------
    OSError
        The device is missing, taken or not allowed (pyserial's SerialException is one), or
        pyserial itself is not installed.
    """
    try:
        import serial  # only who has an adapter pays for it
    except ImportError as error:
        raise OSError("pyserial is not installed; run: pip install pyserial") from error
    port: Port = serial.Serial(
        device,
        baudrate=BAUD,
        bytesize=8,
        parity="N",
        stopbits=2,
        write_timeout=_WRITE_TIMEOUT_S,
        exclusive=True,
    )
    return port


class SerialWire:
    """A `Wire` that refreshes one universe about 35 times a second from its own thread.

    A serial line carries one universe: the lowest of those sent. DMX512-A has no "stream ends"
    packet; after `terminate` the line goes quiet and a dimmer holds or goes out by its own setting.

    The break is made with the port's break condition (two ioctl calls), not by sending a zero at a
    slower baud rate: the common USB drivers support it, and a change of rate would have to wait
    until the adapter's own buffer is empty, which they do not report. Either way a USB adapter
    takes about a millisecond for it; E1.11 allows a break of up to 1 s.

    Parameters
    ----------
    device : str
        Path of the serial device. It may be missing now and be plugged in later.
    opener : callable
        Opens the device; raises OSError when it cannot.

    References
    ----------
    ANSI E1.11 (DMX512-A): break, mark, null START code 0, at most 512 slots.
    """

    kind = "serial"

    def __init__(self, device: str, opener: Callable[[str], Port] = open_port) -> None:
        self.error = ""
        self._device = device
        self._opener = opener
        self._universes: dict[int, bytes] = {}
        self._changed = threading.Condition()
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="serial-line", daemon=True)
        self._thread.start()

    def send(self, universe: int, slots: bytes) -> None:
        """Hold these 512 values; the thread sends them at its next refresh, 29 ms at most."""
        with self._changed:
            self._universes[universe] = slots
            self._changed.notify()

    def terminate(self, universe: int, slots: bytes) -> None:
        """Stop refreshing this universe."""
        with self._changed:
            self._universes.pop(universe, None)

    def close(self) -> None:
        """Stop refreshing and let go of the device."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._thread.join(2 * _WRITE_TIMEOUT_S)

    def _run(self) -> None:
        port: Port | None = None
        due = time.monotonic()
        while True:
            slots = self._next_slots(waiting=port is not None)
            if self._closing:
                break
            try:
                if port is None:
                    port = self._opener(self._device)
                    self.error = ""
                if slots is not None:
                    self._send_packet(port, slots)
                    self.error = ""
            except (OSError, ValueError, termios.error) as error:  # termios.error is no OSError
                self.error = (
                    f"nothing gets out to {self._device}: {error}; check that the adapter is "
                    "plugged in and not used by another program (trying again)"
                )
                self._shut(port)
                port = None
                self._pause(RETRY_S)
            due = max(due + REFRESH_S, time.monotonic())  # late packets are not made up for
            self._pause(due - time.monotonic())
        self._shut(port)

    def _next_slots(self, *, waiting: bool) -> bytes | None:
        """The values to send; waits for the first ones once the device is open."""
        with self._changed:
            while waiting and not self._universes and not self._closing:
                self._changed.wait()
            return self._universes[min(self._universes)] if self._universes else None

    def _pause(self, seconds: float) -> None:
        """Sleep, unless closing; new values wait for the next refresh."""
        end = time.monotonic() + seconds
        with self._changed:
            while not self._closing and (left := end - time.monotonic()) > 0:
                self._changed.wait(left)

    @staticmethod
    def _send_packet(port: Port, slots: bytes) -> None:
        port.flush()  # the last packet must be out before the line is broken
        port.break_condition = True
        time.sleep(BREAK_S)
        port.break_condition = False
        time.sleep(MARK_S)
        port.write(b"\x00" + slots)  # null START code

    @staticmethod
    def _shut(port: Port | None) -> None:
        if port is not None:
            with contextlib.suppress(OSError, termios.error):  # it may be unplugged already
                port.close()
