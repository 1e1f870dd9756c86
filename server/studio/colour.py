"""Colour of the lamps in a colour sitting: who is off, and what the white balance is."""

from collections.abc import Mapping

from server.physics.lamp import mired_shift, tungsten_cct_kelvin
from server.studio.head import Head
from server.studio.rig import Rig
from server.studio.setting import Setting

TOLD_MIRED = 10.0
"""A difference that is seen side by side on skin (common practice). [mired]"""


def colour_kelvin(head: Head, output: float) -> float:
    """Colour of a lit head's lamp. [K]"""
    if head.lamp == "tungsten":
        return tungsten_cct_kelvin(head.cct_kelvin, output)
    return head.cct_kelvin


def mismatches(rig: Rig, setting: Setting) -> Mapping[str, str]:
    """Lit heads whose colour differs from the fill's (else the key's), in words.

    Empty in a black-and-white sitting.
    """
    lit = [h for h in rig.heads if setting.output(h) > 0]
    reference = next(
        (h for role in ("fill", "key") for h in lit if h.role == role), lit[0] if lit else None
    )
    if reference is None or not rig.sitter.colour:
        return {}
    to = colour_kelvin(reference, setting.output(reference))
    told = {}
    for head in lit:
        mired = mired_shift(to, colour_kelvin(head, setting.output(head)))
        if abs(mired) > TOLD_MIRED:
            warmer = "warmer" if mired > 0 else "cooler"
            told[head.name] = f"{abs(mired):.0f} mired {warmer} than {reference.name}"
    return told


def white_balance_kelvin(rig: Rig, setting: Setting) -> float | None:
    """The one white balance of a colour sitting, None when the lit heads differ. [K]"""
    lit = [h for h in rig.heads if setting.output(h) > 0]
    if not lit or not rig.sitter.colour or mismatches(rig, setting):
        return None
    kelvins = [colour_kelvin(h, setting.output(h)) for h in lit]
    return 1e6 / (sum(1e6 / k for k in kelvins) / len(kelvins))
