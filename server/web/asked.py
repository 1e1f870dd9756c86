"""A list of readings that are asked for, as the address of the metering page tells it."""

import json
from collections.abc import Iterable, Sequence

from server.errors import OutOfRange
from server.studio.touched import Pair

MOST = 40


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
