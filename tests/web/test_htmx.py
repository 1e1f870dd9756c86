"""The script we serve is the very file we reviewed."""

import hashlib

from server.paths import HTMX


def test_htmx_is_the_pinned_file() -> None:
    digest = hashlib.sha256(HTMX.read_bytes()).hexdigest()
    assert digest.startswith("491955cd")
    assert digest.endswith("2784e")
