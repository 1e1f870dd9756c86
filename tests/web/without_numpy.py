"""A server on a machine where numpy cannot be loaded. Run by a test, in a process of its own."""

import sys
import time
from pathlib import Path

sys.modules["numpy"] = None  # type: ignore[assignment]

from starlette.testclient import TestClient  # noqa: E402

from server.app import create_app  # noqa: E402
from server.settings import Settings  # noqa: E402

with TestClient(create_app(Settings(database=Path(sys.argv[1]) / "s.db"))) as client:
    end = time.monotonic() + 10
    while "cannot be drawn" not in (page := client.get("/")).text and time.monotonic() < end:
        time.sleep(0.05)
    board = client.get("/board")
    picture = client.get("/faces/now.jpg")
    kept = client.post("/api/looks", json={})
    print(page.status_code, board.status_code, picture.status_code, kept.status_code)
    print("faces cannot be drawn" in page.text, "faces cannot be drawn" in board.text)
    print('class="plan"' in page.text, "<img" in page.text)
