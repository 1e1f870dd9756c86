"""Looks as the cues of a plain-text cue list, and what such a file says of cues and patch.

See `cue_text` for the standard and the subset of it. Here a channel is a head, numbered in the
order of the rig; a dimmer is an address, 512 (universe - 1) + address (common practice); a cue says
the level of every head, dark ones too, so that nothing of the cue before it stays.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from server.errors import OutOfRange
from server.physics.signal import signal_for
from server.studio.exchange.cue_text import (
    IDENT,
    WIDTH,
    Record,
    hex_text,
    percent_text,
    plain,
    records,
    wrapped,
)
from server.studio.head import LAST_UNIVERSE, SLOTS, Head
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting, level

HIGHEST_CHANNEL = 99_999
HIGHEST_DIMMER = LAST_UNIVERSE * SLOTS
MOST_CUES = 2000
MOST_TOLD = 60
FADE_S = 1
BLOCKS = {"GROUP": "groups are no looks", "SUB": "submasters are no looks"}
LEFT_OUT = {
    "UP": "", "DOWN": "", "PART": "",
    "LINK": "cues do not call each other here", "FOLLOWON": "cues do not call each other here",
    "CLEAR": "nothing that is here is cleared",
}  # fmt: skip
"""Known words that mean nothing here, with what is told of them. Parts are taken together."""


@dataclass
class Cue:
    """One cue: channel -> level. [1], 0..1"""

    number: str
    line: int
    name: str = ""
    levels: dict[int, float] = field(default_factory=dict)


@dataclass
class CueList:
    """What a file says. `patch` is channel -> dimmers with their share of the level, None without
    a patch; `told` what was left out of it, by line."""

    cues: dict[str, Cue] = field(default_factory=dict)
    patch: dict[int, dict[int, float]] | None = None
    page: int = 0
    told: list[str] = field(default_factory=list)


def dimmer_of(universe: int, address: int) -> int:
    """Addresses of all universes as one count from 1."""
    return SLOTS * (universe - 1) + address


def cue_list_text(looks: Sequence[Look], rig: Rig, *, in_percent: bool = False) -> str:
    """Looks as cues 1, 2, 3 ... for the rig as it is patched."""
    lines = [
        f"Ident {IDENT}",
        f"! {plain(rig.room.name)}: looks as cues. A channel is a head:",
        *(f"! {channel} {plain(h.name)}" for channel, h in enumerate(rig.heads, start=1)),
        "! Address a of universe u is dimmer 512 (u - 1) + a.",
        "! A head of 16 bits has both its addresses on one channel.",
    ]
    for channel, head in enumerate(rig.heads, start=1):
        dimmers = [dimmer_of(head.universe, slot) for slot in head.slots]
        lines += wrapped("Patch 1", [f"{channel}<{dimmer}@FL" for dimmer in dimmers])
    for count, look in enumerate(looks, start=1):
        lines += ["", f"Cue {count}"]
        if name := plain(look.name):
            lines.append(f"Text {name}")
        if missing := look.missing_heads(rig):
            lines.append(f"! lit there, but not in this rig: {plain(', '.join(missing))}")
        lines += [f"Up {FADE_S}", f"Down {FADE_S}"]
        levels = [
            f"{channel}@{_level(head, look, in_percent)}"
            for channel, head in enumerate(rig.heads, start=1)
        ]
        lines += wrapped("Chan", levels)
    return "\r\n".join(line[:WIDTH] for line in [*lines, "", "EndData", ""])


def _level(head: Head, look: Look, in_percent: bool) -> str:
    setting = Setting(look.stops, look.lens, look.yaw_deg)
    share = level(head, setting.output(head))
    return percent_text(share) if in_percent else hex_text(signal_for(share)[0])


def read_cues(data: bytes) -> CueList:
    """What a file says of cues and patch.

    A word that is not known is told by its line, and what is known is kept: that is how one desk
    reads another's file. But a known word that cannot be read refuses the whole file, and so do
    channels after an unknown word, since a guess could be a wrong light.
    """
    found, unknown = CueList(), ""
    cue: Cue | None = None
    block = last = ""
    for count, record in enumerate(records(data)):
        last = word = record.word
        if word == "IDENT":
            _check_ident(record, count)
        elif word == "CUE":
            cue, block, unknown = _cue(record, found.cues), word, ""
        elif word in BLOCKS or (word[0] == "$" and word[1:2] != "$"):
            cue, block, unknown = None, word, ""
            found.told.append(_left_out(record, BLOCKS.get(word, "a word of one maker")))
        elif word == "PATCH":
            _patch(record, found)
        elif word == "CHAN":
            if unknown:
                raise record.wrong(f"after {unknown}, whose channels these are cannot be told")
            if not block:
                raise record.wrong("these channels stand before any cue")
            if cue:
                _channels(record, cue)
        elif word == "TEXT":
            if cue:
                cue.name = cue.name or record.rest
        elif word in LEFT_OUT:
            if LEFT_OUT[word]:
                found.told.append(_left_out(record, LEFT_OUT[word]))
        elif word.startswith("$$"):
            found.told.append(_left_out(record, "a word of one maker"))
        elif word != "ENDDATA":
            unknown = f"the unknown word {word:.20} in line {record.line}"
            found.told.append(_left_out(record, "this word is not known here"))
    if not found.cues:
        raise OutOfRange("there is no cue in this file: it is no cue list, or an empty one")
    if last != "ENDDATA":
        raise OutOfRange(
            "the file ends without ENDDATA, so it may be cut off;"
            " if it is whole, write ENDDATA as its last line"
        )
    more = len(found.told) - MOST_TOLD
    if more > 0:
        found.told[MOST_TOLD:] = [f"and {more} more such lines"]
    return found


def _left_out(record: Record, why: str) -> str:
    return f"line {record.line}, {record.word:.20}: left out, {why}"


def _check_ident(record: Record, count: int) -> None:
    if count:
        raise record.wrong("this must be the first instruction")
    if record.parts != (IDENT,):
        raise record.wrong(f"only version {IDENT} is read, got {record.rest!r:.30}")


def _cue(record: Record, cues: dict[str, Cue]) -> Cue:
    number = record.parts[0] if record.parts else ""
    whole, point, rest = number.partition(".")
    if not (whole.isdigit() and len(whole) <= 5 and (rest.isdigit() or not point)):
        raise record.wrong(f"a cue needs its number, got {number!r:.30}")
    if len(cues) >= MOST_CUES and number not in cues:
        raise record.wrong(f"at most {MOST_CUES} cues are taken")
    return cues.setdefault(number, Cue(number, record.line))


def _channels(record: Record, cue: Cue) -> None:
    if not record.parts or len(record.parts) % 2:
        raise record.wrong("channels and levels go in pairs, such as 3@50")
    for channel, share in zip(record.parts[::2], record.parts[1::2], strict=True):
        number = record.whole(channel, "a channel", 1, HIGHEST_CHANNEL)
        cue.levels[number] = record.level(share)


def _patch(record: Record, found: CueList) -> None:
    if len(record.parts) < 4 or len(record.parts) % 3 != 1:
        raise record.wrong("a patch says page, then channel, dimmer and level, such as 1 3<7@FL")
    page = record.whole(record.parts[0], "a page", 1, HIGHEST_CHANNEL)
    found.page = found.page or page
    if page != found.page:
        found.told.append(
            _left_out(record, f"page {found.page} of the patch is the one that counts")
        )
        return
    patch: dict[int, dict[int, float]] = found.patch or {}
    for at in range(1, len(record.parts), 3):
        channel = record.whole(record.parts[at], "a channel", 1, HIGHEST_CHANNEL)
        dimmer = record.whole(record.parts[at + 1], "a dimmer", 1, HIGHEST_DIMMER)
        patch.setdefault(channel, {})[dimmer] = record.level(record.parts[at + 2])
    found.patch = patch


def dimmers_of(found: CueList, channel: int) -> Mapping[int, float]:
    """The dimmers of a channel; without a patch the one of the same number."""
    if found.patch is None:
        return {channel: 1.0} if channel <= HIGHEST_DIMMER else {}
    return found.patch.get(channel, {})
