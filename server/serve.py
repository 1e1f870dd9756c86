"""The web process: build the app, print the address once, serve on the socket it is handed."""

import gc
import signal
import socket
import sys
from collections.abc import Sequence
from types import FrameType

import segno
import uvicorn

from server.app import create_app
from server.certificate import certificates
from server.errors import StudioError
from server.settings import CANNOT_START, Settings, parse
from server.store.lock import take_lock
from server.web.desk import Desk

FADE_DOWN = signal.SIGUSR2
"""Tells this process to fade the light down before it ends."""


class Server(uvicorn.Server):
    """Uvicorn, but a wanted stop first ends the pages' event streams, which never end alone."""

    def __init__(self, config: uvicorn.Config, desk: Desk) -> None:
        super().__init__(config)
        self._desk = desk

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._desk.hub.close()
        super().handle_exit(sig, frame)

    def fade_and_exit(self, sig: int, frame: FrameType | None) -> None:
        """Down first, gently; the light stays as it was in the record, for the next start."""
        self._desk.fade_down = True
        self.handle_exit(signal.SIGTERM, frame)


def main(argv: Sequence[str] | None = None) -> int:
    """Serve until a wanted stop; the exit code says whether it could start."""
    settings = parse(argv)
    try:
        take_lock(settings.database)  # held until this process ends
        app = create_app(settings)
        if settings.tls:
            app.state.desk.certificates = certificates(settings.tls_folder, _names(settings))
    except (StudioError, OSError) as error:
        print(f"Thirdstop cannot start: {error}", file=sys.stderr)
        return CANNOT_START
    desk: Desk = app.state.desk
    desk.base = _base(settings)
    if settings.greet:
        desk.doors.renew_token()
        greet(settings, desk)
    files = desk.certificates
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, timeout_graceful_shutdown=2, lifespan="on",
        ssl_certfile=files.server if files else None, ssl_keyfile=files.key if files else None,
    )  # fmt: skip
    server = Server(config, desk)
    gc.collect()
    gc.freeze()  # what is there by now stays: no tap is to wait while it is looked through
    signal.signal(FADE_DOWN, server.fade_and_exit)
    with socket.socket(fileno=settings.listen_fd) as listening:
        server.run(sockets=[listening])
    return 0


def greet(settings: Settings, desk: Desk) -> None:
    """Print where the pages are, with a code to scan when a tablet can reach them."""
    scheme = "https" if settings.tls else "http"
    here = f"{scheme}://127.0.0.1:{settings.port}/"
    print(f"Thirdstop is open on this machine at {here}")
    if desk.base:
        url = f"{desk.base}/?token={desk.doors.token}"
        print(f"On a tablet in the same network, scan this or open {url}\n")
        segno.make(url, error="m").terminal(compact=True)
        code = desk.doors.code()
        print(f"Or open {desk.base}/pair and type {code[:3]} {code[3:]} (good for ten minutes).")
    if desk.certificates:
        print(f"Certificate of this studio, SHA-256: {desk.certificates.fingerprint}")
    print("Ctrl-C stops it.", flush=True)


def _base(settings: Settings) -> str:
    address = _network_address() if settings.host in ("0.0.0.0", "::") else settings.host
    if address.startswith("127."):
        return ""
    return f"{'https' if settings.tls else 'http'}://{address}:{settings.port}"


def _names(settings: Settings) -> list[str]:
    host = socket.gethostname().lower()
    names = ["localhost", host, f"{host}.local", "127.0.0.1", "::1", _network_address()]
    if settings.host not in ("0.0.0.0", "::"):
        names.append(settings.host)
    return list(dict.fromkeys(names))


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
