"""What a request wishes for, in the words of the trade, with the ratio it would give."""

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl

from sqlmodel import Session

from server.errors import StudioError
from server.live.engine import BROUGHT_IN_OUTPUT
from server.live.now import Now
from server.store.looks import get_look
from server.studio.figures import outputs_of, ratio_of
from server.studio.mix import thirds_text
from server.studio.nudge import nudged
from server.web.board_rows import group_heads, group_name
from server.web.lights import light_of_look

MAY_BE_ASKED = (
    "nudge", "ratio", "recall", "levels", "mix", "step", "undo", "redo", "good", "back-to-good",
    "dark", "restore", "keep", "spot", "way", "ways", "rescue", "out", "in-again", "flip",
    "half-way", "walk",
)  # fmt: skip
"""Last part of the addresses, under /live/ and /api/, that an assistant may ask for."""
WORDS = {
    "undo": "undo", "redo": "do it again", "good": "mark the good frame",
    "back-to-good": "back to the good frame", "dark": "all down", "restore": "back up",
    "keep": "keep this light", "way": "take a way", "ways": "take a way",
    "spot": "a spot darker or lighter",
    "flip": "the light turned round", "half-way": "half-way to a look", "walk": "a walk to a look",
    "rescue": "make up for what is out", "out": "a head is out", "in-again": "a head is back",
    "levels": "set heads", "mix": "part of the way to a look",
}  # fmt: skip


def wish_of(path: str) -> str:
    """The kind of wish an address stands for; empty when it cannot be asked for."""
    where, _, act = path.rpartition("/")
    return act if where in ("/live", "/api") and act in MAY_BE_ASKED else ""


def fields_of(content_type: str, body: bytes) -> dict[str, Any]:
    """The fields of a form or of a JSON object; nothing for what is neither."""
    try:
        if content_type.startswith("application/json"):
            found = json.loads(body or b"{}")
            return found if isinstance(found, dict) else {}
        return dict(parse_qsl(body.decode()))
    except ValueError:
        return {}


def wish_words(
    now: Now, session: Session, act: str, fields: Mapping[str, Any], *, of_page: bool = False
) -> str:
    """`fill ▲⅓ → 2.6:1`. What the wish would do is worked out, never done. The keys of a page also
    bring a dark head in."""
    try:
        if act == "nudge":
            return _nudge_words(now, fields, of_page)
        if act == "recall":
            look = get_look(session, int(fields["look"]))
            if look.missing_heads(now.rig):
                return f"look {look.name}"
            return f"look {look.name} → {light_of_look(now.rig, look).told.ratio.told}"
        if act == "ratio":
            return f"make it {float(fields['target']):g}:1"
        if act == "step":
            return "the next look" if int(fields.get("by", 1)) > 0 else "the look before"
    except (StudioError, KeyError, ValueError, TypeError):
        return act  # the wish itself will be refused with its reason when it is granted
    return WORDS[act]


def _nudge_words(now: Now, fields: Mapping[str, Any], of_page: bool) -> str:
    thirds = int(fields["thirds"])
    name = str(fields.get("group") or fields.get("role") or fields["head"])
    if "group" in fields:
        heads, name = group_heads(now.rig, name), group_name(name)
    elif "role" in fields:
        heads = now.rig.heads_of(name)
    else:
        heads = (now.rig.head(name),)
    setting = now.record.history.now.setting
    keep = str(fields.get("keep", "nothing"))
    there_are = [h for h in heads if not h.out]
    if of_page and thirds > 0 and there_are and all(setting.of(h) is None for h in there_are):
        there = setting.with_outputs({there_are[0].name: BROUGHT_IN_OUTPUT})
        what = f"{there_are[0].name} in, low"
    else:
        there = nudged(now.rig, now.matrix, setting, heads, thirds, keep).setting
        what = f"{name} {thirds_text(float(thirds))}"
    return f"{what} → {ratio_of(now.rig, now.matrix, outputs_of(now.rig, there)).told}"
