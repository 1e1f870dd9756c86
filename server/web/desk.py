"""What the routes need in one place: engine, database, output, the hub of open pages."""

import asyncio
from collections.abc import AsyncIterator, Coroutine
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import Depends, Request
from sqlalchemy import Engine as Database
from sqlmodel import Session
from starlette.types import ASGIApp

from server.certificate import Certificates
from server.errors import Refused
from server.live.engine import Engine
from server.settings import Settings
from server.store.devices import Device
from server.web.doors import Doors
from server.web.drafts import Drafts
from server.web.faces import Faces
from server.web.floor import Floor
from server.web.hands import Hands
from server.web.hub import Hub
from server.web.incoming import Incoming
from server.web.moves import Moves
from server.web.pictures import Pictures
from server.web.points import PointsOut
from server.web.strolling import Strolling
from server.web.walking import Walking


@dataclass
class Desk:
    """Everything that lives as long as the server."""

    settings: Settings
    engine: Engine
    database: Database
    hub: Hub = field(default_factory=Hub)
    floor: Floor = field(default_factory=Floor)
    hands: Hands = field(default_factory=Hands)
    walking: Walking = field(default_factory=Walking)
    strolling: Strolling = field(default_factory=Strolling)
    moves: Moves = field(default_factory=Moves)
    points_out: PointsOut = field(default_factory=PointsOut)
    pictures: Pictures = field(default_factory=Pictures)
    incoming: Incoming = field(default_factory=Incoming)
    drafts: Drafts = field(default_factory=Drafts)
    faces: Faces = field(init=False)
    doors: Doors = field(init=False)
    perform: ASGIApp | None = None
    """The app behind the door: where a granted wish is done."""
    rendered: dict[str, tuple[object, str]] = field(default_factory=dict)
    """Page parts of the newest moment, one a view, shared by all open pages."""
    certificates: Certificates | None = None
    base: str = ""
    """How tablets in the studio's network reach the pages; empty when they cannot."""
    expected_back: set[str] = field(default_factory=set)
    """Heads of a circuit that come back one after another."""
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)
    fade_down: bool = False
    """A wanted stop is to take the light down gently."""

    def coming_back(self, work: Coroutine[Any, Any, None]) -> None:
        """Let heads come back while the answer goes out already."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def __post_init__(self) -> None:
        self.doors = Doors(self.database)
        self.faces = Faces(
            self.settings.faces_folder,
            self.database,
            self.hub.refresh,
            self.settings.photographs_in(self.engine.now().record.room_id),
        )


# These are coroutines though they wait for nothing: FastAPI sends a plain function to a thread,
# and the way there and back costs more than a nudge.


async def desk_of(request: Request) -> Desk:
    """The desk of this server."""
    desk: Desk = request.app.state.desk
    return desk


async def engine_of(request: Request) -> Engine:
    """The engine of this server."""
    return (await desk_of(request)).engine


async def session_of(request: Request) -> AsyncIterator[Session]:
    """A database session that is closed after the answer."""
    with Session((await desk_of(request)).database) as session:
        yield session


async def actor_of(request: Request) -> str:
    """The name of the device that is asking."""
    return _device(request).name


async def device_of(request: Request) -> Device:
    """The device that is asking, as the door knows it."""
    return _device(request)


def _device(request: Request) -> Device:
    device: Device | None = request.state.device
    if device is None:
        raise Refused("this device is not paired")
    return device


def hand_of(request: Request) -> tuple[Engine, str]:
    """The engine and the name of the device that is asking, for a nudge: each thing that FastAPI
    itself hands to a route costs a twentieth of one."""
    desk: Desk = request.app.state.desk
    return desk.engine, _device(request).name


def is_here(host: str) -> bool:
    """Whether an address is the machine itself."""
    return host in ("::1", "testclient") or host.startswith("127.")


DeskDep = Annotated[Desk, Depends(desk_of)]
EngineDep = Annotated[Engine, Depends(engine_of)]
SessionDep = Annotated[Session, Depends(session_of)]
ActorDep = Annotated[str, Depends(actor_of)]
DeviceDep = Annotated[Device, Depends(device_of)]
