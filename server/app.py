"""The only place that wires the concrete parts together."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from sqlalchemy import Engine as Database
from sqlmodel import Session

from server.errors import Refused, StudioError
from server.live.engine import Engine
from server.live.keeper_link import KeeperOutput
from server.live.null import NullOutput
from server.live.output import LightOutput
from server.paths import DEMO_DATA, HTMX, STATIC
from server.settings import Settings
from server.store import journal
from server.store.database import open_database
from server.store.rigs import active_id, load_rig, put_rig
from server.store.seed import seed
from server.studio.history import LiveRecord
from server.studio.rig import Rig
from server.studio.room import Room
from server.web import errors
from server.web.burning import PERIOD_S, Burning
from server.web.desk import Desk
from server.web.guard import Guard
from server.web.routes import (
    api,
    between,
    by_hand,
    camera,
    carry,
    carry_calls,
    curve,
    devices,
    dimmer,
    exchange,
    faces,
    lamps,
    left_off,
    library,
    live,
    match,
    meter,
    patch,
    photographs,
    photometry,
    placing,
    plan,
    points,
    readings,
    reference,
    rescue,
    rig,
    rig_files,
    rooms,
    sitting,
    spot,
    stop,
    trust,
    warm_up,
    ways,
    whole,
)
from server.web.warming import minute_of

SAVE_AGAIN_S = 2.0
TELL_MINUTES_S = 30.0


def _what_was(database: Database, settings: Settings) -> tuple[Rig, LiveRecord | None, int]:
    """The rig, the live state and the open room as they were stored, or a new studio's. Refused
    when the file is whole, but what it holds is not."""
    try:
        with Session(database) as session:
            first_rig = load_rig(session) or _new_rig(session, settings)
            return first_rig, journal.load_live(session), active_id(session)
    except (ValueError, KeyError, TypeError, LookupError, StopIteration, StudioError) as error:
        database.dispose()
        raise Refused(
            f"{settings.database} holds something that is no studio of Thirdstop's"
            f" ({type(error).__name__}: {error}); it was left as it is. Put a copy in its place"
            " with `thirdstop restore FILE`, or start with another --database"
        ) from None


def create_app(settings: Settings) -> FastAPI:
    """Build the server: database, output, engine, pages. Raises Refused when it cannot start."""
    database = open_database(settings.database)
    first_rig, record, room_id = _what_was(database, settings)
    output = output_for(settings)
    engine = Engine(first_rig, output, journal.Journal(database), record, room_id=room_id)
    desk = Desk(settings, engine, database)
    engine.subscribe(desk.hub.publish)
    desk.hub.on_arrival(engine.now)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        desk.hub.open()
        tasks = [
            asyncio.create_task(_save_again(engine)),
            asyncio.create_task(_tell_minutes(desk)),
            asyncio.create_task(_count(Burning(engine, database))),
        ]
        yield
        for task in tasks:
            task.cancel()
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
    # not by include_router: it makes every route anew for each app, which takes a quarter second of
    # the first page and changes nothing, since no router is given a prefix or a dependency here
    for module in (
        api, by_hand, devices, dimmer, stop, sitting, spot, ways, rescue, between, left_off, meter,
        curve, plan, placing, photographs, live, faces, exchange, carry, library, rooms, whole,
        rig_files, rig, photometry, lamps, warm_up, points, patch, trust, match, camera, reference,
    ):  # fmt: skip
        app.routes.extend(module.router.routes)
    for module in (devices, spot, ways, between, rescue, readings, trust, rooms, carry_calls):
        app.routes.extend(module.contract.routes)
    errors.install(app)
    app.add_middleware(Guard, desk=desk)
    return app


async def _save_again(engine: Engine) -> None:
    """What could not be stored is tried again, also when nobody changes anything."""
    while True:
        await asyncio.sleep(SAVE_AGAIN_S)
        if engine.now().unsaved:
            await asyncio.to_thread(engine.store_again)


async def _tell_minutes(desk: Desk) -> None:
    """While heads warm up, their minutes are told anew."""
    while True:
        await asyncio.sleep(TELL_MINUTES_S)
        if minute_of(desk.engine.now()):
            desk.hub.nudge()


async def _count(burning: Burning) -> None:
    """Hours of the lamps, minute by minute."""
    while True:
        await asyncio.sleep(PERIOD_S)
        await asyncio.to_thread(burning.count)


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
