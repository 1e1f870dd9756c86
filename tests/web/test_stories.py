"""The trade's own numbers, through the contract. Plain units: f/8 is 64, f/5.6 is 32.

ISO 400, 1/125: E = C N**2 / (S t) with C = 250 (ISO 2720:1974) makes a unit 78.125 lux, so key
alone (f/8) gives 5000 lux and fill alone (f/5.6) 2500 lux. Ratios: US Army SS0510, p. 1-17.
"""

from typing import Any

import pytest
from starlette.testclient import TestClient

from server.studio.document import rig_document
from tests.studio.test_readings import metered_rig

UNIT_LUX = 250 / (400 / 125)


def head(name: str, role: str, address: int, full_units: float, azimuth: float) -> dict[str, Any]:
    """A head at 2 m that gives so many units at full, square on."""
    return {
        "name": name,
        "role": role,
        "address": address,
        "beam": [
            {"focus": 0, "candela": full_units * UNIT_LUX * 4, "beam_deg": 60, "field_deg": 90}
        ],
        "placement": {"azimuth_deg": azimuth, "distance_m": 2, "rise_m": 0, "focus": 0},
    }


def rig(key_full: float = 128.0) -> dict[str, Any]:
    """The key reaches only the lit cheek (from 90 degrees), the fill both (normals at 45)."""
    half = 0.5**0.5
    cheek = {"on": "face", "x": 0, "y": 0, "z": 0, "ny": 0, "receptor": "flat"}
    return {
        "room": {"name": "Plain units"},
        "lens": {"iso": 400, "shutter_s": 1 / 125, "f_number": 10},
        "points": [
            {**cheek, "name": "cheek right", "nx": half, "nz": half},
            {**cheek, "name": "cheek left", "nx": -half, "nz": half},
        ],
        "heads": [
            head("Key", "key", 1, key_full / half, 90),
            head("Fill", "fill", 2, 128 / half, 0),
            head("Kicker", "kicker", 3, 256, 180),
        ],
    }


@pytest.fixture
def story(client: TestClient) -> TestClient:
    """Key alone f/8, fill alone f/5.6, kicker f/11, dark kicker."""
    assert client.put("/api/rig", json=rig()).status_code == 200
    client.post("/api/levels", json={"levels": {"Key": 50, "Fill": 25}})
    return client


def nudge(client: TestClient, role: str, thirds: int, **more: Any) -> dict[str, Any]:
    answer = client.post("/api/nudge", json={"role": role, "thirds": thirds, **more})
    assert answer.status_code == 200, answer.text
    return answer.json()


def state(client: TestClient) -> dict[str, Any]:
    return client.get("/api/state").json()


def test_key_f8_fill_f5_6_is_three_to_one(story: TestClient) -> None:
    told = state(story)
    assert told["ratio"]["label"] == "3:1"
    assert told["ratio"]["stops"] == pytest.approx(1.585, abs=0.005)
    assert told["ratio"]["key_over_fill_stops"] == pytest.approx(1.0, abs=0.005)
    assert told["lens"]["exact_f_number"] == pytest.approx(9.8, abs=0.05)
    assert told["lens"]["advice"] is None


@pytest.mark.parametrize(
    ("levels", "over", "stops", "label"),
    [({"Key": 50}, "1 stop (key : fill 2:1)", 1.0, "3:1"),
     ({"Key": 75}, "1.6 stops (key : fill 3:1)", 1.585, "4:1")],
)  # fmt: skip
def test_both_ways_to_say_a_ratio_stand_where_it_is_told(
    story: TestClient, levels: dict[str, float], over: str, stops: float, label: str
) -> None:
    """Key over fill 3:1 is 1.58 stops, log2 3, and another light than lit : shadow 3:1."""
    told = story.post("/api/levels", json={"levels": levels}).json()["ratio"]
    assert (told["label"], told["definition"]) == (label, "(key + fill) : fill")
    assert told["key_over_fill_stops"] == pytest.approx(stops, abs=0.01)
    page = story.get("/meter/trust").text
    assert f"key over fill {over}, lit : shadow {label} is (key + fill) : fill" in page
    assert 'href="/meter/trust#ratio"' in story.get("/board").text  # one tap from the ratio


def test_the_sum_says_nine_to_one_the_walls_six_point_seven_and_the_page_what_mends_it(
    client: TestClient,
) -> None:
    """Key 64 and fill 8: 72 : 8 is 9:1. 5 % of the key on both cheeks: 75.2 : 11.2 is 6.7:1. With
    fill x, (67.2 + x) : (3.2 + x) is 9:1 at x = 4.8, 0.74 stop down."""
    studio = metered_rig(bounce=0.05, fill=8.0)
    assert client.put("/api/rig", json=rig_document(studio)).status_code == 200
    told = client.post("/api/levels", json={"levels": {"Key": 100, "Fill": 100}}).json()
    assert told["ratio"]["label"] == "6.7:1"
    page = client.get("/meter/trust").text
    assert "By key and fill alone it would be 9:1; what the key throws off the walls" in page
    assert "makes it 6.7:1. For a true 9:1: fill down 0.74 stop." in page
    fill = next(h for h in told["heads"] if h["name"] == "Fill")
    less = 100 * fill["output"] * 2**-0.74  # the straight curve: level is output
    mended = client.post("/api/levels", json={"levels": {"Fill": less}}).json()
    assert mended["ratio"]["value"] == pytest.approx(9.0, abs=0.05)
    plain = rig_document(metered_rig(fill=8.0))
    client.put("/api/rig", json=plain)
    client.post("/api/levels", json={"levels": {"Key": 100, "Fill": 100}})
    page = client.get("/meter/trust").text
    assert ">9:1<" in page
    assert "off the walls makes it" not in page


