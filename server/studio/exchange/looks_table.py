"""Looks as a table, one row a look and head: for a spreadsheet, not to come back."""

from collections.abc import Sequence

from server.errors import OutOfRange
from server.studio.exchange.book import places_of
from server.studio.exchange.table import Cell, written
from server.studio.figures import figures
from server.studio.light import light_matrix
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting, level

COLUMNS = (
    "look", "place_in_order", "tags", "head", "role", "stops_below_full", "level_percent",
    "head_at_lit_side_lux", "head_at_shadow_side_lux", "lit_side", "lit_side_lux", "shadow_side",
    "shadow_side_lux", "ratio_lit_to_shadow", "iso", "shutter_s", "f_number", "face_yaw_deg",
)  # fmt: skip


def looks_table(looks: Sequence[Look], rig: Rig) -> str:
    """All looks on this rig, their heads where they stood when they were kept.

    The shadow side is read in the key's shadow: of the keys only the bounce counts there. A dark
    head has no stops; a head that the rig has not got has no level and no light.
    """
    places = places_of(looks)
    rows = [_rows(look, rig, places.get(at)) for at, look in enumerate(looks)]
    return written(COLUMNS, [row for of_look in rows for row in of_look])


def _rows(look: Look, rig: Rig, place: int | None) -> list[list[Cell]]:
    begin: list[Cell] = [look.name, place, ", ".join(look.tags)]
    lens: list[Cell] = [
        float(look.lens.iso), float(look.lens.shutter_s), float(look.lens.f_number),
        float(look.yaw_deg),
    ]  # fmt: skip
    setting = Setting(look.stops, look.lens, look.yaw_deg)
    rows: list[list[Cell]] = []
    try:
        placed = rig.standing(look.placements)
        matrix = light_matrix(placed, look.yaw_deg)
        ratio = figures(placed, matrix, setting, None).ratio
    except OutOfRange:  # a head of it cannot stand so in this rig any more: no light to tell
        placed, matrix, ratio = rig, None, None
    light: list[Cell] = [None] * 5
    if ratio:
        light = [ratio.lit, ratio.lit_lux, ratio.shadow, ratio.shadow_lux, ratio.value]
    for head in placed.heads:
        stops, output = setting.of(head), setting.output(head)
        own: list[Cell] = [None, None]
        if matrix and ratio:
            part = matrix.bounce if head.role == "key" else matrix.at
            own = [matrix.at[ratio.lit][head.name] * output,
                   part[ratio.shadow][head.name] * output]  # fmt: skip
        rows.append(
            [*begin, head.name, head.role, None if stops is None else float(stops),
             100 * level(head, output), *own, *light, *lens]
        )  # fmt: skip
    for name in look.missing_heads(rig):
        missing = look.stops[name]
        told: list[Cell] = [name, None, None if missing is None else float(missing), None]
        rows.append([*begin, *told, None, None, *light, *lens])
    return rows
