"""The web server's end of the line to the lamp keeper."""

import contextlib
import json
import os
import select
import socket
import threading
import time
from typing import Any

from server.live.keeper_protocol import (
    Hello,
    ask,
    hello,
    pack,
    play_message,
    read_status,
    receive,
)
from server.live.output import Frame, OutputStatus, Timeline

_PLAY_WITHIN_S = 0.03  # what `play` may spend on a keeper that does not read
_ASK_EVERY_S = 0.25
_ANSWER_WITHIN_S = 1.0
_RETRY_S = 0.05
_LET_GO_FIRST_S = 0.005
"""Whoever played is about to answer a tap; reading what the keeper said to it can wait so long."""
_FIRST_WAIT_S = 0.5


class KeeperOutput:
    """A `LightOutput` that hands timelines to the lamp keeper.

    It reconnects by itself, and then hands the last timeline over again if the keeper does not
    have it (the moments in it are absolute, so a late start joins the fade where it is by then).
    When the keeper is away or does not answer, `status` says so.

    Parameters
    ----------
    socket_path : str
        Where the keeper listens.
    kind : str
        The kind told by `status` until the keeper has been heard for the first time.
    """

    def __init__(self, socket_path: str, kind: str = "network") -> None:
        self._path = socket_path
        # Only ever held for a moment by the worker; up to `_PLAY_WITHIN_S` by a play.
        self._lock = threading.Lock()
        self._connection: socket.socket | None = None
        self._message = b""  # the last play request, packed
        self._token = ""
        self._run_name, self._plays = os.urandom(6).hex(), 0
        self._status = OutputStatus(kind, False, "the lamp keeper has not been reached yet")
        self._closing = threading.Event()
        self._met = threading.Event()
        self._worker = threading.Thread(target=self._run, name="keeper-link", daemon=True)
        self._worker.start()
        self._met.wait(_FIRST_WAIT_S)

    def play(self, timeline: Timeline) -> None:
        """Hand a timeline over; it replaces whatever was planned.

        Takes well under a millisecond, and never longer than 50 ms: when the keeper does not take
        it, `status` says so and it is handed over again as soon as the keeper answers.

        Raises
        ------
        RuntimeError
            This output has been stopped.
        ValueError
            The timeline is larger than 16 MB.
        """
        if self._closing.is_set():
            raise RuntimeError("this output has been stopped; make a new one")
        with self._lock:
            self._plays += 1
            self._token = f"{self._run_name}-{self._plays}"
            self._message = pack(play_message(timeline, self._token))
            self._send(self._message)

    def status(self) -> OutputStatus:
        """What the keeper said last, at most 0.25 s ago, or in words why it cannot be asked."""
        return self._status

    def shown(self) -> Frame:
        """What the keeper shows now; empty when it cannot be asked, or shows nothing yet."""
        try:
            return self.hello().frame
        except (OSError, ValueError):
            return {}

    def hello(self) -> Hello:
        """Ask the keeper who it is and what is lit. Errors as for `keeper_protocol.ask`."""
        return hello(self._path)

    def stop(self, *, terminate: bool = True) -> None:
        """Let go of the keeper. With ``terminate`` it ends the stream and itself.

        With ``terminate=False`` the light stays as it is: what a web server that restarts wants.
        """
        if self._closing.is_set():
            return
        self._closing.set()
        self._lose("")
        self._worker.join(2 * _ANSWER_WITHIN_S)
        if terminate:
            try:
                ask(self._path, {"do": "stop", "terminate": True}, _ANSWER_WITHIN_S)
            except (OSError, ValueError) as error:
                self._say(f"the lamp keeper could not be told to end the light: {error}")
                return
        self._status = OutputStatus(self._status.kind, False, "stopped")

    def _run(self) -> None:
        while not self._closing.is_set():
            try:
                connection = self._connect()
            except TimeoutError:
                self._say("the lamp keeper does not answer; it will be asked again")
            except (OSError, ValueError) as error:
                self._say(f"the lamp keeper is away ({error}); waiting for it to come back")
            else:
                self._listen(connection)
            self._closing.wait(_RETRY_S)

    def _connect(self) -> socket.socket:
        """Connect, compare what the keeper plays with what it should, and hand over if needed."""
        connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            connection.settimeout(_ANSWER_WITHIN_S)
            connection.connect(self._path)
            answer = self._ask_on(connection, pack({"do": "hello"}))
            while True:
                with self._lock:
                    token, message = self._token, self._message
                    if not message or answer.get("token") == token:
                        connection.settimeout(_PLAY_WITHIN_S)
                        self._connection = connection
                        self._met.set()
                        return connection
                answer = self._ask_on(connection, message)
        except BaseException:
            connection.close()
            raise

    def _ask_on(self, connection: socket.socket, message: bytes) -> dict[str, Any]:
        connection.sendall(message)
        return self._take_answer(connection)

    def _take_answer(self, connection: socket.socket) -> dict[str, Any]:
        body = receive(connection)
        if body is None:
            raise OSError("it closed the connection")
        answer: dict[str, Any] = json.loads(body)
        self._status = read_status(answer)
        return answer

    def _listen(self, connection: socket.socket) -> None:
        """Read answers and ask for the status now and then, until the connection fails."""
        heard, asked = time.monotonic(), 0.0
        try:
            while not self._closing.is_set():
                ready, _, _ = select.select([connection], [], [], _ASK_EVERY_S)
                now = time.monotonic()
                if ready:
                    time.sleep(_LET_GO_FIRST_S)
                    self._take_answer(connection)
                    heard = now
                if now - heard > _ANSWER_WITHIN_S:
                    raise TimeoutError
                if now - asked >= _ASK_EVERY_S:
                    asked = now
                    with self._lock:
                        if self._connection is not connection:
                            return  # a play found it stuck and has said so
                        self._send(pack({"do": "status"}))
        except TimeoutError:
            self._lose("the lamp keeper does not answer; it will be asked again")
        except (OSError, ValueError) as error:
            self._lose(f"the lamp keeper went away ({error}); waiting for it to come back")
        finally:
            self._lose("")
            connection.close()

    def _send(self, message: bytes) -> None:
        """Send on the connection if there is one; the lock is held. Half a message ends it."""
        if self._connection is None:
            return
        try:
            self._connection.sendall(message)
        except OSError as error:
            slow = isinstance(error, TimeoutError)
            self._drop("the lamp keeper does not answer" if slow else f"it went away ({error})")

    def _lose(self, words: str) -> None:
        with self._lock:
            self._drop(words)

    def _drop(self, words: str) -> None:
        """Give the connection up; the lock is held. The worker closes it and makes a new one."""
        if self._connection is not None:
            with contextlib.suppress(OSError):
                self._connection.shutdown(socket.SHUT_RDWR)  # wakes the worker
            self._connection = None
        if words:
            self._say(words)

    def _say(self, words: str) -> None:
        self._status = OutputStatus(self._status.kind, False, words)
