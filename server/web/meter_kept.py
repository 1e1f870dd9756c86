"""How a device's hand meter is set and how far its pass is: kept by the device itself, since the
meter is in the hand that taps it, and goes along into the next room."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Annotated
from urllib.parse import quote, unquote
from zlib import crc32

from fastapi import Depends, Request, Response

from server.errors import OutOfRange
from server.studio.head import number as within
from server.studio.metering import Step
from server.studio.readings import KINDS
from server.studio.touched import Pair
from server.web.doors import A_YEAR_S
from server.web.forms import number
from server.web.words import seconds_of

COOKIE = "thirdstop-meter"
MOST_SKIPPED = 100


@dataclass(frozen=True)
class Kept:
    """The unit the meter shows, its ISO and shutter as they were typed; the room whose pass is
    gone through, since when its readings count, and what was skipped in it, the oldest first."""

    kind: str = KINDS[0]
    iso: str = "400"
    shutter: str = "1/125"
    room: int = 0
    since: str = ""
    skipped: tuple[str, ...] = ()

    @classmethod
    def of(cls, text: str) -> "Kept":
        """What a device brings; where it makes no sense, the meter as it is at the first time."""
        parts = [unquote(part) for part in text[:4000].split("|")]
        try:
            kind, iso, shutter, room, since, skipped = parts
            if since:
                moment_of(since)
            kept = cls(kind, iso, shutter, int(room), since, tuple(skipped.split())[-MOST_SKIPPED:])
            return kept.as_set(kind, iso, shutter)
        except (ValueError, OutOfRange):
            return cls()

    @property
    def text(self) -> str:
        """What the device keeps."""
        parts = self.kind, self.iso, self.shutter, str(self.room), self.since
        return "|".join(quote(part, safe="") for part in (*parts, " ".join(self.skipped)))

    def as_set(self, kind: str, iso: str, shutter: str) -> "Kept":
        """The same with the meter set so. OutOfRange when no meter is."""
        if kind not in KINDS:
            raise OutOfRange(f"kind must be lux, ev or f, got {kind!r:.20}")
        within("iso", number({"iso": iso}, "iso"), 1, 1_000_000)
        within("shutter", seconds_of(shutter), 1e-5, 3600)
        return replace(self, kind=kind, iso=iso.strip()[:20], shutter=shutter.strip()[:20])

    def in_room(self, room: int) -> "Kept":
        """The same in a room: a pass of another room is none of this one."""
        return self if room == self.room else replace(self, room=room, since="", skipped=())

    def without(self, pair: Pair) -> "Kept":
        """The same with one reading put off: it comes back after all others."""
        told = mark_of(pair)
        skipped = (*(mark for mark in self.skipped if mark != told), told)
        return replace(self, skipped=skipped[-MOST_SKIPPED:])


def moment_of(text: str) -> datetime:
    """A moment that a page or a device tells."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise OutOfRange(f"since must be a moment, got {text!r:.40}") from None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def mark_of(pair: Pair) -> str:
    """A short word for a reading, for the device to keep."""
    return f"{crc32(repr(pair).encode()):08x}"


def next_step(pass_steps: Iterable[Step], skipped: Sequence[str]) -> Step | None:
    """What is read next: the first that is left, those that were put off at the end."""
    put_off = {mark: n for n, mark in enumerate(skipped)}
    left = (s for s in pass_steps if s.done is None)
    return min(left, key=lambda s: put_off.get(mark_of(s.pair), -1), default=None)


async def kept_of(request: Request) -> Kept:
    """What this device has kept."""
    return Kept.of(request.cookies.get(COOKIE, ""))


def keep(answer: Response, kept: Kept) -> Response:
    """Let the device keep it."""
    answer.set_cookie(COOKIE, kept.text, max_age=A_YEAR_S, httponly=True, samesite="strict")
    return answer


KeptDep = Annotated[Kept, Depends(kept_of)]
