"""What a cue list would do here: its cues as looks of this rig, and what is left out of it."""

from dataclasses import replace

from server.studio.exchange.cue_looks import looks_of_cues
from server.studio.exchange.cues import read_cues
from server.studio.figures import outputs_of, ratio_of
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting
from server.web.book_plan import looks_plan
from server.web.incoming import Line, Plan

STANDS = (
    "Levels are read through this rig's curves. The heads are taken where they stand now, with the"
    " set lens and the sitter's turn: a cue list knows nothing of these."
)


def cues_plan(data: bytes, rig: Rig, here: list[Look]) -> Plan:
    """What a cue list would add. OutOfRange with its line when any known word cannot be read."""
    made = looks_of_cues(read_cues(data), rig)
    plan = looks_plan(made.looks, rig, here)
    matrix = light_matrix(rig, rig.sitter.yaw_deg)  # the heads stand, and the sitter sits, so
    add = tuple(_told(rig, matrix, *each) for each in zip(plan.add, plan.looks, strict=True))
    dark = tuple(Line(name, why) for name, why in made.left_out)
    left_out = (*plan.left_out, *dark)
    return replace(plan, add=add, left_out=left_out, notes=(STANDS, *made.told))


def _told(rig: Rig, matrix: LightMatrix, line: Line, look: Look) -> Line:
    """A cue may have no better name than its number: what it lights tells it apart."""
    lit = ", ".join(name for name, stops in look.stops.items() if stops is not None)
    ratio = ratio_of(rig, matrix, outputs_of(rig, Setting(look.stops, look.lens, look.yaw_deg)))
    light = f"{lit} · {ratio.told} lit : shadow" if ratio.value else lit
    return replace(line, note="; ".join(filter(None, (light, line.note))))
