"""Placing a head on the plan: keys, typed numbers and the drag's own call, one at a time.

The demo key stands 2.2 m away at 45 degrees camera right, 1.5 m up; its foot is then
sqrt(2.2**2 - 1.5**2) = 1.609 m from the mark.
"""

from math import hypot, sqrt

import pytest
from starlette.testclient import TestClient

from server.web import placing
from server.web.templating import page_parts

FOOT_M = sqrt(2.2**2 - 1.5**2)
HTMX = {"HX-Request": "true"}


def placement(client: TestClient, name: str = "Key") -> dict:
    heads = client.get("/api/rig").json()["heads"]
    found = next(h["placement"] for h in heads if h["name"] == name)
    return {**found, "scrims": str(found["scrims"])}


def send(client: TestClient, call: str, **fields: str):
    return client.post(f"/rig/plan/Key/{call}", data=fields, headers=HTMX)


@pytest.mark.parametrize(
    ("call", "fields", "changed"),
    [
        ("step", {"what": "azimuth", "by": "-5"}, {"azimuth_deg": 40}),
        ("step", {"what": "distance", "by": "0.01"}, {"distance_m": 2.21}),
        ("step", {"what": "rise", "by": "0.05"},
         {"rise_m": 1.55, "distance_m": hypot(FOOT_M, 1.55)}),
        ("step", {"what": "focus", "by": "0.1"}, {"focus": 0.85}),
        ("focus", {"focus": "1"}, {"focus": 1}),
        ("scrim", {"which": "double", "way": "in"}, {"scrims": "[1.0]"}),
        ("aim", {"aim": "hair"}, {"aim": "hair"}),
        ("typed", {"distance": "7' 4 1/2\""}, {"distance_m": 2.2479}),
        ("typed", {"distance": "2,5 m", "rise": "4 ft", "azimuth_deg": "-30"},
         {"distance_m": 2.5, "rise_m": 1.2192, "azimuth_deg": -30}),
        ("drag", {"view": "above", "x": "160.9", "y": "0.0"},
         {"azimuth_deg": 90, "distance_m": 2.2}),
        ("drag", {"view": "side", "x": "0", "y": "-20.3"},
         {"rise_m": 0.2, "distance_m": hypot(FOOT_M, 0.2)}),
    ],
)  # fmt: skip
def test_one_change_changes_what_it_says_and_the_light_keeps_its_outputs(
    client: TestClient, call: str, fields: dict[str, str], changed: dict[str, object]
) -> None:
    client.post("/api/recall", json={"look": 4})
    before, signals = placement(client), client.get("/api/state").json()["heads"]
    assert send(client, call, **fields).status_code == 204
    after = placement(client)
    assert after == pytest.approx({**before, **changed}, abs=1e-6)
    now = client.get("/api/state").json()["heads"]
    assert [h["signal"] for h in now] == [h["signal"] for h in signals]
    assert client.post("/rig/plan/Key/put-back", headers=HTMX).status_code == 204
    assert placement(client) == before


