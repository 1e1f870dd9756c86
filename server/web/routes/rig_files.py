"""The rig as a file, out and in; and a copy of the whole studio."""

import asyncio
from datetime import datetime
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Annotated

from fastapi import APIRouter, File, Request, Response, UploadFile
from fastapi.responses import FileResponse, JSONResponse
from starlette.background import BackgroundTask

from server.errors import Refused
from server.store.backup import backup, without_secrets
from server.studio.document import rig_document
from server.web.desk import ActorDep, DeskDep, DeviceDep
from server.web.rig_text import rig_of_text
from server.web.templating import went

router = APIRouter(include_in_schema=False)


@router.get("/rig/export")
async def export(desk: DeskDep) -> Response:
    """The rig document as a file."""
    return JSONResponse(
        rig_document(desk.engine.now().rig_now),
        headers={"Content-Disposition": 'attachment; filename="rig.json"'},
    )


@router.get("/rig/copy")
async def copy(desk: DeskDep, device: DeviceDep) -> Response:
    """The whole studio as one file: every look, the rig, the sitting; not who may come in."""
    if device.role != "operate":
        raise Refused(f"{device.name} may not take the studio along: ask one that operates")
    folder = Path(mkdtemp(prefix="thirdstop-copy-"))
    name = f"thirdstop-{datetime.now():%Y-%m-%d-%H%M}.db"
    await asyncio.to_thread(backup, desk.settings.database, folder / name)
    await asyncio.to_thread(without_secrets, folder / name)
    return FileResponse(
        folder / name, filename=name, media_type="application/vnd.sqlite3",
        background=BackgroundTask(rmtree, folder, ignore_errors=True),
    )  # fmt: skip


@router.post("/rig/import")
async def import_rig(
    request: Request, desk: DeskDep, actor: ActorDep, document: Annotated[UploadFile, File()]
) -> Response:
    """Put a rig document in place of this rig, or change nothing."""
    rig = rig_of_text(await document.read()).require_heads()
    desk.engine.replace_rig(rig, actor, f"rig {rig.room.name} imported")
    return went(request, "/rig")
