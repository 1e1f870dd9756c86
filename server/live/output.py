"""What the engine hands to the lamps: whole frames with the moment each is due.

The engine computes a fade ahead of time and hands it over in one piece, so that whoever plays it
needs no arithmetic and can play it to its end even when the engine is gone.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Protocol

Frame = Mapping[int, bytes]
"""Universe -> slot values, exactly 512 octets each; the START code is not among them."""

SLOTS = 512
LOWEST_UNIVERSE, HIGHEST_UNIVERSE = 1, 63999


@dataclass(frozen=True)
class Timeline:
    """Frames with the moments they are due; the last one is held. [s, of time.monotonic()]

    Parameters
    ----------
    frames : tuple of (float, Frame)
        Moment [s, time.monotonic()] and whole frame, moments never descending (of two frames for
        the same moment the later one counts), at least one frame. A universe that a frame leaves
        out is ended there. The frames must not be changed after being handed over.

    Raises
    ------
    ValueError
        No frame, a moment out of order or not finite, a universe outside 1..63999, or slot values
        that are not exactly 512 octets: a bug in the caller.

    References
    ----------
    ANSI E1.31-2018, 6.2.7 (universes 1..63999); ANSI E1.11 (at most 512 slots).
    """

    frames: tuple[tuple[float, Frame], ...]

    def __post_init__(self) -> None:
        if not self.frames:
            raise ValueError("a timeline needs at least one frame")
        before = float("-inf")
        for i, (moment, frame) in enumerate(self.frames):
            if not isfinite(moment) or moment < before:
                raise ValueError(
                    f"frame {i}: its moment {moment!r} must be finite and not before {before!r}"
                )
            before = moment
            for universe, slots in frame.items():
                check_universe(universe)
                if not isinstance(slots, bytes) or len(slots) != SLOTS:
                    raise ValueError(
                        f"frame {i}, universe {universe}: slots must be {SLOTS} bytes, got "
                        f"{type(slots).__name__} of length {len(slots)}"
                    )


def check_universe(universe: int) -> None:
    """Refuse a universe number that no data packet may carry. [universe, 1..63999]

    Raises
    ------
    ValueError
        Not a whole number from 1 to 63999.

    References
    ----------
    ANSI E1.31-2018, 6.2.7: 0 and 64000..65535 are reserved.
    """
    whole = isinstance(universe, int) and not isinstance(universe, bool)
    if not whole or not LOWEST_UNIVERSE <= universe <= HIGHEST_UNIVERSE:
        raise ValueError(
            f"universe must be a whole number {LOWEST_UNIVERSE}..{HIGHEST_UNIVERSE}, "
            f"got {universe!r}"
        )


@dataclass(frozen=True)
class OutputStatus:
    """Where the light goes and whether it gets there.

    ``kind`` is "network", "serial", "by hand" or "none"; several are joined with " + ".
    ``live`` is true when frames are going out to real lamps and nothing is known to be failing.
    ``message`` says in plain words what is wrong; empty when nothing is.
    """

    kind: str
    live: bool
    message: str = ""


class LightOutput(Protocol):
    """Something that plays timelines: the player itself, the keeper far away, or nothing at all."""

    def play(self, timeline: Timeline) -> None:
        """Replace whatever was planned; a first frame already due goes out before returning."""

    def shown(self) -> Frame:
        """What the channels show now, as far as it is known; empty when nothing is."""

    def status(self) -> OutputStatus:
        """Say where the light goes and whether it gets there."""

    def stop(self, *, terminate: bool = True) -> None:
        """End on purpose: three terminated packets; ``terminate=False`` closes without them."""


class Wire(Protocol):
    """One kind of destination. Its methods never wait for the far end and never raise OSError."""

    @property
    def kind(self) -> str:
        """As in `OutputStatus.kind`: "network", "serial" or "by hand"."""

    @property
    def error(self) -> str:
        """What is wrong, in plain words; empty when well."""

    def send(self, universe: int, slots: bytes) -> None:
        """Send the 512 slot values of one universe."""

    def terminate(self, universe: int, slots: bytes) -> None:
        """Send one packet saying that this universe ends, carrying its last values."""

    def close(self) -> None:
        """Let go of the line. May be called twice."""
