"""Files that came in: read and shown first, stored only when someone has seen what they bring."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from secrets import token_urlsafe

from server.errors import NotFound
from server.studio.look import Look
from server.studio.readings import Reading

MOST_WAITING = 4


@dataclass(frozen=True)
class Line:
    """One look or reading of a file, and what is to be said about it."""

    name: str
    note: str = ""


@dataclass(frozen=True)
class Plan:
    """What storing a file would do here and now."""

    add: tuple[Line, ...] = ()
    left_out: tuple[Line, ...] = ()
    notes: tuple[str, ...] = ()
    looks: tuple[Look, ...] = ()
    readings: tuple[Reading, ...] = ()

    @property
    def seen(self) -> str:
        """A mark of exactly this plan: another rig or library makes another one."""
        return sha256(repr(self).encode()).hexdigest()[:24]

    @property
    def in_order(self) -> int:
        """How many of its looks bring a place in the running order."""
        return sum(look.place is not None for look in self.looks)


@dataclass(frozen=True)
class Arrived:
    """A file as it came, and the looks or readings that were made of it."""

    kind: str
    data: bytes
    made: tuple[int, ...] | tuple[Reading, ...] | None = None


class Incoming:
    """The last few files. They are forgotten when Thirdstop is started again: choose them anew."""

    def __init__(self) -> None:
        self._files: dict[str, Arrived] = {}

    def put(self, kind: str, data: bytes) -> str:
        """Keep a file in mind; answers what it is called by from here on."""
        token = token_urlsafe(9)
        self._files[token] = Arrived(kind, data)
        while len(self._files) > MOST_WAITING:
            del self._files[next(iter(self._files))]
        return token

    def waiting(self, token: str, kinds: tuple[str, ...]) -> Arrived:
        """A file of these kinds that was not stored yet."""
        found = self._files.get(token)
        if found is None or found.made is not None or found.kind not in kinds:
            raise NotFound("this file is no longer at hand, or is stored already: choose it again")
        return found

    @contextmanager
    def storing(self, token: str, kinds: tuple[str, ...]) -> Iterator[Arrived]:
        """Take a file to store it: a second tap meanwhile finds it gone. It is back on an error."""
        file = self.waiting(token, kinds)
        del self._files[token]
        try:
            yield file
        except BaseException:
            self.again(token, file)
            raise

    def again(self, token: str, file: Arrived) -> None:
        """It was not stored after all."""
        self._files[token] = file

    def stored(self, token: str, made: tuple[int, ...] | tuple[Reading, ...]) -> None:
        """It was stored as these looks, or these readings."""
        self._files[token] = Arrived("stored", b"", made)

    def looks_of(self, token: str) -> tuple[int, ...]:
        """The looks that a file was stored as; none when it is not known any more."""
        return tuple(each for each in self._made(token) if isinstance(each, int))

    def readings_of(self, token: str) -> tuple[Reading, ...]:
        """The readings that a file was stored as; none when it is not known any more."""
        return tuple(each for each in self._made(token) if isinstance(each, Reading))

    def _made(self, token: str) -> tuple[int, ...] | tuple[Reading, ...]:
        found = self._files.get(token)
        return found.made or () if found else ()

    def forget(self, token: str) -> None:
        """It was taken out again."""
        self._files.pop(token, None)
