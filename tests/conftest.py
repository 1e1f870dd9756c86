"""Rigs, servers and clients that several tests share."""

import fcntl
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest
from sqlmodel import Session
from starlette.testclient import TestClient

from server.app import create_app
from server.paths import DEMO_DATA
from server.preview.grid import grid_of
from server.preview.scene import STAND_INS
from server.settings import Settings
from server.store.database import open_database
from server.store.seed import seed

# The same examples in every run, so that a failure is a change's own and not chance's; and no
# deadline, because a shared machine makes a fast function look slow.
hypothesis.settings.register_profile("same", derandomize=True, deadline=None, database=None)
hypothesis.settings.load_profile("same")

# Scripts beside the tests: run by tests or by hand, not collected.
collect_ignore_glob = ["*/[!tc_]*.py", "run.py"]


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of this test run that all its processes share."""
    base = tmp_path_factory.getbasetemp()
    return base.parent if "PYTEST_XDIST_WORKER" in os.environ else base


@pytest.fixture(scope="session")
def baked(shared: Path) -> Path:
    """Folder that keeps the sampled drawing: sampled once per test run."""
    folder = shared / "baked"
    folder.mkdir(exist_ok=True)
    with (shared / "baked.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # who comes second finds it there
        grid_of(STAND_INS["one"], folder)
    return folder


@pytest.fixture(scope="session")
def faces(baked: Path, shared: Path) -> Path:
    """Where faces are kept: drawn once for all tests."""
    folder = shared / "faces"
    folder.mkdir(exist_ok=True)
    for grid in baked.glob("grid-*.npy"):
        shutil.copy(grid, folder)
    return folder


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
