"""Minutes on over a restart, and what the pages say of a head that is still warming up."""

import json
import re
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.web.test_stories import rig

RECORD = ((4.0, 0.0), (8.0, -0.05), (12.0, -0.09), (20.0, -0.12))


def studio_with_record() -> dict[str, Any]:
    """The plain studio; the key was read four times on another day, at a point beside the face."""
    document = rig()
    beside = {"name": "beside", "on": "room", "x": 0.3, "y": 0, "z": 0, "nx": 1, "ny": 0, "nz": 0}
    document["points"].append({**beside, "receptor": "flat"})
    begun = datetime(2026, 5, 1, 9, tzinfo=UTC)
    placement = {**document["heads"][0]["placement"], "scrims": [], "aim": "mark"}
    document["readings"] = [
        {"point": "beside", "head": "Key", "lux": 4000 * 2**stops, "output": 0.25,
         "at": (begun + timedelta(minutes=minutes)).isoformat(), "placement": placement,
         "minutes_on": minutes}
        for minutes, stops in RECORD
    ]  # fmt: skip
    return document


def set_back(database: Path, minutes: float) -> None:
    """What was stored happened so many minutes earlier."""
    with sqlite3.connect(database) as file:
        rows = file.execute("SELECT id, at, detail FROM event").fetchall()
        for row, at, text in rows:
            detail = json.loads(text)
            for warmth in detail.get("warm", {}).values():
                lit_at = datetime.fromisoformat(warmth["at"]) - timedelta(minutes=minutes)
                warmth["at"] = lit_at.isoformat()
            earlier = datetime.fromisoformat(at) - timedelta(minutes=minutes)
            file.execute(
                "UPDATE event SET at = ?, detail = ? WHERE id = ?",
                (earlier.isoformat(" ", "microseconds"), json.dumps(detail), row),
            )
    file.close()


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(database=tmp_path / "studio.db", faces="none")


def lit(settings: Settings) -> None:
    with TestClient(create_app(settings)) as client:
        assert client.put("/api/rig", json=studio_with_record()).status_code == 200
        client.post("/api/levels", json={"levels": {"Key": 50, "Fill": 25}})


@pytest.fixture
def four_minutes_on(settings: Settings) -> Iterator[TestClient]:
    """Started again four minutes after key and fill were lit."""
    lit(settings)
    set_back(settings.database, 4)
    with TestClient(create_app(settings)) as client:
        yield client


def test_the_board_says_how_long_until_steady(four_minutes_on: TestClient) -> None:
    assert "Key: 4 min on, steady in about 16" in four_minutes_on.get("/board").text
    rig_page = four_minutes_on.get("/rig").text
    assert "4 min on, steady in about 16" in rig_page
    assert rig_page.count("4 min on") == 2  # the fill has no record: only its minutes
    assert "4 min on, steady in about 16" in four_minutes_on.get("/rig/heads/Key").text


def test_the_ratio_would_drift_from_three_to_two_point_eight(four_minutes_on: TestClient) -> None:
    page = four_minutes_on.get("/rig/heads/Key/warm-up").text
    assert four_minutes_on.get("/api/state").json()["ratio"]["label"] == "3:1"
    assert "The ratio would drift from about 3:1 to about 2.8:1" in page
    assert "Steady after about 20 minutes." in page
    assert "−0.12 stop" in page


def test_a_steady_head_says_nothing_on_the_board(settings: Settings) -> None:
    lit(settings)
    set_back(settings.database, 25)
    with TestClient(create_app(settings)) as client:
        assert "steady in" not in client.get("/board").text
        assert "25 min on" in client.get("/rig").text
        assert "The ratio would drift" not in client.get("/rig/heads/Key/warm-up").text


def test_after_a_night_heads_are_cold(settings: Settings) -> None:
    lit(settings)
    set_back(settings.database, 900)
    with TestClient(create_app(settings)) as client:
        assert "0 min on, steady in about 20" in client.get("/board").text


def test_a_head_that_was_dark_for_a_while_is_not_cold(settings: Settings) -> None:
    lit(settings)
    set_back(settings.database, 12)
    with TestClient(create_app(settings)) as client:
        client.post("/api/levels", json={"levels": {"Key": 0}})
        assert "dark, not yet cold" in client.get("/rig").text
    set_back(settings.database, 8)
    with TestClient(create_app(settings)) as client:
        client.post("/api/levels", json={"levels": {"Key": 50}})
        told = client.get("/rig").text
        assert re.search(r"[34] min on, steady in about 1[67]", told)  # 12 lit, 8 dark


def test_a_renamed_head_stays_warm(four_minutes_on: TestClient) -> None:
    page = four_minutes_on.get("/rig/heads/Key").text
    fields = dict(_fields(page))
    fields["name"] = "Big key"
    answer = four_minutes_on.post("/rig/heads/Key", data=fields)
    assert answer.status_code == 200, answer.text
    assert "Big key" in four_minutes_on.get("/rig").text
    assert four_minutes_on.get("/rig").text.count("4 min on") == 2


def _fields(page: str) -> list[tuple[str, str]]:
    form = page[page.index('class="fields"') :]
    found = re.findall(r'<input name="(\w+)"[^>]*value="([^"]*)"', form)
    for name, options in re.findall(r'<select name="(\w+)">(.*?)</select>', form, re.DOTALL):
        found.append((name, re.search(r"selected>([^<]*)<", options)[1]))
    return found


def test_a_reading_for_the_record_knows_its_minutes(four_minutes_on: TestClient) -> None:
    here = "/rig/heads/Key/warm-up"
    answer = four_minutes_on.post(f"{here}/reading", data={"point": "beside", "value": "2000"})
    assert answer.status_code == 409  # not alone: the fill is lit too
    assert "lit alone" in answer.text
    page = four_minutes_on.post(f"{here}/light", data={"point": "beside"}).text
    assert '<input type="hidden" name="point" value="beside">' in page
    for value, says in (("-3", "lux must"), ("bright", "must be a number")):
        wrong = four_minutes_on.post(f"{here}/reading", data={"point": "beside", "value": value})
        assert wrong.status_code == 422
        assert says in wrong.text
    four_minutes_on.post(f"{here}/reading", data={"point": "beside", "value": "2000"})
    newest = four_minutes_on.get("/api/readings").json()[-1]
    assert newest["minutes_on"] == pytest.approx(4, abs=0.5)
    four_minutes_on.post(f"{here}/end")
    outputs = {h["name"]: h["output"] for h in four_minutes_on.get("/api/state").json()["heads"]}
    assert outputs["Fill"] == pytest.approx(0.25)


def test_a_tungsten_head_has_nothing_to_wait_for(client: TestClient) -> None:
    assert "gives its light at once" in client.get("/rig/heads/Hair/warm-up").text
    client.post("/api/levels", json={"levels": {"Hair": 50}})
    assert "0 min on, steady at once" in client.get("/rig").text


def test_a_head_read_while_it_warmed_up_asks_for_one_reading(settings: Settings) -> None:
    document = studio_with_record()
    cold = {**document["readings"][0], "point": "cheek right",
            "at": "2026-05-02T09:00:00+00:00", "minutes_on": 1.0}  # fmt: skip
    document["readings"].append(cold)
    with TestClient(create_app(settings)) as client:
        client.put("/api/rig", json=document)
        client.post("/api/levels", json={"levels": {"Key": 50}})
    set_back(settings.database, 30)
    with TestClient(create_app(settings)) as client:
        assert "30 min on, steady: re-check one reading" in client.get("/rig").text
