"""A list of readings that are asked for, as the address of the metering page tells it."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Depends, Form

from server.errors import OutOfRange
from server.live.now import Now
from server.studio.metering import Step
from server.studio.touched import Pair
from server.web.meter_kept import Kept, moment_of, next_step
from server.web.metering import steps_of

MOST = 40
TO_TRUST, TO_METER, TO_CARRY = "/meter/trust", "/meter", "/library/carry?"
"""Where the readings lead that were asked for by themselves."""


def asked_text(pairs: Iterable[Pair]) -> str:
    """`[["cheek right", "Key", false]]`; empty for the whole pass."""
    listed = [list(pair) for pair in pairs]
    return json.dumps(listed, separators=(",", ":"), ensure_ascii=False) if listed else ""


def asked_of(text: str) -> Sequence[Pair]:
    """The readings that a text asks for, in its order."""
    if not text:
        return ()
    try:
        listed = json.loads(text)
        pairs = tuple((str(p)[:60], str(h)[:60], bool(s)) for p, h, s in listed)
    except (ValueError, TypeError, RecursionError):
        raise OutOfRange(
            f'asked must be a list like [["cheek right", "Key", false]], got {text!r:.40}'
        ) from None
    if len(pairs) > MOST:
        raise OutOfRange(f"asked: at most {MOST} readings, got {len(pairs)}")
    return pairs


def meter_url(fields: dict[str, str]) -> str:
    """Where the next reading is taken."""
    return f"/meter?{urlencode(fields)}" if fields else "/meter"


@dataclass(frozen=True)
class Asking:
    """What a page or form asks for: readings by themselves, `since` when, and where they lead."""

    asked: str = ""
    since: str = ""
    to: str = ""

    @property
    def pairs(self) -> Sequence[Pair]:
        """The readings that are asked for; none for the whole pass."""
        return asked_of(self.asked)

    @property
    def after(self) -> str:
        """The page they lead to."""
        known = self.to == TO_METER or self.to.startswith(TO_CARRY)
        return self.to if known else TO_TRUST

    @property
    def fields(self) -> dict[str, str]:
        """The address that tells it, empty for the whole pass."""
        told = {"asked": self.asked, "since": self.since, "to": self.to}
        return {name: text for name, text in told.items() if text} if self.asked else {}

    def moment(self, kept: Kept) -> datetime | None:
        """Since when readings count: as it is told, else as the device keeps it."""
        text = self.since if self.asked or self.since else kept.since
        return moment_of(text) if text else None

    def steps(self, now: Now, kept: Kept) -> tuple[Step, ...]:
        """The readings, done and left."""
        return steps_of(now, self.moment(kept.in_room(now.record.room_id)), self.pairs)

    def next(self, now: Now, kept: Kept) -> Step | None:
        """What is read next."""
        return next_step(self.steps(now, kept), kept.in_room(now.record.room_id).skipped)


async def asking_of(
    asked: Annotated[str, Form(max_length=4000)] = "",
    since: Annotated[str, Form(max_length=60)] = "",
    to: Annotated[str, Form(max_length=4000)] = "",
) -> Asking:
    """What a form asks for."""
    return Asking(asked, since, to)


AskingDep = Annotated[Asking, Depends(asking_of)]
