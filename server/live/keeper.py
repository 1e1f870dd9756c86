"""The lamp keeper: a small process that keeps the light whatever happens to the web server.

    python -m server.live.keeper --socket PATH --state FILE [--to HOST[:PORT]]... [--multicast]
                                 [--serial DEVICE] [--by-hand] [--hold]

It plays the timelines that arrive on its socket (`keeper_protocol`) and keeps the stream alive when
the client goes, hangs or is killed. Killed itself and started again, it shows at once what its
state file says (`keeper_state`). SIGTERM and SIGINT are a wanted stop: the stream is terminated,
or with --hold only ceases. Standard library only, and little of it, so that it starts fast.
"""

import argparse
import contextlib
import fcntl
import json
import os
import signal
import socket
import struct
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from types import FrameType
from typing import Any

from server.errors import Refused
from server.live import e131
from server.live.keeper_protocol import (
    frame_message,
    pack,
    private_folder,
    read_timeline,
    receive,
)
from server.live.keeper_state import KeeperState
from server.live.network import NetworkWire
from server.live.null import ByHandWire
from server.live.output import Wire
from server.live.player import Player
from server.live.priority import served_first

_MOST_CLIENTS = 16
_CANNOT_START = 78  # EX_CONFIG: trying again will not help
_LOOK_UP_S = 0.2  # how often the keeper looks whether it is to end


def say(text: str) -> None:
    """Tell the terminal, if there still is one: the keeper outlives it."""
    with contextlib.suppress(OSError, ValueError):
        print(f"lamp keeper: {text}", file=sys.stderr, flush=True)


class Keeper:
    """Answers requests on the socket and hands timelines to the player.

    Parameters
    ----------
    player, state
        Where timelines go, and where they are remembered.
    argv : sequence of str
        The options it was started with, told in "hello" so that a new parent knows whether this
        keeper does what it wants.
    """

    def __init__(self, player: Player, state: KeeperState, argv: Sequence[str]) -> None:
        self._player, self._state, self._argv = player, state, list(argv)
        self._token = ""
        self._ending = threading.Event()
        self._end_asked = threading.Lock()
        self._clients = threading.BoundedSemaphore(_MOST_CLIENTS)
        self._lock = threading.Lock()  # one play at a time: player and state must agree

    def resume(self) -> None:
        """Show at once what was lit before, if anything was."""
        timeline = self._state.timeline(time.monotonic())
        if timeline is not None:
            self._player.play(timeline)
            self._token = str(json.loads(self._state.request).get("token", ""))

    def serve(self, listener: socket.socket) -> None:
        """Accept clients until ended. Each has a thread; what it does cannot hurt the others."""
        listener.settimeout(_LOOK_UP_S)
        while not self._ending.is_set():
            try:
                connection, _ = listener.accept()
            except TimeoutError:
                continue
            except OSError as error:  # too many open files, say: the light needs none of them
                say(f"a client could not be let in ({error})")
                self._ending.wait(_LOOK_UP_S)
                continue
            try:
                if not _same_user(connection) or not self._clients.acquire(blocking=False):
                    connection.close()
                    continue
            except OSError:  # it went again at once
                connection.close()
                continue
            connection.settimeout(None)
            threading.Thread(target=self._attend, args=(connection,), daemon=True).start()

    def end(self, *, terminate: bool) -> None:
        """Stop on purpose, once: end or hold the light, write the state, leave `serve`."""
        if not self._end_asked.acquire(blocking=False):
            return
        self._player.stop(terminate=terminate)
        if terminate:
            self._state.remember(b"")
        self._state.close()
        self._ending.set()

    def _attend(self, connection: socket.socket) -> None:
        with self._clients_place(), connection:
            try:
                while (body := receive(connection)) is not None:
                    connection.sendall(pack(self._answer(body)))
            except ValueError as error:
                with contextlib.suppress(OSError):
                    connection.sendall(pack({"ok": False, "error": str(error)}))
            except OSError:
                return  # the client went; the light stays

    @contextlib.contextmanager
    def _clients_place(self) -> Any:
        try:
            yield
        finally:
            self._clients.release()

    def _answer(self, body: bytes) -> dict[str, Any]:
        try:
            request = json.loads(body)
            wish = request["do"]
            extra: dict[str, Any] = {}
            if wish == "play":
                self._play(request, body)
            elif wish == "hello":
                frame = frame_message(self._player.shown())
                extra = {"pid": os.getpid(), "argv": self._argv, "frame": frame}
            elif wish == "stop":
                self.end(terminate=bool(request.get("terminate", True)))
            elif wish != "status":
                raise ValueError(f"'do' is play, status, hello or stop, got {wish!r}")
        except (ValueError, KeyError, TypeError, RuntimeError) as error:
            return {"ok": False, "error": f"{type(error).__name__}: {error}"}
        status = self._player.status()
        troubles = [text for text in (status.message, self._state.error) if text]
        return {
            "ok": True,
            "kind": status.kind,
            "live": status.live,
            "message": "; ".join(troubles),
            "token": self._token,
        } | extra

    def _play(self, request: dict[str, Any], body: bytes) -> None:
        timeline, token = read_timeline(request), str(request.get("token", ""))
        with self._lock:
            self._player.play(timeline)
            self._token = token
            self._state.remember(body)


