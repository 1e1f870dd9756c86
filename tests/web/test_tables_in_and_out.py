"""Readings and looks as tables: out, in, and refused whole when a cell is wrong."""

import csv
import io
from itertools import groupby
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.web.bringing import bring, damaged_files_change_nothing, keep, told

READINGS = "/meter/files/readings"


def meter(client: TestClient) -> None:
    """A few readings of the room and of three heads."""
    client.post("/meter/light", data={"head": ""})
    client.post("/api/readings", json={"point": "hair", "value": 2.5})
    for head, lux in (("Key", 812.5), ("Fill", 300.0), ("Hair", 97.3)):
        client.post("/meter/light", data={"head": head})
        client.post("/api/readings", json={"point": "hair", "head": head, "value": lux})
    client.post("/api/readings", json={"point": "hair", "head": "Hair", "value": 96, "kind": "lux"})
    client.post("/meter/end")


def table(client: TestClient, path: str) -> list[dict[str, str]]:
    answer = client.get(path)
    assert answer.headers["content-type"].startswith("text/csv")
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))


def test_readings_go_out_and_come_in_the_same(client: TestClient, empty: TestClient) -> None:
    meter(client)
    out = client.get("/meter/files/readings.csv").content
    rig = client.get("/api/rig").json()
    empty.put("/api/rig", json=rig | {"readings": []})
    page = bring(empty, out, READINGS)
    assert "5 will be added" in page.text
    assert empty.get("/api/readings").json() == []
    done = keep(empty, page)
    assert "5 readings added" in done.text
    assert empty.get("/api/rig").json() == rig
    assert empty.get("/meter/files/readings.csv").content == out
    assert "Nothing will be added" in bring(empty, out, READINGS).text
    token = done.url.query.decode().partition("came=")[2]
    empty.post(f"/meter/files/kept/{token}/out")
    assert empty.get("/api/readings").json() == []


def test_a_reading_far_off_is_asked_about(client: TestClient) -> None:
    page = bring(
        client, b"taken_at,point,head,output_fraction,illuminance_lux\r\n"
                b"2026-05-01T10:00:00Z,cheek right,Key,0.25,8\r\n"
                b"2026-05-01T10:00:00Z,hair,,,80\r\n", READINGS,
    )  # fmt: skip
    assert "stops under what is expected" in page.text
    assert "Are all heads dark, the number and its unit right?" in page.text
    assert "Key at cheek camera right: 8 lux" in page.text


def test_a_point_may_be_told_as_it_is_said(client: TestClient) -> None:
    row = "2026-05-01T10:00:00Z,cheek camera left,Key,0.25,800,{}"
    rows = "taken_at,point,head,output_fraction,illuminance_lux,aim\r\n{}\r\n"
    lines = "\r\n".join(row.format(aim) for aim in ("cheek camera left", "cheek left"))
    keep(client, bring(client, rows.format(lines).encode(), READINGS))
    kept = client.get("/api/readings").json()
    assert [r["point"] for r in kept] == ["cheek left"]  # both lines say the same
    assert client.get("/api/rig").json()["readings"][0]["placement"]["aim"] == "cheek left"


@pytest.mark.parametrize("cell", ["left knee", "", "=hair"])
def test_one_wrong_row_and_nothing_is_taken(client: TestClient, cell: str) -> None:
    meter(client)
    before = told(client)
    lines = client.get("/meter/files/readings.csv").text.split("\r\n")
    lines[3] = lines[3].replace(",hair,", f",{cell},")
    answer = bring(client, "\r\n".join(lines).encode(), READINGS)
    assert answer.status_code in (404, 422)
    assert "line 4, point" in answer.text
    if cell == "left knee":
        assert "there are cheek camera right, cheek camera left, forehead" in answer.text
    assert told(client) == before


def test_columns_are_called_as_they_stand_in_the_file(client: TestClient) -> None:
    row = b"taken_at,point,head,output_fraction,illuminance_lux,distance_m\r\n" \
          b"2026-05-01T10:00:00Z,hair,Key,0.25,800,-1\r\n"  # fmt: skip
    answer = bring(client, row, READINGS)
    assert answer.status_code == 422
    assert "line 2, distance_m: distance_m must lie" in answer.text


