"""A metering pass or a channel walk that was left half way: one head lit, and the way back."""

from server.errors import Refused
from server.live.now import Now
from server.live.owner import Move
from server.studio.history import Step
from server.studio.setting import kept_over

ASIDE = {"metering: ": "Metering", "channel walk, ": "The channel walk"}
"""How the steps of what is no light for a sitter are told -> what they belong to."""


def left_off_words(now: Now) -> str:
    """What was left half way; empty when the light is one for the sitter."""
    what = _aside(now.record.history.now)
    if not what:
        return ""
    lit = [h.head.name for h in now.figures.heads if h.output > 0]
    state = f"only {lit[0]} is lit" if len(lit) == 1 else "the heads are down"
    return f"{what} was left half way: {state}."


def light_before(now: Now) -> Move:
    """The step back to the light before it; the lens stays the photographer's."""
    history = now.record.history
    past = history.steps[: history.at + 1]
    if not _aside(history.now):
        raise Refused("nothing was left half way: this is the sitter's light already")
    before = next((step for step in reversed(past) if not _aside(step)), None)
    if before is None:
        raise Refused("the light before it is too long ago: recall a look")
    there = kept_over(now.rig, before.setting).with_lens(history.now.setting.lens)
    return Move(there, "light before", "back to the light before")


def _aside(step: Step) -> str:
    return next((what for start, what in ASIDE.items() if step.text.startswith(start)), "")
