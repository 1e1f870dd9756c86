"""What a paired device may do: operate, ask, or only watch; and the floor, when one holds it."""

from collections.abc import Mapping
from typing import Any

from sqlmodel import Session
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import Receive, Scope

from server.store.devices import Device
from server.web.asking import fields_of, wish_of, wish_words
from server.web.desk import Desk
from server.web.templating import html

ITS_OWN = ("/pair/",)
"""A device may always name itself."""
AT_THE_DESK = ("/by-hand/", "/notes/", "/api/notes/")
"""Whoever moves faders and stands by hand ticks them, an assistant above all."""
NOT_OF_THE_LIGHT = ("/live/only-me", "/api/only-me", "/library/", "/rig/devices")
"""What an operating device may do while another holds the floor."""


async def refusal_for(
    desk: Desk, device: Device, scope: Scope, headers: Mapping[str, str], receive: Receive
) -> Response | None:
    """None when the device may do what it asks for; else the answer it gets instead.

    What an assistant's device, or any other while one holds the floor, wishes to do to the light
    is kept and shown to those who may say yes.
    """
    path = scope["path"]
    if headers.get("thirdstop-run", desk.hub.run) not in ("", desk.hub.run):
        return _told(path, headers, 409, "the server was started again meanwhile: tap once more")
    if path.startswith(ITS_OWN):
        return None
    if device.role == "watch":
        return _told(path, headers, 403, f"{device.name} only watches: it changes nothing")
    if path.startswith(AT_THE_DESK):
        return None
    held = desk.floor.holder if desk.floor.must_ask(device) else None
    if device.role == "operate" and (held is None or path.startswith(NOT_OF_THE_LIGHT)):
        return None
    act = wish_of(path)
    if not act:
        why = f"{held.name} holds the floor" if held and device.role == "operate" else (
            f"{device.name} may only ask for light")  # fmt: skip
        return _told(path, headers, 403, f"{why}: this is not among what can be asked for")
    body = await _whole(receive)
    fields = fields_of(headers.get("content-type", ""), body)
    with Session(desk.database) as session:
        text = wish_words(
            desk.engine.now(), session, act, fields, of_page=path.startswith("/live/")
        )
    kept: dict[str, Any] = {k: v for k, v in scope.items() if k != "state"}
    wish = desk.floor.ask(device, text, kept, body)
    desk.hub.nudge()
    if path.startswith("/api/"):
        return JSONResponse({"asked": {"ask": wish.number, "text": text, "by": device.name}}, 202)
    if headers.get("hx-request") == "true":
        return html("parts/notice.html", 202, notice=f"Asked: {text}", oob=True)
    return RedirectResponse(_same_page(fields), 303)


def _same_page(fields: dict[str, Any]) -> str:
    back = str(fields.get("back", "/"))
    return back if back.startswith("/") and not back.startswith("//") else "/"


async def _whole(receive: Receive) -> bytes:
    parts = []
    while True:
        message = await receive()
        parts.append(message.get("body", b""))
        if not message.get("more_body"):
            return b"".join(parts)


def _told(path: str, headers: Mapping[str, str], status: int, sentence: str) -> Response:
    if path.startswith("/api/"):
        return JSONResponse({"detail": sentence}, status)
    if headers.get("hx-request") == "true":
        return html("parts/notice.html", status, notice=sentence, oob=True)
    return html("pages/error.html", status, sentence=sentence, back="/")