def _same_user(connection: socket.socket) -> bool:
    """Whether the other end runs as this user or as root; nobody else may move the light."""
    found = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
    _, uid, _ = struct.unpack("3i", found)
    return uid in (0, os.getuid())


def listen(path: Path) -> tuple[socket.socket, int]:
    """Listen on a unix-domain socket that only this user may open (0600, its folder 0700).

    Returns
    -------
    (socket, lock)
        The lock is an open file descriptor to be kept for life: it says that this keeper lives,
        and the system lets go of it however the keeper dies.

    Raises
    ------
    Refused
        Another keeper lives there, or the place is unusable; the message says why.
    """
    try:
        private_folder(path.parent)
        lock = os.open(f"{path}.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.pread(lock, 20, 0).decode(errors="replace").strip()
            os.close(lock)
            raise Refused(
                f"another lamp keeper is already running on {path} and does not answer;"
                f" end it (kill -9 {holder or 'its process'}) and start again"
            ) from None
        os.ftruncate(lock, 0)
        os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)  # for the sentence above
        path.unlink(missing_ok=True)  # left by one that was killed
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        before = os.umask(0o177)
        try:
            listener.bind(str(path))
        finally:
            os.umask(before)
        listener.listen(_MOST_CLIENTS)
    except OSError as error:
        raise Refused(f"cannot listen on {path}: {error}") from None
    return listener, lock


def _destination(text: str) -> tuple[str, int]:
    host, _, port = text.partition(":")
    if not host or (port and not port.isdigit()):
        raise argparse.ArgumentTypeError(f"expected HOST or HOST:PORT, got {text!r}")
    return host, int(port) if port else e131.PORT


def parse(argv: Sequence[str]) -> argparse.Namespace:
    """The keeper's options; exits with code 2 and a reason when they are wrong."""
    parser = argparse.ArgumentParser(prog="python -m server.live.keeper", description=__doc__)
    add = parser.add_argument
    add("--socket", type=Path, required=True, help="unix-domain socket to listen on")
    add("--state", type=Path, required=True, help="file that remembers CID and light")
    add("--to", type=_destination, action="append", default=[], metavar="HOST[:PORT]")
    add("--multicast", action="store_true", help="send to the multicast groups as well")
    add("--priority", type=int, default=e131.DEFAULT_PRIORITY, help="E1.31 priority, 0..200")
    add("--serial", metavar="DEVICE", help="RS-485 adapter")
    add("--by-hand", action="store_true", help="the board shows numbers for a desk set by hand")
    add("--hold", action="store_true", help="on a wanted stop, cease without terminating")
    return parser.parse_args(argv)


def _wires(options: argparse.Namespace, state: KeeperState) -> list[Wire]:
    wires: list[Wire] = []
    if options.to or options.multicast:
        wires.append(
            NetworkWire(
                options.to,
                options.multicast,
                state.cid,
                priority=options.priority,
                resumed=not state.is_new,
            )
        )
    if options.serial:
        from server.live.serial_line import SerialWire  # only who has an adapter pays for it

        wires.append(SerialWire(options.serial))
    if options.by_hand:
        wires.append(ByHandWire())
    return wires


def main(argv: Sequence[str] | None = None) -> int:
    """Run until stopped on purpose. Returns the exit code: 0, or 78 when it cannot start."""
    words = sys.argv[1:] if argv is None else list(argv)
    options = parse(words)
    served_first()  # before any thread starts: they inherit it
    try:
        listener, _lock = listen(options.socket)
        state = KeeperState(options.state)
        keeper = Keeper(Player(_wires(options, state)), state, words)
    except Refused as error:
        say(str(error))
        return _CANNOT_START
    keeper.resume()  # before anything else: somebody may be sitting in the dark
    if state.error:
        say(state.error)

    def on_signal(number: int, frame: FrameType | None) -> None:
        # Off the main thread: the signal may have come while this one held a lock.
        threading.Thread(target=keeper.end, kwargs={"terminate": not options.hold}).start()

    signal.signal(signal.SIGTERM, on_signal)
    signal.signal(signal.SIGINT, on_signal)
    signal.signal(signal.SIGHUP, signal.SIG_IGN)  # a closed terminal is no reason to go dark
    keeper.serve(listener)
    options.socket.unlink(missing_ok=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
