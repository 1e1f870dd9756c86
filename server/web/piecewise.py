"""A large JSON object taken apart: while one part is read nothing else can go on, and millions of
values that are kept at once are slow to be looked after."""

import json
import re
from json import JSONDecodeError
from typing import Any

_SPACE = re.compile(r"[ \t\n\r]*")
_decode = json.JSONDecoder().raw_decode


def parts_of(data: str | bytes) -> Any:
    """What `json.loads` says, but lists of the outermost object hold the text of each member, to be
    read one by one. Raises ValueError or RecursionError.

    References
    ----------
    RFC 8259, 2 and 4: objects, and the space between their parts.
    """
    if isinstance(data, bytes):
        data = data.decode(json.detect_encoding(data), "surrogatepass")
    text = data
    at = _after_space(text, 0)
    if not text.startswith("{", at):
        return json.loads(text)
    whole, at = {}, _after_space(text, at + 1)
    closed = text.startswith("}", at)
    while not closed:
        if not text.startswith('"', at):
            raise JSONDecodeError("Expecting property name enclosed in double quotes", text, at)
        name, at = _decode(text, at)
        at = _after_space(text, at)
        if not text.startswith(":", at):
            raise JSONDecodeError("Expecting ':' delimiter", text, at)
        at = _after_space(text, at + 1)
        whole[name], at = _list(text, at) if text.startswith("[", at) else _decode(text, at)
        closed, at = _next(text, at, "}")
    if (end := _after_space(text, at + 1)) < len(text):
        raise JSONDecodeError("Extra data", text, end)
    return whole


def _list(text: str, at: int) -> tuple[list[str], int]:
    found: list[str] = []
    at = _after_space(text, at + 1)
    closed = text.startswith("]", at)
    while not closed:
        _, end = _decode(text, at)
        found.append(text[at:end])
        closed, at = _next(text, end, "]")
    return found, at + 1


def _next(text: str, at: int, end: str) -> tuple[bool, int]:
    """Whether it ends after a part, and where the end or the next part stands."""
    at = _after_space(text, at)
    if text.startswith(end, at):
        return True, at
    if not text.startswith(",", at):
        raise JSONDecodeError("Expecting ',' delimiter", text, at)
    return False, _after_space(text, at + 1)


def _after_space(text: str, at: int) -> int:
    found = _SPACE.match(text, at)
    return found.end() if found else at
