"""`Now` and looks as the JSON of the contract."""

from collections.abc import Sequence
from typing import Any

from fastapi import Response
from pydantic_core import to_json

from server.live.now import Now
from server.physics.exposure import lux_for
from server.physics.signal import signal_for
from server.store.rooms import KeptRoom
from server.studio.document import placement_document
from server.studio.figures import Figures, HeadFigures
from server.studio.look import Look
from server.studio.nudge import Nudged
from server.studio.reach import Reached
from server.studio.rig import Rig
from server.studio.setting import level
from server.web.lights import told_of_looks

Json = dict[str, Any]
RATIO_DEFINITION = "(key + fill) : fill"


def state_json(now: Now) -> Json:
    """What is lit now. While a fade runs the figures are where the light is going."""
    told, setting = now.figures, now.setting
    ratio, lens, origin = told.ratio, told.lens, setting.origin
    return {
        "revision": now.revision,
        "fading": now.fading,
        "comparing": now.comparing,
        "by": now.actor,
        "did": now.text,
        "unsaved": now.unsaved or None,
        "room": {"id": now.record.room_id, "name": now.rig.room.name},
        "look": {"id": origin.look_id, "name": origin.name} if origin else None,
        "changed": setting.changed,
        "sitter": {"yaw_deg": setting.yaw_deg},
        "heads": [_head(h) for h in told.heads],
        "points": [
            {
                "name": p.point.name,
                "lux": p.lux,
                "ev100": p.ev100,
                "over_lit_stops": p.over_lit_stops,
                "source": p.source,
            }
            for p in told.points
        ],
        "ratio": {
            "lit": ratio.lit,
            "shadow": ratio.shadow,
            "value": ratio.value,
            "stops": ratio.stops,
            "label": ratio.label,
            "definition": RATIO_DEFINITION,
            "key_over_fill_stops": ratio.key_over_fill_stops,
            "source": ratio.source,
        },
        "lens": {
            "iso": lens.lens.iso,
            "shutter_s": lens.lens.shutter_s,
            "f_number": lens.lens.f_number,
            "exact_f_number": lens.exact_f_number,
            "nearest_third": lens.nearest.label if lens.nearest else None,
            "off_by_stops": lens.off_by_stops,
            "advice": lens.advice,
            "source": lens.source,
            "mid_grey_lux": lux_for(
                lens.lens.exact_f_number, lens.lens.iso, lens.lens.shutter_s, now.rig.meter.c_flat
            ),
        },
        "circuits": [
            {
                "name": c.name,
                "amps_full": c.amps_full,
                "amps_now": c.amps_now,
                "limit_amps": c.limit_amps,
                "over": c.over,
            }
            for c in now.circuits
        ],
        "good": now.record.good is not None,
        "undo": now.record.history.can_undo,
        "redo": now.record.history.can_redo,
        "output": {
            "kind": now.output.kind,
            "live": now.output.live,
            "message": now.output.message,
        },
    }


_newest: tuple[Now | None, str] = (None, "")


def state_text(now: Now) -> str:
    """The state as JSON text. Made once for all who tell the same moment: the answer to a tap and
    every open page. (A moment is immutable, and as long as it is remembered no other is it.)"""
    global _newest
    known, text = _newest
    if known is not now:
        text = _text(state_json(now))
        _newest = now, text
    return text


def state_answer(now: Now, **more: Any) -> Response:
    """The state as an answer, with what else the call tells beside it."""
    text = state_text(now)
    if more:
        text = f"{text[:-1]},{_text(more)[1:]}"
    return Response(text, media_type="application/json")


def _text(value: Json) -> str:
    """Numbers that are none (infinite stops of darkness) are null."""
    return to_json(value, inf_nan_mode="null").decode()


def _head(told: HeadFigures) -> Json:
    head = told.head
    control = level(head, told.output)
    return {
        "name": head.name,
        "role": head.role,
        "level_percent": 100 * control,
        "output": told.output,
        "stops_below_full": told.stops_below_full,
        "signal": signal_for(control, head.bits),
        "room_up_thirds": told.room_up_thirds,
        "room_down_thirds": told.room_down_thirds,
        "cct_kelvin": told.cct_kelvin,
        "from_good_thirds": told.from_good_thirds,
        "over_lit_stops": told.over_lit_stops,
        "white_soon": told.white_soon,
    }


def nudge_json(result: Nudged, ways: list[Json]) -> Json:
    """What a nudge asked for and really gave."""
    return {
        "heads": list(result.heads),
        "asked_stops": result.asked_stops,
        "got_stops": result.got_stops,
        "missing_stops": result.missing_stops,
        "limited": result.limited,
        "limited_by": result.limited_by or None,
        "ways": ways,
    }


def reached_json(result: Reached) -> Json:
    """How near a wanted ratio was reached."""
    return {
        "asked": result.asked,
        "got": result.got,
        "limited": result.limited,
        "why": result.why or None,
    }


def room_json(room: KeptRoom) -> Json:
    """A room as the list of rooms tells it."""
    return {
        "id": room.room_id,
        "name": room.name,
        "open": room.is_open,
        "heads": list(room.heads),
        "circuits": room.circuits,
        "looks": room.looks,
        "archived": room.archived_at is not None,
    }


def look_json(look: Look, rig: Rig) -> Json:
    """A look as the library tells it."""
    return looks_json([look], rig)[0]


def looks_json(looks: Sequence[Look], rig: Rig) -> list[Json]:
    """Looks with the light they give as the readings say by now, and where that comes from; one
    that needs heads this rig has not, as it was kept."""
    told = told_of_looks(rig, looks)
    return [_look(look, figures) for look, figures in zip(looks, told, strict=True)]


def _look(look: Look, told: Figures | None) -> Json:
    return {
        "id": look.look_id,
        "name": look.name,
        "tags": list(look.tags),
        "notes": look.notes,
        "heads": [
            {
                "name": name,
                "stops_below_full": None if stops is None else float(stops),
                "placement": placement_document(look.placements[name])
                if name in look.placements
                else None,
            }
            for name, stops in look.stops.items()
        ],
        "lens": {
            "iso": look.lens.iso,
            "shutter_s": look.lens.shutter_s,
            "f_number": look.lens.f_number,
        },
        "yaw_deg": look.yaw_deg,
        "lux": {p.point.name: p.lux for p in told.points} if told else dict(look.lux or {}),
        "ratio": told.ratio.value if told else look.ratio,
        "f_number": told.lens.exact_f_number if told else look.f_number,
        "source": {
            "ratio": told.ratio.source if told else "moved",
            "f_number": told.lens.source if told else "moved",
        },
        "place": look.place,
        "kept_at": look.kept_at,
        "room": {"id": look.room_id, "name": look.room},
    }
