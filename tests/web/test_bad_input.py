"""Bad input gets a 4xx that says what and what is allowed; nothing is half-written."""

from typing import Any

import pytest
from starlette.testclient import TestClient


@pytest.mark.parametrize(
    ("path", "body", "status", "says"),
    [
        ("/api/levels", {"levels": {"Key": 101}}, 422, "0..100"),
        ("/api/levels", {"levels": {"Nobody": 1}}, 404, "Nobody"),
        ("/api/nudge", {"role": "key", "thirds": 2.5}, 422, "2.5"),
        ("/api/nudge", {"role": "key", "thirds": 10}, 422, "9"),
        ("/api/nudge", {"thirds": 1}, 422, "role or a head"),
        ("/api/nudge", {"role": "main", "thirds": 1}, 404, "roles in this rig"),
        ("/api/ratio", {"target": 0.5}, 422, "above 1"),
        ("/api/recall", {"look": 999}, 404, "999"),
        ("/api/levels", {"levles": {}}, 422, "levles"),
    ],
)
def test_a_sentence_and_no_change(
    client: TestClient, path: str, body: dict[str, Any], status: int, says: str
) -> None:
    before = client.get("/api/state").json()["revision"]
    answer = client.post(path, json=body)
    assert answer.status_code == status
    assert says in answer.json()["detail"]
    assert client.get("/api/state").json()["revision"] == before


def test_not_a_number(client: TestClient) -> None:
    answer = client.post(
        "/api/levels", content='{"levels": {"Key": NaN}}',
        headers={"Content-Type": "application/json"},
    )  # fmt: skip
    assert answer.status_code == 422


def test_ten_megabytes(client: TestClient) -> None:
    assert client.post("/api/levels", content=b" " * 10_000_000).status_code == 413


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda r: r["heads"][0]["beam"][0].update(field_deg=1), "larger than beam_deg"),
        (lambda r: r["heads"][1].update(address=r["heads"][0]["address"]), "taken by"),
        (lambda r: r["heads"][0]["placement"].update(rise_m=9), "rise_m"),
        (lambda r: r.update(heads=[]), "at least one head"),
        (lambda r: r["heads"][0].update(circuit="Z"), "not in the room"),
    ],
)
def test_a_rig_is_taken_whole_or_not_at_all(client: TestClient, change: Any, says: str) -> None:
    before = client.get("/api/rig").json()
    wrong = client.get("/api/rig").json()
    change(wrong)
    answer = client.put("/api/rig", json=wrong)
    assert 400 <= answer.status_code < 500
    assert says in answer.json()["detail"]
    assert client.get("/api/rig").json() == before


def test_a_reading_of_a_head_aimed_at_a_point_that_is_gone_anchors_nothing(
    client: TestClient,
) -> None:
    rig = client.get("/api/rig").json()
    plain = client.get("/api/state").json()["points"]
    reading = {"point": "hair", "head": "Key", "lux": 10, "output": 0.25,
               "at": "2026-01-01T00:00:00+00:00",
               "placement": rig["heads"][0]["placement"] | {"aim": "left knee"}}  # fmt: skip
    rig["readings"] = [reading]
    assert client.put("/api/rig", json=rig).status_code == 200
    assert client.get("/api/state").json()["points"] == plain


def test_rig_out_and_in_is_the_identity(client: TestClient) -> None:
    document = client.get("/api/rig").json()
    assert client.put("/api/rig", json=document).json() == document


def test_a_look_whose_head_is_gone_is_refused(client: TestClient) -> None:
    rig = client.get("/api/rig").json()
    rig["heads"] = [h for h in rig["heads"] if h["name"] != "Key high"]
    client.put("/api/rig", json=rig)
    answer = client.post("/api/recall", json={"look": 2})
    assert answer.status_code == 409
    assert "Key high" in answer.json()["detail"]


def test_half_a_letter_is_no_note(client: TestClient) -> None:
    half = b'{"notes": "a\\ud800"}'  # a lone surrogate: JSON can say it, UTF-8 cannot
    for method, path in (("PATCH", "/api/looks/1"), ("POST", "/api/looks")):
        answer = client.request(
            method, path, content=half, headers={"Content-Type": "application/json"}
        )
        assert answer.status_code == 422, answer.text
        assert "lone surrogate" in answer.json()["detail"]


def test_another_site_and_a_made_up_name_are_refused(client: TestClient) -> None:
    cross = client.post("/api/undo", headers={"Origin": "http://elsewhere.example"})
    assert cross.status_code == 403
    rebound = client.get("/api/state", headers={"Host": "elsewhere.example"})
    assert rebound.status_code == 421


def test_another_machine_needs_the_token_of_the_address(client: TestClient) -> None:
    stranger = TestClient(client.app, client=("192.0.2.7", 5000))
    assert stranger.get("/api/state").status_code == 401
    assert stranger.post("/live/undo").status_code == 401
    token = client.app.state.desk.doors.token
    assert stranger.get(f"/?token={token}", follow_redirects=False).status_code == 303
    assert stranger.get("/api/state").status_code == 200


@pytest.mark.parametrize(
    "page", ["/", "/?page=2", "/board", "/library", "/library/1", "/sitting", "/rig",
             "/rig/heads/new", "/rig/heads/Key", "/rooms", "/docs"],
)  # fmt: skip
def test_every_page_renders(client: TestClient, page: str) -> None:
    answer = client.get(page)
    assert answer.status_code == 200
    assert "default-src 'self'" in answer.headers["content-security-policy"]


def test_forms_work_without_javascript(client: TestClient) -> None:
    answer = client.post(
        "/live/recall", data={"look": "1", "back": "/board"}, follow_redirects=False
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/board")
    assert client.get("/api/state").json()["look"]["id"] == 1


def test_an_address_that_is_none_is_told_in_words(client: TestClient) -> None:
    answer = client.get("/lihgts")
    assert answer.status_code == 404
    assert "here is no page at this address" in answer.text
