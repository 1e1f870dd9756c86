"""Photometric files on a head's page: taken in, drawn, taken away; hostile ones change nothing."""

import html
import random
import re

import pytest
from starlette.testclient import TestClient

from tests.physics.lm63_files import ROUND, written
from tests.physics.test_lm63 import mutated

TAKE = "/rig/heads/Key/photometry"


def take(client: TestClient, text: str | bytes, focus: str = "halfway", **headers: str):
    files = {"document": ("bench.ies", text)}
    return client.post(TAKE, data={"measured_at": focus}, files=files, headers=headers)


def key_of(client: TestClient) -> dict:
    return next(h for h in client.get("/api/rig").json()["heads"] if h["name"] == "Key")


def lux_of(client: TestClient) -> dict[str, float]:
    client.post("/api/levels", json={"levels": {"Key": 100.0}})
    return {p["name"]: p["lux"] for p in client.get("/api/state").json()["points"]}


def test_a_file_is_taken_in_drawn_and_taken_away(client: TestClient) -> None:
    before, rows = lux_of(client), key_of(client)
    assert "Take away" not in client.get("/rig/heads/Key").text
    page = take(client, ROUND)
    assert page.status_code == 200
    assert page.url.path == "/rig/heads/Key"
    assert "halfway" in page.text
    assert "every focus: a bench lamp with a lens" in page.text
    assert "9000 cd, beam 20°, field 40°" in page.text
    assert "The file says 575 W" in page.text
    assert 'class="curve-now"' in page.text
    assert "<script>" not in page.text
    measured = key_of(client)["photometry"]
    assert measured == [
        {"focus": 0.5, "name": "a bench lamp with a lens", "watts": 575.0,
         "angles_deg": [0.0, 10.0, 20.0, 90.0], "candelas": [9000.0, 4500.0, 900.0, 0.0]}
    ]  # fmt: skip
    assert lux_of(client) != before
    gone = client.post(f"{TAKE}/remove", data={"focus": "0.5"})
    assert lux_of(client) == before
    assert key_of(client) == rows
    beam = html.unescape(re.search(r'name="beam" value="([^"]*)"', gone.text)[1])
    assert client.post(f"{TAKE}/bring-back", data={"beam": beam}).url.path == "/rig/heads/Key"
    assert key_of(client)["photometry"] == measured


def test_spot_and_flood_and_the_form_of_the_head_leaves_them(client: TestClient) -> None:
    angles = [0.0, 30.0, 60.0, 90.0]
    take(client, ROUND, "spot")
    page = take(client, written([[1000.0, 500.0, 0.0, 0.0]], angles, [0.0]), "flood").text
    assert "spot: a bench lamp" in page
    assert "flood: a bench lamp" in page
    assert len(re.findall('class="curve-file"', page)) == 2
    fields = dict(re.findall(r'<input name="(\w+)"[^>]* value="([^"]*)"', page))
    chosen = re.findall(r'<select name="(\w+)">.*?<option selected>([^<]*)', page)
    files = key_of(client)["photometry"]
    assert [f["focus"] for f in files] == [0.0, 1.0]
    answer = client.post("/rig/heads/Key", data=fields | dict(chosen) | {"focus": "0.5"})
    assert answer.url.path == "/rig"
    assert key_of(client)["photometry"] == files
    document = client.get("/api/rig").json()
    assert client.put("/api/rig", json=document).json() == document


def test_a_head_with_a_large_file_can_be_taken_out_and_brought_back(client: TestClient) -> None:
    angles = [i / 8 for i in range(721)]
    take(client, written([[1234.56789 - 13.5 * a for a in angles]], angles, [0.0]), "spot")
    before = key_of(client)
    assert len(before["photometry"][0]["angles_deg"]) == 721
    page = client.post("/rig/heads/Key/delete").text
    document = html.unescape(re.search(r'name="head" value="([^"]*)"', page)[1])
    assert client.post("/rig/heads/bring-back", data={"head": document}).url.path == "/rig"
    assert key_of(client) == before
    assert len(client.get("/rig/heads/Key").content) < 120_000


def test_a_name_with_signs_in_it(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    rig["heads"][0]["name"] = "Kéy 100%? №1"
    client.put("/api/rig", json=rig)
    path = "/rig/heads/K%C3%A9y%20100%25%3F%20%E2%84%961/photometry"
    for headers in ({}, {"HX-Request": "true"}):
        answer = client.post(path, data={"measured_at": "spot"}, files={"document": ("a", ROUND)},
                             headers=headers, follow_redirects=False)  # fmt: skip
        to = answer.headers.get("location") or answer.headers["hx-redirect"]
        page = client.get(to)
        assert "every focus: a bench lamp" in page.text
    assert f'action="{path}"' in page.text


@pytest.mark.parametrize(
    ("text", "focus", "said"),
    [
        ("IESNA91\n", "spot", "line 1: first line"),
        (ROUND.replace("TILT=NONE", "TILT=a.tlt"), "spot", "line 8: TILT="),
        (ROUND, "sideways", "measured_at must be one of"),
        (b"\x89PNG\r\n\x1a\n\x00\xff", "spot", "line 1"),
        (ROUND.replace("5000 2500", "500 25000"), "spot", "along 0 degrees"),
        ("", "spot", "line 1"),
    ],
)
def test_what_is_no_such_file_is_said_and_nothing_changes(
    client: TestClient, text: str | bytes, focus: str, said: str
) -> None:
    before = client.get("/api/rig").json()
    assert take(client, text, focus).status_code == 422
    answer = take(client, text, focus, **{"HX-Request": "true"})
    assert answer.status_code == 422
    assert said in answer.text
    assert "hx-swap-oob" in answer.text
    assert client.get("/api/rig").json() == before


def test_what_is_no_file_at_all(client: TestClient) -> None:
    before = client.get("/api/rig").json()
    assert client.post(TAKE, data={"measured_at": "spot", "document": "x"}).status_code == 422
    assert client.post(TAKE, content=b"x").status_code == 422
    assert take(client, b"9" * 3_000_000).status_code == 413
    assert client.post(f"{TAKE}/remove", data={"focus": "0.5"}).status_code == 404
    for beam in ("", "{", "[]", '{"focus": 3, "angles_deg": [0, 1], "candelas": [1, 0]}'):
        assert client.post(f"{TAKE}/bring-back", data={"beam": beam}).status_code == 422
    gone = client.post("/rig/heads/Nobody/photometry", data={"measured_at": "spot"},
                       files={"document": ("a", ROUND)})  # fmt: skip
    assert gone.status_code == 404
    assert client.get("/api/rig").json() == before


def test_mutated_files_are_refused_or_taken_but_never_break(client: TestClient) -> None:
    chance = random.Random(2002)
    before = client.get("/api/rig").json()
    refused = 0
    for _ in range(300):
        answer = take(client, mutated(ROUND, chance).encode(), **{"HX-Request": "true"})
        assert answer.status_code in (204, 422), answer.text
        if answer.status_code == 204:
            client.post(f"{TAKE}/remove", data={"focus": "0.5"})
        else:
            refused += 1
    assert 100 < refused < 300
    assert client.get("/api/rig").json() == before
