"""Rigs, servers and clients that several tests share."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlmodel import Session
from starlette.testclient import TestClient

from server.app import create_app
from server.paths import DEMO_DATA
from server.settings import Settings
from server.store.database import open_database
from server.store.seed import seed

# Scripts beside the tests: run by tests or by hand, not collected.
collect_ignore_glob = ["*/[!tc_]*.py", "run.py"]


@pytest.fixture(scope="session")
def demo_studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database that holds the demo studio and nothing else: filled once, copied for each test."""
    path = tmp_path_factory.mktemp("demo") / "studio.db"
    database = open_database(path)
    with Session(database) as session:
        seed(session, DEMO_DATA)
    database.dispose()
    return path


@pytest.fixture
def client(tmp_path: Path, demo_studio: Path) -> Iterator[TestClient]:
    """A server with the demo studio, no output and no faces, asked in-process."""
    database = shutil.copy(demo_studio, tmp_path / "studio.db")
    app = create_app(Settings(database=database, faces="none"))
    with TestClient(app) as client:
        yield client
