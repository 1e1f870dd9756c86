"""Whether a look from elsewhere fits this rig, and the figures it gives here when it has none."""

from collections.abc import Iterable
from dataclasses import replace

from server.studio.keep import look_of
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting


def fitted(rig: Rig, look: Look) -> Look:
    """The look, with figures reckoned here when it brings none and the rig has all its heads.

    Raises OutOfRange when one of its heads cannot stand or be aimed so in this rig. Heads that the
    rig has not got are no hindrance: the look is marked with them, and recalled once they are here.
    """
    here = {h.name for h in rig.heads}
    setting = Setting(look.stops, look.lens, look.yaw_deg)
    placements = {n: p for n, p in look.placements.items() if n in here}
    told = look_of(rig, setting, look.name, placements=placements)
    if look.lux or look.missing_heads(rig):
        return look
    return replace(look, lux=told.lux, ratio=told.ratio, f_number=told.f_number)


def is_same(look: Look, other: Look) -> bool:
    """Whether two looks are one: the same light, words and moment of keeping (where both tell)."""
    return (
        look.name == other.name
        and dict(look.stops) == dict(other.stops)
        and dict(look.placements) == dict(other.placements)
        and (look.lens, look.yaw_deg) == (other.lens, other.yaw_deg)
        and (look.tags, look.notes) == (other.tags, other.notes)
        and (not look.kept_at or not other.kept_at or look.kept_at == other.kept_at)
    )


def known_as(looks: Iterable[Look]) -> dict[str, list[Look]]:
    """Looks by their names, which may be double."""
    found: dict[str, list[Look]] = {}
    for look in looks:
        found.setdefault(look.name, []).append(look)
    return found
