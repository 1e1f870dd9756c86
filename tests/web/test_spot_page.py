"""Tap a spot of the face: what it reads, what darker would do, one step and one undo.

The forehead and cheeks lie where the drawing puts them; zones as the Zone System is taught.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.web.test_faces import until

CHEEK, HAIR, BACKGROUND = (0.42, 0.55), (0.47, 0.10), (0.06, 0.10)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory, faces: Path) -> Iterator[TestClient]:
    """The demo studio with the Loop lit, once its face is drawn."""
    folder: Path = tmp_path_factory.mktemp("spots")
    with TestClient(create_app(Settings(database=folder / "s.db", faces=str(faces)))) as client:
        client.post("/api/recall", json={"look": 4})
        until(lambda: client.get("/api/spot?x=0.5&y=0.5").status_code == 200)
        yield client


@pytest.fixture
def client(drawn: TestClient) -> TestClient:
    drawn.post("/api/recall", json={"look": 4})
    return drawn


def spot(client: TestClient, at: tuple[float, float]) -> dict:
    return client.get("/api/spot", params={"x": at[0], "y": at[1]}).json()


def test_each_place_is_made_by_the_heads_that_light_it(client: TestClient) -> None:
    cheek, background = spot(client, CHEEK), spot(client, BACKGROUND)
    assert {m["head"] for m in cheek["makers"]} & {"Key", "Fill"}
    assert background["makers"][0]["head"] == "Background"
    assert sum(m["share"] for m in cheek["makers"]) <= 1 + 1e-9
    assert 2 <= cheek["zone"] <= 8


def test_darker_here_is_one_step_and_one_undo(client: TestClient) -> None:
    before = client.get("/api/state").json()
    wish = {"x": BACKGROUND[0], "y": BACKGROUND[1], "thirds": -1}
    told = client.post("/api/spot/preview", json=wish).json()
    assert client.get("/api/state").json() == before
    first = spot(client, BACKGROUND)
    done = client.post("/api/spot", json=wish).json()
    assert done["spot"] == told
    assert told["got_stops"] == pytest.approx(-1 / 3, abs=0.02)
    after = spot(client, BACKGROUND)
    assert first["over_grey_stops"] - after["over_grey_stops"] == pytest.approx(1 / 3, abs=0.02)
    cheeks = [p for p in done["points"] if p["name"].startswith("cheek")]
    for now, was in zip(cheeks, [p for p in before["points"] if p["name"].startswith("cheek")],
                        strict=True):  # fmt: skip
        assert now["ev100"] == pytest.approx(was["ev100"], abs=0.1)
    undone = client.post("/api/undo").json()
    assert [h["signal"] for h in undone["heads"]] == [h["signal"] for h in before["heads"]]


def test_a_wish_out_of_reach_says_so(client: TestClient) -> None:
    wish = {"x": HAIR[0], "y": HAIR[1], "thirds": 9}
    told = client.post("/api/spot/preview", json=wish).json()
    assert told["got_stops"] < 3
    assert "in reach" in told["why"]


def test_the_page_works_with_and_without_javascript(client: TestClient) -> None:
    page = client.get("/board/spot?x=0.5&y=0.5").text
    assert "Zone" in page
    assert "A third darker here" in page
    assert client.get("/board/spot?160,200").status_code == 200  # an image map of the browser's own
    form = {"x": "0.5", "y": "0.5", "thirds": "-1"}
    answer = client.post("/live/spot", data=form, follow_redirects=False)
    assert answer.headers["location"].startswith("/board/spot?x=0.5")
    assert client.get("/api/state").json()["did"].startswith("a spot darker")


@pytest.mark.parametrize(
    "query", ["x=2&y=0", "x=nan&y=0", "x=1", "a,b", "400,10", "x=&y=", "x=1e999&y=0"]
)
def test_no_spot_is_a_sentence(client: TestClient, query: str) -> None:
    answer = client.get(f"/board/spot?{query}")
    assert answer.status_code == 422
    assert "face" in answer.text


def test_in_the_dark_nothing_can_be_darker(client: TestClient) -> None:
    client.post("/api/dark")
    answer = client.post("/api/spot", json={"x": 0.5, "y": 0.5, "thirds": -1})
    assert answer.status_code == 409
    assert "no lit head" in answer.json()["detail"]
    assert client.get("/board/spot?x=0.5&y=0.5").status_code == 200
    client.post("/api/restore")


def test_before_it_is_drawn_the_face_is_waited_for(tmp_path: Path) -> None:
    settings = Settings(database=tmp_path / "s.db", faces="none")
    with TestClient(create_app(settings)) as client:
        answer = client.get("/api/spot?x=0.5&y=0.5")
        assert answer.status_code == 404
        assert "not drawn" in answer.json()["detail"]
