"""Devices: pairing by six digits, names and roles, the floor, and wishes that are granted."""

import json
from typing import Annotated, Any

import segno
from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from markupsafe import Markup
from pydantic import BaseModel, Field

from server.errors import NotFound, Refused
from server.store.devices import ROLES, Device
from server.web.desk import Desk, DeskDep, DeviceDep
from server.web.doors import HERE
from server.web.floor import Ask
from server.web.guard import admitted
from server.web.routes.live import answer
from server.web.templating import html, went
from server.web.views import strip_view

router = APIRouter(include_in_schema=False)
contract = APIRouter(prefix="/api", tags=["contract"])
Name = Annotated[str, Form(max_length=200)]


@router.get("/pair")
async def pair_page() -> Response:
    """Where a new device types the six digits."""
    return html("pages/pair.html", notice="", back="/")


@router.post("/pair")
async def pair(
    request: Request, desk: DeskDep, code: Annotated[str, Form(max_length=20)], name: Name
) -> Response:
    """Let a device in by its six digits."""
    device = desk.doors.pair(code, name)
    return admitted(desk, device, "/", request.url.scheme == "https")


@router.get("/trust")
async def trust_page(desk: DeskDep) -> Response:
    """How a tablet learns to trust this studio's certificate; and how to keep it awake."""
    files = desk.certificates
    return html("pages/trust.html", notice="", fingerprint=files.fingerprint if files else "")


@router.get("/trust/authority.crt")
async def authority(desk: DeskDep) -> Response:
    """The certificate to install on the tablet."""
    if desk.certificates is None:
        raise NotFound("this server was started without --tls: there is no certificate")
    return Response(
        desk.certificates.authority.read_bytes(),
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="thirdstop-studio.crt"'},
    )


@router.get("/pair/name")
async def name_page(
    device: DeviceDep, back: Annotated[str, Query(max_length=500)] = "/"
) -> Response:
    """A device that scanned the code says how it is called."""
    return html("pages/pair_name.html", notice="", device=device, back=_inside(back))


@router.post("/pair/name")
async def name_itself(desk: DeskDep, device: DeviceDep, name: Name, back: Name = "/") -> Response:
    """Its name, told beside every change it makes."""
    desk.doors.rename(device, name)
    return RedirectResponse(_inside(back), 303)


def _inside(back: str) -> str:
    return back if back.startswith("/") and not back.startswith("//") else "/"


@router.get("/rig/devices")
async def devices_page(desk: DeskDep, device: DeviceDep) -> Response:
    """All paired devices; on the machine itself also the code for the next one."""
    now = desk.engine.now()
    return html(
        "pages/devices.html", view="strip", oob=False, notice="", strip=strip_view(now),
        devices=[(d, desk.floor.is_there(d.device_id)) for d in desk.doors.known],
        you=device, here=device is HERE, roles=ROLES, back="/rig/devices",
        code=_spaced(desk.doors.code()) if device is HERE else "",
        code_role=desk.doors.code_role, scan=_scan(desk) if device is HERE else "",
    )  # fmt: skip


def _scan(desk: Desk) -> Markup | str:
    """The address to scan, drawn; empty when only this machine can reach the pages."""
    if not desk.base:
        return ""
    code = segno.make(f"{desk.base}/?token={desk.doors.token}", error="m")
    # dark on the page's own dim ink, not on white: a quiet zone of four modules (ISO/IEC 18004)
    drawn = code.svg_inline(border=4, omitsize=True, dark="#0c0a08", light="#8d8478")
    return Markup(drawn)  # our own drawing: no foreign text in it


def _spaced(code: str) -> str:
    return f"{code[:3]} {code[3:]}"


@router.post("/rig/devices/code")
async def code_role(desk: DeskDep, device: DeviceDep, role: Annotated[str, Form()]) -> Response:
    """What the next paired device may do."""
    if device is not HERE:
        raise Refused("the code is shown on the machine that runs Thirdstop only")
    desk.doors.code(role)
    return RedirectResponse("/rig/devices", 303)


