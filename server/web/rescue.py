"""A rescue in words: what is missing, what makes up for it, what stays lost."""

from dataclasses import dataclass
from typing import Any

from server.studio.mix import thirds_text
from server.studio.rescue import Rescue
from server.studio.way_words import signed
from server.web.words import point_words


@dataclass(frozen=True)
class RescueView:
    """The nearest picture with what is left, before it is made."""

    without: str
    heads: str
    then: str
    lost: str
    limits: str


def rescue_view(found: Rescue) -> RescueView:
    """A rescue as the page shows it."""
    moves = [
        f"{name} {'in' if thirds is None else thirds_text(thirds)}".strip()
        for name, thirds in found.heads
    ]
    return RescueView(
        without=f"Without {', '.join(found.out)}: {found.was.told} is {found.without.told}.",
        heads=", ".join(moves) or "Nothing that is left can make up for it",
        then=f"{found.then.told} lit : shadow",
        lost=", ".join(f"{point_words(point)} {signed(stops)}" for point, stops in found.lost),
        limits=f"Circuit {', '.join(found.limited_by)} carries no more."
        if found.limited_by
        else "",
    )


def rescue_json(found: Rescue) -> dict[str, Any]:
    """A rescue of the contract."""
    return {
        "out": list(found.out),
        "heads": [{"head": name, "thirds": thirds} for name, thirds in found.heads],
        "lost": [{"point": point, "stops": stops} for point, stops in found.lost],
        "ratio": {
            "was": found.was.value,
            "without": found.without.value,
            "then": found.then.value,
        },
        "limited_by": list(found.limited_by),
    }
