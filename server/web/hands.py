"""Set by hand: what the page of a desk without a data input shows, and its ticks."""

import threading
from collections.abc import Callable
from dataclasses import dataclass

from server.live.now import Now
from server.studio.faders import Faders, fader_numbers
from server.studio.head import Head


@dataclass(frozen=True)
class FaderView:
    """One head's fader. `place` is its rank among those that must move, 0 for one that stays."""

    index: int
    head: str
    fader: str
    number: int
    way: str
    place: int
    state: str


@dataclass(frozen=True)
class HandsView:
    """The whole page."""

    faders: tuple[FaderView, ...]
    summary: str
    left: int


class Hands:
    """Remembers the ticks as long as the server runs. Methods may be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._faders = Faders()
        self.news = 0
        """Counts the ticks, so that a page is drawn anew after one."""

    def faders(self, now: Now) -> Faders:
        """The faders against the light as it is now (while comparing: as it will be again)."""
        wanted = fader_numbers(now.rig, now.record.history.now.setting)
        with self._lock:
            self._faders = self._faders.aimed(wanted)
            return self._faders

    def change(self, now: Now, how: Callable[[Faders], Faders]) -> None:
        """Tick or untick."""
        self.faders(now)
        with self._lock:
            self._faders = how(self._faders)
            self.news += 1

    def view(self, now: Now) -> HandsView:
        """What the page shows, a row for every head of the rig, always in the rig's order."""
        moves = self.faders(now).moves
        places = {move.head: place for place, move in enumerate(moves, start=1)}
        rows = []
        for index, head in enumerate(now.rig.heads):
            place = places.get(head.name, 0)
            move = moves[place - 1] if place else None
            number = move.number if move else self._faders.wanted[head.name]
            rows.append(
                FaderView(
                    index=index,
                    head=head.name,
                    fader=fader_words(head),
                    number=number,
                    way="" if move is None else (
                        f"{'up' if number > move.before else 'down'} from {move.before}"
                        if number != move.before else f"back to {number}"
                    ),
                    place=place,
                    state="stays" if move is None else ("set" if move.done else "move"),
                )
            )  # fmt: skip
        left = sum(row.state == "move" for row in rows)
        return HandsView(tuple(rows), _summary(left, bool(moves)), left)


def fader_words(head: Head) -> str:
    """Which fader of the desk: its channel, with the line when there is more than one."""
    line = f", line {head.universe}" if head.universe != 1 else ""
    return f"fader {head.address}{line}"


def _summary(left: int, moved: bool) -> str:
    if left:
        return f"{left} fader{'s' if left > 1 else ''} to move, the largest change first"
    return "All set" if moved else "Nothing to move: every fader stands as this light wants it"
