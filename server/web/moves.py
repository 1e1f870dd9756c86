"""Where heads stood before they were moved, so that a move can be taken back."""

from server.studio.head import Placement

KEPT = 20


class Moves:
    """The last places of each head of a room. One that was moved otherwise meanwhile has nothing
    to go back to: what is put back is always what the page shows. Forgotten when the server ends.
    """

    def __init__(self) -> None:
        self._trails: dict[tuple[int, str], list[tuple[Placement, Placement]]] = {}

    def add(self, room: int, head: str, before: Placement, after: Placement) -> None:
        """A head went from one place to another."""
        trail = self._trails.get((room, head), [])
        if trail and trail[-1][1] != before:
            trail = []
        self._trails[room, head] = [*trail, (before, after)][-KEPT:]

    def last(self, room: int, head: str, now: Placement) -> Placement | None:
        """Where the head was before it came to where it stands now."""
        trail = self._trails.get((room, head))
        return trail[-1][0] if trail and trail[-1][1] == now else None

    def taken_back(self, room: int, head: str) -> None:
        """The last move has been undone; the one before it is next."""
        self._trails[room, head].pop()
