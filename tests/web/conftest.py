"""What several tests of the pages share."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[TestClient]:
    """A studio with nothing in it."""
    app = create_app(Settings(database=tmp_path / "empty.db", demo=False, faces="none"))
    with TestClient(app) as client:
        yield client
