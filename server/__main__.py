"""`python -m server`: read the settings, build the app, print the address, serve."""

import os
import socket
import sys
from collections.abc import Sequence
from types import FrameType

import segno
import uvicorn

from server.app import create_app
from server.errors import StudioError
from server.settings import Settings, parse
from server.web.hub import Hub

CANNOT_START = 78  # EX_CONFIG of sysexits.h: trying again will not help


class Server(uvicorn.Server):
    """Uvicorn, but a wanted stop first ends the pages' event streams, which never end alone."""

    def __init__(self, config: uvicorn.Config, hub: Hub) -> None:
        super().__init__(config)
        self._hub = hub

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._hub.close()
        super().handle_exit(sig, frame)


def main(argv: Sequence[str] | None = None) -> int:
    """Serve until a wanted stop; the exit code says whether it could start."""
    settings = parse(argv)
    try:
        listening = _listen(settings)
        app = create_app(settings)
    except (StudioError, OSError) as error:
        print(f"Thirdstop cannot start: {error}", file=sys.stderr)
        return CANNOT_START
    _greet(settings, app.state.desk.token)
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, timeout_graceful_shutdown=2, lifespan="on"
    )
    Server(config, app.state.desk.hub).run(sockets=[listening])
    return 0


def _listen(settings: Settings) -> socket.socket:
    """Take the port before anything else, so that a second start touches nothing."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    # named as TCP, or asyncio leaves Nagle on and every answer waits 40 ms
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((settings.host, settings.port))
    except OSError as error:
        reason = os.strerror(error.errno or 0)
        raise OSError(
            f"port {settings.port} on {settings.host} cannot be used ({reason}):"
            " is Thirdstop running already? Stop it, or choose another --port"
        ) from None
    return listening


def _greet(settings: Settings, token: str) -> None:
    here = f"http://127.0.0.1:{settings.port}/"
    print(f"Thirdstop is open on this machine at {here}")
    address = _network_address() if settings.host in ("0.0.0.0", "::") else settings.host
    if not address.startswith("127."):
        url = f"http://{address}:{settings.port}/?token={token}"
        print(f"On a tablet in the same network, scan this or open {url}\n")
        segno.make(url, error="m").terminal(compact=True)
    print("Ctrl-C stops it.", flush=True)


def _network_address() -> str:
    """The address this machine would send from; nothing is sent to find out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: a documentation address
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


if __name__ == "__main__":
    sys.exit(main())
