"""How Thirdstop was started: the only reader of the command line."""

import argparse
import hashlib
import os
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

E131_PORT = 5568
NO_FACES = "none"
OUTPUTS = ("none", "network", "serial", "by-hand")
ON_STOP = ("ask", "fade", "hold", "end")
CANNOT_START = 78  # EX_CONFIG of sysexits.h: trying again will not help


@dataclass(frozen=True)
class Settings:
    """Every option with its default, as `python -m server --help` explains them."""

    host: str = "0.0.0.0"
    port: int = 8010
    database: Path = Path("thirdstop.db")
    demo: bool = True
    outputs: tuple[str, ...] = ("none",)
    destinations: tuple[tuple[str, int], ...] = ()
    multicast: bool = False
    device: str = ""
    priority: int = 100
    on_stop: str = "ask"
    tls: bool = False
    listen_fd: int = -1
    stop_fd: int = -1
    greet: bool = False

    faces: str = ""
    """Folder of the drawn faces; empty: beside the database; none: no faces."""

    @property
    def has_lamps(self) -> bool:
        """Whether light goes out by a line, so that a keeper must hold it."""
        return bool({"network", "serial"} & set(self.outputs))

    @property
    def keeper_state(self) -> Path:
        """The keeper's own file, beside the database."""
        return self.database.with_name(self.database.name + "-light")

    def photographs_in(self, room_id: int) -> Path:
        """Where a room's one-light photographs are kept, beside the database."""
        folder = self.database.with_name(self.database.name + "-photographs")
        return folder if room_id == 1 else folder / f"room-{room_id}"

    @property
    def tls_folder(self) -> Path:
        """Where the certificates are kept, beside the database."""
        return self.database.with_name(self.database.name + "-tls")

    @property
    def keeper_socket(self) -> Path:
        """Where the keeper of this database listens: a short path, as the system demands."""
        name = hashlib.sha256(str(self.database.resolve()).encode()).hexdigest()[:16]
        return Path(tempfile.gettempdir()) / f"thirdstop-{os.getuid()}" / f"{name}.sock"

    @property
    def faces_folder(self) -> Path | None:
        """Where drawn faces are kept, None for no faces."""
        if self.faces == NO_FACES:
            return None
        return Path(self.faces) if self.faces else self.database.with_suffix(".faces")


def parse(argv: Sequence[str] | None = None) -> Settings:
    """Settings from the command line; exits with code 2 and a sentence when it does not add up."""
    parser = argparse.ArgumentParser(
        prog="thirdstop",
        description="A live cue board for portrait photographers with continuous light.",
        epilog="Two commands beside this one: thirdstop backup FILE, thirdstop restore FILE.",
        formatter_class=argparse.ArgumentDefaultsHelpFormatter,
    )
    default = Settings()
    parser.add_argument("--host", default=default.host, help="address the pages are served on")
    parser.add_argument("--port", type=int, default=default.port, help="port of the pages")
    parser.add_argument(
        "--database", type=Path, default=default.database, metavar="FILE",
        help="the SQLite file; made when missing",
    )  # fmt: skip
    start = parser.add_mutually_exclusive_group()
    start.add_argument(
        "--demo", action="store_true", help="a new database starts with the demo studio (default)"
    )
    start.add_argument("--empty", action="store_true", help="a new database starts with nothing")
    parser.add_argument(
        "--output", action="append", choices=OUTPUTS, dest="outputs",
        help="where the light goes; may be given several times (default: none, nothing is sent)",
    )  # fmt: skip
    parser.add_argument(
        "--to", action="append", default=[], metavar="HOST[:PORT]",
        help="with --output network: send E1.31 to this address; may be given several times",
    )  # fmt: skip
    parser.add_argument(
        "--multicast", action="store_true", help="with --output network: send E1.31 by multicast"
    )
    parser.add_argument("--device", default="", metavar="PATH", help="with --output serial")
    parser.add_argument(
        "--priority", type=int, default=default.priority, help="E1.31 priority, 0..200"
    )
    parser.add_argument(
        "--on-stop", choices=ON_STOP, default=default.on_stop,
        help="what the light does on a wanted stop: fade down, hold (stay as it is, the lamp keeper"
        " goes on), or end at once; ask asks on a terminal and ends without one",
    )  # fmt: skip
    parser.add_argument(
        "--faces", default=default.faces, metavar="FOLDER",
        help="where drawn faces are kept (empty: beside the database); none draws no faces",
    )  # fmt: skip
    parser.add_argument(
        "--tls", action="store_true",
        help="serve the pages by https with a certificate of our own (needs the extra tls)",
    )  # fmt: skip
    # handed from the start command to its web process
    parser.add_argument("--listen-fd", type=int, default=-1, help=argparse.SUPPRESS)
    parser.add_argument("--stop-fd", type=int, default=-1, help=argparse.SUPPRESS)
    parser.add_argument("--greet", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args(argv)
    outputs = tuple(dict.fromkeys(given.outputs or default.outputs))
    if "network" in outputs and not (given.to or given.multicast):
        parser.error("--output network needs --to HOST[:PORT] or --multicast")
    if (given.to or given.multicast) and "network" not in outputs:
        parser.error("--to and --multicast belong to --output network")
    if ("serial" in outputs) != bool(given.device):
        parser.error("--output serial and --device PATH belong together")
    if not 0 <= given.priority <= 200:
        parser.error(f"--priority must lie in 0..200, got {given.priority}")
    if not 0 < given.port < 65536:
        parser.error(f"--port must lie in 1..65535, got {given.port}")
    try:
        destinations = tuple(_destination(text) for text in given.to)
    except ValueError as error:
        parser.error(str(error))
    return Settings(
        host=given.host,
        port=given.port,
        database=given.database,
        demo=not given.empty,
        outputs=outputs,
        destinations=destinations,
        multicast=given.multicast,
        device=given.device,
        priority=given.priority,
        on_stop=given.on_stop,
        tls=given.tls,
        listen_fd=given.listen_fd,
        stop_fd=given.stop_fd,
        greet=given.greet,
        faces=given.faces,
    )


def _destination(text: str) -> tuple[str, int]:
    host, colon, port = text.partition(":")
    if not host or (colon and not port.isdigit()) or not 0 < int(port or E131_PORT) < 65536:
        raise ValueError(f"--to must be HOST or HOST:PORT, got {text!r}")
    return host, int(port or E131_PORT)
