"""How the keeper is spoken to, over a unix-domain stream socket.

Each message is its length (4 octets, big-endian) and then that many octets of JSON in UTF-8, at
most 16 MB. The client asks, the keeper answers each request in order:

    {"do": "play", "token": T, "slots": [HEX, ...], "frames": [[MOMENT, {UNIVERSE: INDEX}], ...]}
    {"do": "status"}
    {"do": "hello"}
    {"do": "stop", "terminate": true}

MOMENT is in seconds of CLOCK_MONOTONIC, which all processes of one Linux machine share; UNIVERSE is
a decimal string; INDEX counts into "slots", where every different set of values stands once, in
hexadecimal, without its trailing zeros. T is any string the client makes up for this timeline.

Every answer to a request that was understood carries
    {"ok": true, "kind": ..., "live": ..., "message": ..., "token": T of the last play or ""}
and "hello" adds {"pid": ..., "argv": [...], "frame": {UNIVERSE: HEX}} with the frame lit now.
Otherwise {"ok": false, "error": what is wrong}.
"""

import json
import os
import socket
import stat
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.errors import Refused
from server.live.output import SLOTS, Frame, OutputStatus, Timeline

LARGEST_MESSAGE = 16 * 1024 * 1024
"""[octets] A minute of frames for four full universes takes 11 MB."""
_LENGTH = struct.Struct("!I")


def private_folder(folder: Path) -> None:
    """Make a folder that only this user may write in; refuse one that others made or may change.

    Raises
    ------
    Refused
        The folder belongs to somebody else or others may write in it: whoever owns it could listen
        there in the keeper's place.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    found = folder.stat()
    if found.st_uid != os.getuid() or found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        raise Refused(f"{folder} is not this user's own, so the lamp keeper cannot use it")


def pack(message: Mapping[str, Any]) -> bytes:
    """One message as it goes over the socket. [octets]

    Raises
    ------
    ValueError
        It is larger than 16 MB.
    """
    body = json.dumps(message, separators=(",", ":")).encode()
    if len(body) > LARGEST_MESSAGE:
        raise ValueError(f"a message has at most {LARGEST_MESSAGE} octets, this one {len(body)}")
    return _LENGTH.pack(len(body)) + body


def receive(connection: socket.socket) -> bytes | None:
    """The next message's JSON; None when the other side has closed.

    Raises
    ------
    ValueError
        The message claims to be larger than 16 MB; the connection is of no more use.
    OSError
        The connection broke or the socket's timeout ran out.
    """
    head = _receive_exactly(connection, _LENGTH.size)
    if head is None:
        return None
    (length,) = _LENGTH.unpack(head)
    if length > LARGEST_MESSAGE:
        raise ValueError(f"a message has at most {LARGEST_MESSAGE} octets, this one {length}")
    return _receive_exactly(connection, length)


def _receive_exactly(connection: socket.socket, octets: int) -> bytes | None:
    buffer = bytearray(octets)
    view, have = memoryview(buffer), 0
    while have < octets:
        got = connection.recv_into(view[have:])
        if got == 0:
            return None
        have += got
    return bytes(buffer)


def play_message(timeline: Timeline, token: str) -> dict[str, Any]:
    """The request that plays a timeline."""
    index: dict[bytes, int] = {}
    frames = [
        [moment, {str(u): index.setdefault(slots, len(index)) for u, slots in frame.items()}]
        for moment, frame in timeline.frames
    ]
    return {
        "do": "play",
        "token": token,
        "slots": [_to_hex(slots) for slots in index],
        "frames": frames,
    }


def read_timeline(message: Mapping[str, Any]) -> Timeline:
    """The timeline of a play request.

    Raises
    ------
    ValueError
        The request is not as described above; the message says where.
    """
    try:
        slots = [_from_hex(text) for text in message["slots"]]
        frames = tuple(
            (float(moment), {int(universe): slots[i] for universe, i in frame.items()})
            for moment, frame in message["frames"]
        )
    except (KeyError, IndexError, TypeError, AttributeError) as error:
        raise ValueError(f"not a timeline: {error!r}") from None
    return Timeline(frames)


def frame_message(frame: Frame) -> dict[str, str]:
    """A frame as it stands in the answer to "hello"."""
    return {str(universe): _to_hex(slots) for universe, slots in frame.items()}


def _to_hex(slots: bytes) -> str:
    return slots.rstrip(b"\0").hex()


def _from_hex(text: str) -> bytes:
    slots = bytes.fromhex(text)
    if len(slots) > SLOTS:
        raise ValueError(f"at most {SLOTS} slots, got {len(slots)}")
    return slots.ljust(SLOTS, b"\0")


def read_status(answer: Mapping[str, Any]) -> OutputStatus:
    """The output's status as an answer tells it; ValueError when the answer is a refusal."""
    if answer.get("ok") is not True:
        raise ValueError(str(answer.get("error", "the lamp keeper gave no reason")))
    return OutputStatus(str(answer["kind"]), bool(answer["live"]), str(answer["message"]))


@dataclass(frozen=True)
class Hello:
    """Who the keeper is and what is lit."""

    pid: int
    argv: tuple[str, ...]
    status: OutputStatus
    token: str
    frame: Frame


def ask(socket_path: str, message: Mapping[str, Any], timeout_s: float = 0.5) -> dict[str, Any]:
    """One request on a connection of its own, and its answer. [timeout in s, > 0]

    Raises
    ------
    OSError
        No keeper there, or it does not answer in time.
    ValueError
        It answered something else than JSON.
    """
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
        connection.settimeout(timeout_s)
        connection.connect(socket_path)
        connection.sendall(pack(message))
        body = receive(connection)
    if body is None:
        raise OSError("the lamp keeper closed the connection without an answer")
    answer: dict[str, Any] = json.loads(body)
    return answer


def hello(socket_path: str, timeout_s: float = 0.5) -> Hello:
    """Ask the keeper who it is and what is lit. Errors as for `ask`. [timeout in s, > 0]"""
    answer = ask(socket_path, {"do": "hello"}, timeout_s)
    argv: Sequence[Any] = answer.get("argv", ())
    return Hello(
        pid=int(answer.get("pid", 0)),
        argv=tuple(str(word) for word in argv),
        status=read_status(answer),
        token=str(answer.get("token", "")),
        frame={int(u): _from_hex(text) for u, text in answer.get("frame", {}).items()},
    )