ROW = "taken_at,point,head,output_fraction,f_number,iso,shutter_s\r\n{},hair,Key,0.25,5.6,400,{}"


@pytest.mark.parametrize("shutter", ["1/125", "0.008"])
def test_a_shutter_is_understood_as_cameras_show_it(client: TestClient, shutter: str) -> None:
    """E = C N**2 / (S t) with N**2 = 32, C 250 (ISO 2720:1974): 2500 lux."""
    page = bring(client, ROW.format("2026-05-01T10:00:00Z", shutter).encode(), READINGS)
    assert "Key at hair: 2500 lux" in page.text


@pytest.mark.parametrize(
    ("moment", "shutter", "says"),
    [("2026-05-01 10:00", "1/125", "line 2, taken_at: must be a moment with its time zone"),
     ("2026-05-01T10:00Z", "1/0", "line 2, shutter_s: must be a number"),
     ("2026-05-01T10:00Z", "fast", "line 2, shutter_s: must be a number")],
)  # fmt: skip
def test_what_a_table_has_wrong_is_said_once(
    client: TestClient, moment: str, shutter: str, says: str
) -> None:
    text = bring(client, ROW.format(moment, shutter).encode(), READINGS).text
    assert text.count("line 2, ") == text.count(says) == 1


def test_a_table_of_looks_says_what_the_board_says(client: TestClient) -> None:
    rows = table(client, "/library/files/looks.csv")
    assert len(rows) == 12 * 9
    ambient = client.get("/api/rig").json()["room"]["ambient_lux"]
    placed = {"Profile", "Duet"}  # their heads stand elsewhere than in the rig
    looks = {k["name"]: k for k in client.get("/api/looks").json()}
    for name, group in groupby(rows, key=lambda row: row["look"]):
        own = list(group)
        total = ambient + sum(float(row["head_at_lit_side_lux"]) for row in own)
        assert float(own[0]["lit_side_lux"]) == pytest.approx(total)
        shadow = ambient + sum(float(row["head_at_shadow_side_lux"]) for row in own)
        assert float(own[0]["shadow_side_lux"]) == pytest.approx(shadow)
        assert float(own[0]["ratio_lit_to_shadow"]) == pytest.approx(total / shadow)
        assert looks[name]["ratio"] == pytest.approx(total / shadow)
        if name in placed:
            continue
        state = client.post("/api/recall", json={"look": looks[name]["id"]}).json()
        for row, head in zip(own, state["heads"], strict=True):
            assert row["head"] == head["name"]
            assert float(row["level_percent"]) == pytest.approx(head["level_percent"])
            stops = head["stops_below_full"]
            assert row["stops_below_full"] == ("" if stops is None else repr(stops))
        assert state["ratio"]["value"] == pytest.approx(total / shadow)
        assert own[0]["lit_side"] == state["ratio"]["lit"]
    assert [row["place_in_order"] for row in rows[::9]][:3] == ["1", "2", "3"]


def test_a_look_whose_head_is_gone_has_no_level_in_the_table(client: TestClient) -> None:
    client.post("/rig/heads/Hair/delete")
    rows = [r for r in table(client, "/library/files/looks.csv") if r["head"] == "Hair"]
    assert rows
    assert {row["level_percent"] for row in rows} == {""}


def test_no_name_is_a_formula(client: TestClient) -> None:
    client.post("/api/looks", json={"name": "=cmd|'/c calc'!A1", "tags": ["+1"], "notes": ""})
    last: dict[str, Any] = table(client, "/library/files/looks.csv")[-1]
    assert last["look"].startswith("'=")
    assert last["tags"].startswith("'+")


def test_damaged_tables(client: TestClient, empty: TestClient) -> None:
    meter(client)
    empty.put("/api/rig", json=client.get("/api/rig").json() | {"readings": []})
    data = client.get("/meter/files/readings.csv").content
    assert damaged_files_change_nothing(client, empty, READINGS, data) > 50
