"""`python -m server`: take the port, then keep the lamp keeper and the web server alive.

Three processes: this one only watches; the keeper holds the light; the web server does the rest.
Either of the two may be killed, and comes back to the light as it is. This one imports nothing
heavy, so that it costs next to nothing.
"""

import errno
import os
import select
import socket
import sys
import time
from collections.abc import Sequence

from server.errors import Refused, StudioError
from server.live.child import Child
from server.live.keeper_protocol import private_folder
from server.live.network import resolve
from server.live.supervise import keeper_answers, living_keeper, supervise
from server.settings import CANNOT_START, Settings, parse
from server.store.lock import take_lock

ANSWER_WITHIN_S = 15.0
PORT_WITHIN_S = 0.5
KEEPER_DELAYS_S = (0.01, 0.2)  # somebody may be sitting in the dark
FADE_SIGNAL = "SIGUSR2"


def main(argv: Sequence[str] | None = None) -> int:
    """Run until a wanted stop; the exit code says whether it could start."""
    words = list(sys.argv[1:] if argv is None else argv)
    if words[:1] in ([name] for name in ("backup", "restore")):
        from server.commands import run  # only who copies pays for the database's imports

        return run(words)
    settings = parse(words)
    told, telling = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        listening = _listen(settings)
        _nobody_else(settings)
        children = _children(settings, words, listening, telling)
    except (StudioError, OSError) as error:
        print(f"Thirdstop cannot start: {error}", file=sys.stderr)
        return CANNOT_START
    return supervise(children, lambda impatience: _ending(settings, told, impatience))


def _nobody_else(settings: Settings) -> None:
    """A second start with the same database ends here, before it touches the keeper. Refused."""
    until = time.monotonic() + PORT_WITHIN_S
    while True:
        try:
            os.close(take_lock(settings.database))
        except Refused:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)
        else:
            return


def _children(
    settings: Settings, words: list[str], listening: socket.socket, telling: int
) -> list[Child]:
    fd = listening.fileno()
    handed = ("--listen-fd", str(fd), "--stop-fd", str(telling))
    web = Child(
        "the web server",
        [sys.executable, "-m", "server.serve", *words, *handed],
        first_time=("--greet",),
        pass_fds=(fd, telling),
    )
    if not settings.has_lamps:
        return [web]
    private_folder(settings.keeper_socket.parent)
    options = keeper_options(settings)
    keeper = Child(
        "the lamp keeper",
        [sys.executable, "-m", "server.live.keeper", *options],
        outlives=True,
        living=lambda: living_keeper(str(settings.keeper_socket), options),
        answers=lambda: keeper_answers(str(settings.keeper_socket)),
        delays_s=KEEPER_DELAYS_S,
        urgent=True,
    )
    return [keeper, web]


def keeper_options(settings: Settings) -> list[str]:
    """What the keeper is started with; addresses are looked up here, once."""
    options = ["--socket", str(settings.keeper_socket), "--state", str(settings.keeper_state)]
    for host, port in settings.destinations:
        address, _ = resolve(host, port)
        options += ["--to", f"{address}:{port}"]
    if settings.multicast:
        options += ["--multicast"]
    if "network" in settings.outputs:
        options += ["--priority", str(settings.priority)]
    if settings.device:
        options += ["--serial", settings.device]
    if "by-hand" in settings.outputs:
        options += ["--by-hand"]
    return options


def _listen(settings: Settings) -> socket.socket:
    """Take the port before anything else, so that a second start touches nothing.

    It stays open while the web server is started again: a tablet's request then waits a moment
    instead of being refused.
    """
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    # named as TCP, or asyncio leaves Nagle on and every answer waits 40 ms
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    # a web server whose parent was killed a moment ago may still be dying
    until = time.monotonic() + PORT_WITHIN_S
    while True:
        try:
            listening.bind((settings.host, settings.port))
        except OSError as error:
            if error.errno == errno.EADDRINUSE and time.monotonic() < until:
                time.sleep(0.02)
                continue
            reason = os.strerror(error.errno or 0)
            raise OSError(
                f"port {settings.port} on {settings.host} cannot be used ({reason}):"
                " is Thirdstop running already? Stop it, or choose another --port"
            ) from None
        return listening


def _ending(settings: Settings, told: int, impatience: int) -> dict[str, str]:
    """What a wanted stop does to the light: for each child by name, how it is told to end."""
    if not settings.has_lamps:
        return {}
    wish = _told_by_a_page(told)
    if not wish and settings.on_stop == "ask" and sys.stdin.isatty():
        wish = _asked(settings, impatience)
    wish = wish or settings.on_stop
    if wish == "fade":
        return {"the web server": FADE_SIGNAL}
    if wish == "hold":
        print(
            "The light stays as it is. Start Thirdstop again to take it over"
            " (and stop it with --on-stop end to let it go).",
            file=sys.stderr,
        )
        return {"the lamp keeper": "leave"}
    return {}


def _told_by_a_page(told: int) -> str:
    """What the page of the wanted stop chose; empty when nobody stopped it there."""
    try:
        return os.read(told, 100).decode().split("\n")[0]
    except BlockingIOError:
        return ""


def _asked(settings: Settings, impatience: int) -> str:
    from server.store.glance import signal_loss  # not before it is needed
    from server.studio.room import HABITS

    habit = HABITS[signal_loss(settings.database)]
    print(
        f"\nWhat should the light do? (Without signal, {habit}.)\nf: fade down   h: stay as it is"
        f"   Enter: end now (in {ANSWER_WITHIN_S:.0f} s by itself) ",
        end="", file=sys.stderr, flush=True,
    )  # fmt: skip
    ready, _, _ = select.select([sys.stdin, impatience], [], [], ANSWER_WITHIN_S)
    answer = sys.stdin.readline().strip().lower() if sys.stdin in ready else ""
    return {"f": "fade", "h": "hold"}.get(answer[:1], "end")


if __name__ == "__main__":
    sys.exit(main())
