"""One-light photographs: a guided pass, frames dropped in, shown in place of the drawings."""

from datetime import UTC, datetime
from math import log2
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import RedirectResponse

from server.errors import OutOfRange
from server.live.now import Now
from server.physics.stops import light_factor
from server.studio.lamps import unread
from server.studio.metering import METER_STOPS, is_alone
from server.studio.rig import Rig
from server.studio.setting import signalled_output
from server.web.desk import DeskDep
from server.web.lamps import stops_text
from server.web.templating import html, went
from server.web.views import strip_view
from server.web.words import seconds_of

if TYPE_CHECKING:
    from server.preview.photograph import Exposure
    from server.preview.photographs import Photographs

router = APIRouter(prefix="/photographs", include_in_schema=False)
Word = Annotated[str, Form(max_length=60)]


@router.get("")
async def page(desk: DeskDep) -> Response:
    """The pass: the room's own light, then each head alone; what was taken, and what moved."""
    now = desk.engine.now()
    photographs = desk.faces.photographs()
    return html(
        "pages/photographs.html", view="strip", oob=False, notice="", strip=strip_view(now),
        rows=_rows(now, photographs), used=photographs.used, trouble=photographs.trouble,
        ready=len(photographs.shots()) > 1, back="/rig",
    )  # fmt: skip


def _rows(now: Now, photographs: "Photographs") -> list[dict[str, Any]]:
    shots = photographs.shots()
    setting = now.record.history.now.setting
    rows = []
    for head in ("", *(h.name for h in now.rig.heads)):
        shot = shots.get(head)
        told = ""
        if shot:
            told = f"{shot.name}, {datetime.fromisoformat(shot.at).astimezone():%d %b %H:%M}"
            if photographs.moved(now.rig, head):
                told += " · moved since photographed"
            told += lamp_told(now.rig, head, photographs.gained(now.rig, head), shot.at)
        rows.append(
            {"head": head, "name": head or "The room’s own light", "told": told,
             "lit": is_alone(now.rig, setting, head)}
        )  # fmt: skip
    return rows


def lamp_told(rig: Rig, head: str, gained: float, shot_at: str) -> str:
    """What became of the lamp since its frame was shot; empty for the same lamp."""
    change = unread(rig.lamps, head)
    if change is not None and change.at > datetime.fromisoformat(shot_at):
        return " · shows the lamp before: read the new one in the head’s lamp log"
    return f" · its lamp reads {stops_text(log2(gained))} since, counted in" if gained != 1 else ""


@router.post("/frame")
def frame(
    request: Request, desk: DeskDep, file: Annotated[UploadFile, File()], head: Word = "",
    f_number: Word = "", shutter: Word = "", iso: Word = "",
) -> Response:  # fmt: skip
    """Take a frame into the set, or say why not. (A plain function: decoding takes a while.)"""
    from server.preview.photograph import read_photograph  # numpy: not before it is needed

    now = desk.engine.now()
    output = 1.0
    if head:
        found = now.rig.head(head)
        output = signalled_output(found, light_factor(-float(METER_STOPS)))
    photograph = read_photograph(file.filename or "frame", file.file.read())
    desk.faces.photographs().add(
        now.rig, head, photograph, _typed(f_number, shutter, iso),
        output=output, yaw_deg=now.setting.yaw_deg, at=datetime.now(UTC),
        folder=desk.settings.photographs_in(now.record.room_id),
    )  # fmt: skip
    desk.faces.renew()
    return went(request, "/photographs")


def _typed(f_number: str, shutter: str, iso: str) -> "Exposure | None":
    from server.preview.photograph import Exposure

    if not (f_number.strip() and shutter.strip() and iso.strip()):
        return None
    try:
        typed = Exposure(float(f_number.replace(",", ".")), seconds_of(shutter), float(iso))
    except ValueError:
        raise OutOfRange("f-number and ISO must be numbers, the shutter like 1/125") from None
    if not all(0 < v < 1e7 for v in (typed.f_number, typed.shutter_s, typed.iso)):
        raise OutOfRange("f-number, shutter and ISO must lie above 0")
    return typed


@router.post("/use")
async def use(desk: DeskDep, on: Annotated[bool, Form()]) -> Response:
    """Show the photographs where they can be shown, or the drawings again."""
    desk.faces.photographs().use(on)
    desk.faces.renew()
    return RedirectResponse("/photographs", 303)


@router.post("/anew")
async def anew(desk: DeskDep) -> Response:
    """Forget all frames."""
    desk.faces.photographs().start_anew()
    desk.faces.renew()
    return RedirectResponse("/photographs", 303)
