"""The only place that wires the concrete parts together."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from sqlmodel import Session

from server.live.engine import Engine
from server.live.keeper_link import KeeperOutput
from server.live.null import NullOutput
from server.live.output import LightOutput
from server.paths import DEMO_DATA, HTMX, STATIC
from server.settings import Settings
from server.store import journal
from server.store.database import open_database
from server.store.rigs import load_rig, put_rig
from server.store.seed import seed
from server.studio.rig import Rig
from server.studio.room import Room
from server.web import errors
from server.web.desk import Desk
from server.web.guard import Guard
from server.web.routes import (
    api,
    by_hand,
    devices,
    dimmer,
    faces,
    library,
    live,
    match,
    meter,
    photographs,
    plan,
    reference,
    rig,
    sitting,
    spot,
    stop,
)

SAVE_AGAIN_S = 2.0


def create_app(settings: Settings) -> FastAPI:
    """Build the server: database, output, engine, pages. Raises Refused when it cannot start."""
    database = open_database(settings.database)
    with Session(database) as session:
        first_rig = load_rig(session) or _new_rig(session, settings)
        record = journal.load_live(session)
    output = output_for(settings)
    engine = Engine(first_rig, output, journal.Journal(database), record)
    desk = Desk(settings, engine, database)
    engine.subscribe(desk.hub.publish)
    desk.hub.on_arrival(engine.now)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        desk.hub.open()
        saving = asyncio.create_task(_save_again(engine))
        yield
        saving.cancel()
        desk.faces.close()
        if desk.fade_down:
            await asyncio.sleep(engine.fade_down())
        output.stop(terminate=False)  # the keeper holds the light; the start command ends it
        database.dispose()

    app = FastAPI(
        title="Thirdstop",
        version="0.1.0",
        description="What is lit, and every way to move it. Errors name field, value and range.",
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
    )
    app.state.desk = desk
    app.mount("/static/htmx", StaticFiles(directory=HTMX.parent), name="htmx")
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for module in (
        api, by_hand, devices, dimmer, stop, sitting, spot, meter, plan, photographs, live, faces,
        library, match, rig, reference,
    ):  # fmt: skip
        app.include_router(module.router)
    app.include_router(devices.contract)
    app.include_router(spot.contract)
    app.include_router(meter.contract)
    errors.install(app)
    app.add_middleware(Guard, desk=desk)
    return app


async def _save_again(engine: Engine) -> None:
    """What could not be stored is tried again, also when nobody changes anything."""
    while True:
        await asyncio.sleep(SAVE_AGAIN_S)
        if engine.now().unsaved:
            await asyncio.to_thread(engine.store_again)


def _new_rig(session: Session, settings: Settings) -> Rig:
    if settings.demo:
        return seed(session, DEMO_DATA)
    rig = Rig(room=Room(name="My studio"))
    put_rig(session, rig)
    session.commit()
    return rig


def output_for(settings: Settings) -> LightOutput:
    """The output that the command line asks for: the keeper's, or none that needs one."""
    if settings.has_lamps:
        kinds = " + ".join(kind.replace("-", " ") for kind in settings.outputs)
        return KeeperOutput(str(settings.keeper_socket), kinds)
    return NullOutput("by hand" if "by-hand" in settings.outputs else "none")