@pytest.mark.parametrize(
    ("role", "thirds", "label", "f_number", "advice"),
    [
        ("fill", -1, "3.5:1", 9.46, None),
        ("fill", -2, "4.2:1", 9.17, "set f/9"),
        ("fill", -3, "5:1", 8.94, "set f/9"),
        ("key", 1, "3.5:1", 10.6, None),
        ("key", -1, "2.6:1", 9.1, "set f/9"),
    ],
)
def test_the_lens_advice_follows_without_flicker(
    story: TestClient, role: str, thirds: int, label: str, f_number: float, advice: str | None
) -> None:
    told = nudge(story, role, thirds)
    assert told["ratio"]["label"] == label
    assert told["lens"]["exact_f_number"] == pytest.approx(f_number, abs=0.05)
    assert told["lens"]["advice"] == advice


def test_key_and_fill_down_together_keep_the_ratio(story: TestClient) -> None:
    told = nudge(story, "key", -1, keep="ratio")
    assert told["ratio"]["label"] == "3:1"
    assert told["lens"]["advice"] == "set f/9"


@pytest.mark.parametrize(
    ("target", "key", "fill"), [(4, 0.17, -0.42), (5, 0.26, -0.74), (2, -0.42, 0.58)]
)
def test_a_ratio_with_the_lens_held_moves_both(
    story: TestClient, target: float, key: float, fill: float
) -> None:
    told = story.post("/api/ratio", json={"target": target, "hold": "lens"}).json()
    below = {h["name"]: h["stops_below_full"] for h in told["heads"]}
    assert 1 - below["Key"] == pytest.approx(key, abs=0.006)
    assert 2 - below["Fill"] == pytest.approx(fill, abs=0.006)
    assert told["lens"]["exact_f_number"] == pytest.approx(9.8, abs=0.01)
    assert told["ratio"]["value"] == pytest.approx(target, rel=1e-6)


def test_half_a_stop_left_is_said_before_and_after(story: TestClient) -> None:
    story.post("/api/levels", json={"levels": {"Key": 100 / 2**0.5}})
    key = state(story)["heads"][0]
    assert key["room_up_thirds"] == pytest.approx(1.5)
    told = nudge(story, "key", 2)["nudge"]
    assert told["limited"]
    assert told["got_stops"] == pytest.approx(0.5, abs=0.01)
    assert told["missing_stops"] == pytest.approx(1 / 6, abs=1e-6)
    assert "open the lens ⅙ and bring everything else down ⅙" in told["ways"][0]["text"]


def test_byte_8_a_third_down_says_what_it_really_gave(story: TestClient) -> None:
    story.post("/api/levels", json={"levels": {"Fill": 100 * 8 / 255}})
    told = nudge(story, "fill", -1)
    assert told["heads"][1]["signal"] == [6]
    assert told["nudge"]["got_stops"] == pytest.approx(-0.415, abs=0.001)  # log2(6/8)


def test_kicker_over_the_lit_side_and_white_soon(story: TestClient) -> None:
    story.post("/api/levels", json={"levels": {"Kicker": 50}})  # f/11 alone, exact 11.31
    kicker = state(story)["heads"][2]
    assert kicker["over_lit_stops"] == pytest.approx(0.415, abs=0.01)
    assert not kicker["white_soon"]
    kicker = nudge(story, "kicker", 1)["heads"][2]
    assert kicker["over_lit_stops"] == pytest.approx(0.75, abs=0.01)
    assert kicker["white_soon"]


def test_keep_names_itself_and_recall_is_identical(story: TestClient) -> None:
    nudge(story, "fill", -1)
    look = story.post("/api/looks", json={}).json()
    assert look["name"].endswith(" · 3.5:1 · f/10")  # the set lens: 0.16 stop off is no advice
    before = [h["signal"] for h in state(story)["heads"]]
    nudge(story, "key", -5)
    told = story.post("/api/recall", json={"look": look["id"]}).json()
    assert [h["signal"] for h in told["heads"]] == before
    assert not told["changed"]


def test_undo_of_a_recall_returns_to_the_nudged_light(story: TestClient) -> None:
    look = story.post("/api/looks", json={"name": "Base"}).json()
    nudged = nudge(story, "fill", -2)
    story.post("/api/recall", json={"look": look["id"]})
    told = story.post("/api/undo").json()
    assert [h["signal"] for h in told["heads"]] == [h["signal"] for h in nudged["heads"]]


def test_compare_shows_good_and_returns(story: TestClient) -> None:
    story.post("/api/good")
    nudge(story, "fill", -2)
    shown = story.post("/api/compare", json={"hold": True}).json()
    assert shown["ratio"]["label"] == "3:1"
    back = story.post("/api/compare", json={"hold": False}).json()
    assert back["ratio"]["label"] == "4.2:1"
    assert back["heads"][1]["from_good_thirds"] == pytest.approx(-2)


def test_half_way_is_mixed_in_stops(story: TestClient) -> None:
    story.post("/api/levels", json={"levels": {"Fill": 100 * 8 / 128}})
    deep = story.post("/api/looks", json={"name": "Deep"}).json()
    story.post("/api/levels", json={"levels": {"Fill": 25}})
    told = story.post("/api/mix", json={"look": deep["id"], "part": 0.5}).json()
    assert told["ratio"]["value"] == pytest.approx(5.0, rel=1e-6)  # fill 16: (64 + 16) / 16
