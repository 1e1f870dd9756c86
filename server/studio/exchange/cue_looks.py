"""Cues of another desk as looks of this rig: levels through the patch and each head's curve."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from server.studio.exchange.cues import Cue, CueList, dimmer_of, dimmers_of
from server.studio.head import NAME_LENGTH, Head
from server.studio.keep import look_of
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops

TAG = "cue list"


@dataclass(frozen=True)
class CueLooks:
    """The looks, the cues that make none with the reason, and what else is to be said."""

    looks: tuple[Look, ...]
    left_out: tuple[tuple[str, str], ...]
    told: tuple[str, ...]


def looks_of_cues(found: CueList, rig: Rig) -> CueLooks:
    """Each cue as a look, its heads as they stand now, with the set lens and the sitter's turn.

    A channel that a cue does not name is dark in it. When two channels drive one head the higher
    counts (common practice).
    """
    heads = {dimmer_of(h.universe, h.address): h for h in rig.heads}
    fine = {dimmer_of(h.universe, slot) for h in rig.heads for slot in h.slots} - set(heads)
    looks: list[Look] = []
    left_out: list[tuple[str, str]] = []
    strange: set[int] = set()
    for cue in found.cues.values():
        levels: dict[str, float] = {}
        for channel, share in cue.levels.items():
            dimmers = dimmers_of(found, channel)
            if share > 0 and (not dimmers or set(dimmers) - set(heads) - fine):
                strange.add(channel)
            for dimmer, part in dimmers.items():
                if head := heads.get(dimmer):
                    levels[head.name] = max(levels.get(head.name, 0.0), share * part)
        name = _name(cue)
        if not any(levels.values()):
            left_out.append((name, "lights no head of this rig"))
            continue
        look = _look(rig, name, cue, {h.name: _stops(h, levels) for h in rig.heads})
        looks.append(replace(look, place=len(looks)))
    told = list(found.told)
    if found.patch is None:
        told.insert(0, "no PATCH in the file: channel 7 is taken as address 7, and so on")
    if strange:
        some = ", ".join(str(channel) for channel in sorted(strange)[:20])
        told.insert(0, f"left out, since no head of this rig is on their dimmers: channel {some}")
    return CueLooks(tuple(looks), tuple(left_out), tuple(told))


def _name(cue: Cue) -> str:
    name = " ".join(cue.name.split())[:NAME_LENGTH].strip()
    return name or f"Cue {cue.number}"


def _stops(head: Head, levels: Mapping[str, float]) -> Fraction | None:
    return exact_stops(head.dimmer.output(levels.get(head.name, 0.0)))


def _look(rig: Rig, name: str, cue: Cue, stops: Mapping[str, Fraction | None]) -> Look:
    setting = Setting(stops, rig.lens, rig.sitter.yaw_deg)
    return look_of(rig, setting, name, (TAG,), f"Cue {cue.number} of a cue list.")
