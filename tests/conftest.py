"""Rigs, servers and clients that several tests share."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings

# Scripts beside the tests: run by tests or by hand, not collected.
collect_ignore_glob = ["*/[!tc_]*.py", "run.py"]


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A server with the demo studio, no output and no faces, asked in-process."""
    app = create_app(Settings(database=tmp_path / "studio.db", faces="none"))
    with TestClient(app) as client:
        yield client
