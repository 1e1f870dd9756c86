"""What a table of readings would do here: which are added, and which ask to be looked at twice."""

from dataclasses import replace

from server.studio.exchange.readings_table import readings_of_table
from server.studio.light import LightMatrix, light_matrix
from server.studio.look import differs
from server.studio.metering import expected_room_lux
from server.studio.readings import Reading
from server.studio.rig import Rig
from server.web.incoming import Line, Plan
from server.web.meter_words import TOO_DARK, far_words
from server.web.words import lux_words, point_words


def readings_plan(data: bytes, rig: Rig) -> Plan:
    """What a table would add. A sentence with line and column when any part of it is no good."""
    add: dict[Reading, None] = {}  # in their order, each once
    here = set(rig.readings)
    left_out = []
    for reading in readings_of_table(data, rig):
        if reading in here or reading in add:
            left_out.append(Line(_name(reading), "is here already, the very same"))
        else:
            add[reading] = None
    matrix = light_matrix(rig, rig.sitter.yaw_deg)
    after = replace(rig, readings=(*rig.readings, *add))
    light_matrix(after, rig.sitter.yaw_deg)  # a reading that no figure can rest on is said now
    lines = [Line(_name(r), _asked(r, rig, matrix)) for r in add]
    return Plan(tuple(lines), tuple(left_out), readings=tuple(add))


def _name(reading: Reading) -> str:
    shade = ", shaded" if reading.shaded else ""
    shown = lux_words(reading.lux) if reading.lux > 0 else TOO_DARK
    return f"{reading.head or 'Room'} at {point_words(reading.point)}{shade}: {shown}"


def _asked(reading: Reading, rig: Rig, matrix: LightMatrix) -> str:
    """What is asked when a reading is far from what is expected where the head stands now."""
    if not reading.head:
        return far_words(reading, expected_room_lux(rig, reading.point))
    head = next((h for h in rig.heads if h.name == reading.head), None)
    point = next((p for p in rig.points if p.name == reading.point), None)
    if head is None or point is None or reading.placement is None:
        return ""
    turned = point.on == "face" and reading.yaw_deg != rig.sitter.yaw_deg
    if turned or differs(reading.placement, head.placement):
        return "read with the head elsewhere, or the sitter turned"
    expected = matrix.ambient[point.name] + matrix.at[point.name][head.name] * reading.output
    return far_words(reading, expected)