@pytest.mark.parametrize(
    ("call", "fields", "code", "said"),
    [
        ("step", {"what": "colour", "by": "1"}, 404, "azimuth, distance, rise or focus"),
        ("step", {"what": "distance", "by": "nan"}, 422, "by"),
        ("step", {"what": "distance", "by": "-1"}, 422, "height above the eyes must be smaller"),
        ("typed", {}, 422, "at least one"),
        ("typed", {"distance": "7 4"}, 422, "throw must be like"),
        ("typed", {"rise": "3 m"}, 422, "height above the eyes must be smaller"),
        ("typed", {"azimuth_deg": "left"}, 422, "degrees must be a number"),
        ("typed", {"azimuth_deg": "200"}, 422, "azimuth must"),
        ("drag", {"view": "above", "x": "inf", "y": "0"}, 422, "x must lie"),
        ("drag", {"view": "below", "x": "0", "y": "0"}, 404, "above, side"),
        ("aim", {"aim": "nowhere"}, 422, "is no point"),
        ("focus", {"focus": "much"}, 422, "focus must be a number"),
        ("scrim", {"which": "single", "way": "out"}, 409, "no single scrim"),
        ("put-back", {}, 409, "nothing to put back"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_changes(
    client: TestClient, call: str, fields: dict[str, str], code: int, said: str
) -> None:
    before = client.get("/api/rig").json()
    answer = send(client, call, **fields)
    assert answer.status_code == code
    assert said in answer.text
    assert client.get("/api/rig").json() == before


def test_the_page_shows_what_a_move_did(client: TestClient) -> None:
    """The key's light at the cheeks falls with the square of the throw: 2.2 to 2.42 m is -0.28."""
    client.post("/api/recall", json={"look": 4})
    first = client.get("/rig/plan/Key").text
    assert "The last move" not in first
    assert "Put it back where it was" in first
    client.post("/rig/plan/Key/typed", data={"distance": "2.42"})  # without scripts: a whole page
    page = client.get("/rig/plan/Key").text
    assert "2.42 m" in page
    assert "The last move: " in page
    assert "The last move: ratio about 3:1 →" in page
    assert "back to" not in first
    assert "2.20 m, 45° camera right, 1.50 m above the eyes" in page  # what it goes back to
    assert "±14 cm for a sixth; 10 cm nearer +0.12" in page
    assert "Hands off a hot head" in page


def test_put_back_goes_back_step_by_step_and_never_over_anothers_change(
    client: TestClient,
) -> None:
    places = [placement(client)]
    for _ in range(3):
        send(client, "step", what="distance", by="0.1")
        places.append(placement(client))
    for expected in reversed(places[:-1]):
        assert send(client, "put-back").status_code == 204
        assert placement(client) == expected
    send(client, "step", what="distance", by="0.1")
    rig = client.get("/api/rig").json()
    next(h for h in rig["heads"] if h["name"] == "Key")["placement"]["distance_m"] = 3.0
    client.put("/api/rig", json=rig)
    assert send(client, "put-back").status_code == 409
    assert placement(client)["distance_m"] == 3.0


def test_a_head_nearer_than_five_widths_is_warned_of(client: TestClient) -> None:
    """The demo key's lens is 0.25 m wide: from 1.25 m the inverse-square law holds within 1 %."""
    for distance, rise, warned in (("1.3 m", "0.2 m", False), ("1.2 m", "0.2 m", True)):
        client.post("/rig/plan/Key/typed", data={"distance": distance, "rise": rise})
        told = client.get("/rig/plan/Key").text
        assert ("Nearer than five times its own width" in told) is warned


@pytest.mark.parametrize(
    ("path", "data"),
    [
        ("/rig/plan/Key/step", {"what": "azimuth", "by": "1"}),
        ("/rig/plan/Key/drag", {"view": "side", "x": "0", "y": "0"}),
        ("/rig/plan/Key/typed", {"distance": "3"}),
        ("/rig/plan/Key/aim", {"aim": "hair"}),
        ("/rig/plan/Key/focus", {"focus": "0"}),
        ("/rig/plan/Key/scrim", {"which": "single", "way": "in"}),
        ("/rig/plan/Key/put-back", {}),
        ("/rig/points/new", {"name": "chin"}),
        ("/rig/points/undo", {}),
        ("/rig/points/of/forehead", {"name": "brow"}),
        ("/rig/points/of/forehead/delete", {}),
        ("/rig/patch/give", {"head": "Fill", "universe": "1", "address": "12"}),
        ("/rig/patch/swap", {"head": "Fill", "other": "Kicker"}),
    ],
)
def test_a_page_of_another_room_changes_nothing_here(
    client: TestClient, path: str, data: dict[str, str]
) -> None:
    before = client.get("/api/rig").json()
    answer = client.post(path, data=data | {"room_id": "7"})
    assert answer.status_code == 409
    assert "was opened meanwhile" in answer.text
    assert client.get("/api/rig").json() == before


def test_in_feet_the_keys_go_by_inches(client: TestClient) -> None:
    client.post("/rig/units", data={"units": "ft"})
    page = client.get("/rig/plan/Key").text
    assert "7 ft 2½ in" in page
    assert "−6 in" in page
    assert ' value="0.0254"' in page


def test_what_the_stream_carries(client: TestClient) -> None:
    desk = client.app.state.desk
    render = page_parts(desk, "placing:Key")
    whole = page_parts(desk, "whole_plan")
    for part in ("plan-above", "plan-side", "placing-now", "placing-told", "placing-distance"):
        assert f'id="{part}"' in render(desk.engine.now())
    assert "2.20 m" in render(desk.engine.now())
    client.post("/rig/plan/Key/step", data={"what": "distance", "by": "0.1"})
    assert "2.30 m" in render(desk.engine.now())
    assert "Key 2.30 m" in whole(desk.engine.now())
    client.post("/rig/heads/Key/delete")  # while the page is open
    assert "not in the rig any more" in render(desk.engine.now())


def test_an_unknown_head_and_a_stream_for_it(client: TestClient) -> None:
    assert client.get("/rig/plan/Nobody").status_code == 404
    assert client.get("/api/events?view=placing:Nobody").status_code == 404
    assert client.get("/api/events?view=nothing").status_code == 404


@pytest.mark.parametrize(
    ("stops", "told"), [(None, "—"), (-94.8, "—"), (-6.0, "−6.0"), (0.0, "as lit")]
)
def test_a_point_that_gets_nothing_has_no_stops(stops: float | None, told: str) -> None:
    assert placing._over(stops) == told
