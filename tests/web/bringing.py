"""Files brought in as the pages do it, looked at, said yes to; and damaged on their way."""

import json
import random
import re
from typing import Any

from starlette.testclient import TestClient

ODD = (b"-", b"9" * 30, b"1e999", b'"', b"null", b"{", b"\x00", b"\n", b",,", b"\xff", b"=")


def bring(client: TestClient, document: Any, path: str = "/library/files/look-book") -> Any:
    data = document if isinstance(document, bytes) else json.dumps(document).encode()
    return client.post(path, files={"document": ("a file", data)})


def keep(client: TestClient, page: Any, order: bool = True) -> Any:
    """Say yes to what a page shows."""
    seen = re.search(r'name="seen" value="(\w+)"', page.text)[1]
    return client.post(page.url.path, data={"seen": seen, **({"order": "true"} if order else {})})


def told(client: TestClient) -> tuple[Any, ...]:
    return tuple(client.get(p).json() for p in ("/api/looks", "/api/running-order", "/api/rig"))


def mutated(data: bytes, chance: random.Random) -> bytes:
    """A file that was damaged on its way: bytes changed, cut off, doubled, lines swapped."""
    text = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(text) or 1)
        how = chance.randrange(6)
        if how == 0:
            text[at : at + 1] = bytes([chance.randrange(256)])
        elif how == 1:
            del text[at : at + chance.randint(1, 40)]
        elif how == 2:
            text[at:at] = text[at // 2 : at // 2 + chance.randint(1, 60)]
        elif how == 3:
            text = text[:at] or text
        elif how == 4:
            text[at:at] = chance.choice(ODD)
        else:
            lines = text.split(b"\n")
            a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
            lines[a], lines[b] = lines[b], lines[a]
            text = bytearray(b"\n".join(lines))
    return bytes(text)


def damaged_files_change_nothing(
    client: TestClient, other: TestClient, path: str, data: bytes, count: int = 100
) -> int:
    """Bring in damaged files: a sentence or a page to look at, never more. How many were refused.

    What is shown is then said yes to in another studio, which must be whole afterwards.
    """
    chance, before, refused = random.Random(7), told(client), 0
    for _ in range(count):
        wrong = mutated(data, chance)
        answer = bring(client, wrong, path)
        assert answer.status_code < 500, answer.text
        if answer.status_code != 200:
            refused += 1
            sentence = re.search(r"did not work</h1><p>([^<]{10,})</p>", answer.text)
            assert sentence, answer.text
        elif 'name="seen"' in (page := bring(other, wrong, path)).text:
            assert keep(other, page).status_code < 500
    for page in ("/library", "/meter", "/rig", "/"):
        assert other.get(page).status_code == 200
    assert told(client) == before
    return refused
