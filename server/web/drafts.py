"""Studios in files that were looked at and not put in place yet."""

from hashlib import sha256

from server.errors import Refused
from server.store.whole import LookColumns
from server.studio.whole import Whole

KEPT = 2
Ready = Whole[LookColumns]
"""A studio with its looks as they will be stored: thousands of them take little room."""


class Drafts:
    """The newest two, each under a number that is made from what its file says."""

    def __init__(self) -> None:
        self._drafts: dict[str, Ready] = {}

    def keep(self, text: bytes, whole: Ready) -> str:
        """Keep a studio until it is put in place; answers its number."""
        number = sha256(text).hexdigest()[:16]
        others = [(n, w) for n, w in self._drafts.items() if n != number]
        self._drafts = dict([*others[-(KEPT - 1) :], (number, whole)])
        return number

    def take(self, number: str) -> Ready:
        """The studio that was looked at under this number. Refused when it is forgotten."""
        whole = self._drafts.pop(number, None)  # once: a second tap puts nothing in place again
        if whole is None:
            raise Refused("that file is not at hand any more: choose it once more")
        return whole