@router.post("/rig/devices/{device_id}")
async def change_device(
    request: Request, desk: DeskDep, device_id: str, name: Name, role: Annotated[str, Form()]
) -> Response:
    """Another name or role."""
    device = desk.doors.change(device_id, name, role)
    if device.role != "operate":
        desk.floor.give_back(device)
    desk.hub.nudge()
    return went(request, "/rig/devices")


@router.post("/rig/devices/{device_id}/end")
async def end_device(desk: DeskDep, device_id: str) -> Response:
    """End a device's pairing: its pages stop at once."""
    desk.doors.end(device_id)
    desk.floor.sent_away(device_id)
    desk.hub.nudge()
    return RedirectResponse("/rig/devices", 303)


@router.post("/live/only-me")
async def only_me(
    request: Request, desk: DeskDep, device: DeviceDep, back: Name = "/board"
) -> Response:
    """Take the floor, or give it back."""
    held = desk.floor.holder
    _hold(desk, device, not (held and held.device_id == device.device_id))
    return answer(request, back)


def _hold(desk: Desk, device: Device, on: bool) -> None:
    if on:
        desk.floor.take(device)
    else:
        desk.floor.give_back(device)
    desk.hub.nudge()


@router.post("/live/grant")
async def grant(
    request: Request, desk: DeskDep, ask: Annotated[int, Form()], back: Name = "/board"
) -> Response:
    """Say yes to a wish: it is done in the asker's name."""
    wish = desk.floor.granted(ask)
    status, body = await _perform(desk, wish)
    desk.hub.nudge()
    return answer(request, back, "" if status < 400 else f"{wish.text}: {_reason(body)}")


class OnlyMe(BaseModel):
    """Whether this device alone moves the light."""

    on: bool = Field(examples=[True])


class Grant(BaseModel):
    """The number of a wish."""

    ask: int = Field(examples=[1])


@contract.get("/asks")
async def get_asks(desk: DeskDep) -> JSONResponse:
    """Wishes that wait for a yes, and who holds the floor."""
    return JSONResponse(_floor(desk))


@contract.post("/only-me")
async def post_only_me(desk: DeskDep, device: DeviceDep, wish: OnlyMe) -> JSONResponse:
    """Take the floor, or give it back. While one holds it, the others' changes become wishes."""
    _hold(desk, device, wish.on)
    return JSONResponse(_floor(desk))


@contract.post("/grant")
async def post_grant(desk: DeskDep, wish: Grant) -> Response:
    """Say yes to a wish: the answer is what its own request would have got."""
    status, body = await _perform(desk, desk.floor.granted(wish.ask))
    desk.hub.nudge()
    return Response(body, status, media_type="application/json")


def _floor(desk: Desk) -> dict[str, Any]:
    held = desk.floor.holder
    return {
        "holder": held.name if held else None,
        "asks": [{"ask": a.number, "by": a.device.name, "text": a.text} for a in desk.floor.asks()],
    }


async def _perform(desk: Desk, wish: Ask) -> tuple[int, bytes]:
    """The wish's own request, sent in behind the door with the asker's name on it."""
    sent: list[Any] = []
    left = [{"type": "http.request", "body": wish.body, "more_body": False}]

    async def receive() -> Any:
        return left.pop() if left else {"type": "http.disconnect"}

    async def send(message: Any) -> None:
        sent.append(message)

    assert desk.perform is not None  # the guard stands in front of every app
    await desk.perform({**wish.scope, "state": {"device": wish.device}}, receive, send)
    return sent[0]["status"], b"".join(m.get("body", b"") for m in sent[1:])


def _reason(body: bytes) -> str:
    try:
        return str(json.loads(body)["detail"])
    except (ValueError, KeyError, TypeError):
        return "it could not be done"
