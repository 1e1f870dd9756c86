"""Plays timelines on the wires: one thread, absolute deadlines, a line that never goes quiet."""

import threading
import time
from collections.abc import Callable, Sequence

from server.live.output import Frame, OutputStatus, Timeline, Wire
from server.live.schedule import Schedule

_LONGEST_SLEEP_S = 60.0  # a wake-up a minute costs nothing and bounds any mistake about the clock
_STOP_WITHIN_S = 2.0  # three packets one gap apart take 0.07 s


class Player:
    """A `LightOutput` that sends frames at their moments. [s, one monotonic clock]

    `Schedule` decides which packets are owed; this class waits, sends and notices faults. Nothing
    is sent before the first `play`. All methods may be called from any thread.

    Parameters
    ----------
    wires : sequence of Wire
        Every packet goes to all of them; a fault in one does not keep it from the others.
    clock : callable
        Seconds, never going backwards; the same clock as the timelines' moments.
    """

    def __init__(self, wires: Sequence[Wire], clock: Callable[[], float] = time.monotonic) -> None:
        self._wires = tuple(wires)
        self._clock = clock
        self._schedule = Schedule()
        self._changed = threading.Condition()
        self._started = False
        self._stopping = False
        self._closed = False
        # A wire that broke its promise and raised: told in status, never hidden.
        self._faults: dict[Wire, str] = {}
        self._thread = threading.Thread(target=self._run, name="light-output", daemon=True)
        self._thread.start()

    def play(self, timeline: Timeline) -> None:
        """Replace what was planned; a first frame already due goes out from the calling thread.

        Raises
        ------
        RuntimeError
            The player has been stopped.
        """
        with self._changed:
            if self._stopping:
                raise RuntimeError("this output has been stopped; make a new one")
            self._started = True
            self._schedule.play(timeline, self._clock())
            self._send_due()
            self._changed.notify()

    def shown(self) -> Frame:
        """The frame lit now; empty before the first one."""
        with self._changed:
            return self._schedule.lit(self._clock())

    def status(self) -> OutputStatus:
        """Kinds of the wires, and what is wrong with any of them."""
        with self._changed:
            started = self._started and not self._stopping
            faults = list(self._faults.values())
        kinds = tuple(dict.fromkeys(wire.kind for wire in self._wires)) or ("none",)
        troubles = [wire.error for wire in self._wires if wire.error] + faults
        reaches_lamps = any(kind in ("network", "serial") for kind in kinds)
        return OutputStatus(
            kind=" + ".join(kinds),
            live=reaches_lamps and started and not troubles,
            message="; ".join(troubles),
        )

    def stop(self, *, terminate: bool = True) -> None:
        """End on purpose and close the wires; waits for the terminated packets (about 0.07 s).

        With ``terminate=False`` the stream just ceases, so that a receiver holds the light until
        another sender goes on. May be called twice.
        """
        with self._changed:
            if not self._stopping:
                self._stopping = True
                if terminate:
                    self._schedule.end(self._clock())
                else:
                    self._closed = True
                self._changed.notify()
        self._thread.join(_STOP_WITHIN_S)
        for wire in self._wires:
            wire.close()

    def _run(self) -> None:
        with self._changed:
            while not self._closed:
                self._send_due()
                if self._stopping and self._schedule.all_ended():
                    return
                now = self._clock()
                wait_s = self._schedule.next_due(now) - now
                if wait_s > 0:
                    self._changed.wait(min(wait_s, _LONGEST_SLEEP_S))

    def _send_due(self) -> None:
        """Send what is owed now. The lock is held; wires never wait for the far end."""
        for packet in self._schedule.due(self._clock()):
            for wire in self._wires:
                try:
                    if packet.terminated:
                        wire.terminate(packet.universe, packet.slots)
                    else:
                        wire.send(packet.universe, packet.slots)
                except Exception as error:
                    # Whatever one wire does, the other wires and the next packets must go out.
                    self._faults[wire] = f"the {wire.kind} output failed: {error!r}"
                else:
                    self._faults.pop(wire, None)
            self._schedule.sent(packet.universe, self._clock())
