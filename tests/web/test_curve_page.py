"""Curve in through the pages, with a scripted meter at a head whose curve nobody knows.

SciPy's PCHIP through what the meter showed is the reference for what is stored.
"""

import itertools
import re
from html import unescape
from math import log2
from pathlib import Path

import pytest
from scipy.interpolate import PchipInterpolator
from starlette.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.studio.document import rig_from_document

ROOM, FULL = 3.0, 5200.0
LEVELS = (1.0, 0.8, 0.6, 0.4, 0.2)
PAGE = "/rig/heads/Fill/curve"


def truth(level: float) -> float:
    """The curve of the scripted head: dim at the foot, out below 4 %."""
    return 0.0 if level < 0.04 else 0.2 * level + 0.8 * level**3 - 0.002 * (1 - level)


def fill(client: TestClient) -> dict:
    return next(h for h in client.get("/api/state").json()["heads"] if h["name"] == "Fill")


def stored(client: TestClient) -> dict:
    return next(h for h in client.get("/api/rig").json()["heads"] if h["name"] == "Fill")


def shown(client: TestClient) -> float:
    """What the meter shows: the room and the head at the byte that is sent."""
    lit = [h for h in client.get("/api/state").json()["heads"] if h["output"] > 0]
    assert [h["name"] for h in lit] in ([], ["Fill"])
    return ROOM + sum(FULL * truth(h["signal"][0] / 255) for h in lit)


def passing(page: str) -> str:
    return unescape(re.findall(r'name="passing" value="([^"]*)"', page)[0])


def take(client: TestClient, page: str, lux: float | None = None, **more: str) -> str:
    value = shown(client) if lux is None else lux
    return client.post(
        f"{PAGE}/reading",
        data={"passing": passing(page), "value": f"{value:.7g}", "kind": "lux", **more},
    ).text


def five(client: TestClient) -> str:
    page = client.post(f"{PAGE}/start", data={"point": "cheek left"}).text
    assert "All heads are dark" in page
    page = take(client, page)
    for level in LEVELS:
        assert f"Fill at {100 * level:g} %" in page
        assert fill(client)["level_percent"] == pytest.approx(100 * level, abs=0.2)
        page = take(client, page, sure="true")
    return page


def test_a_curve_is_read_previewed_and_stored_and_the_light_keeps_its_output(
    client: TestClient,
) -> None:
    client.post("/api/recall", json={"look": 4})
    before = client.get("/api/state").json()
    page = five(client)
    assert "5 levels read" in page
    assert "levels change: for half light" in page
    assert '<path class="curve-measured" d="M' in page
    assert stored(client)["curve"] != "measured"
    answer = client.post(f"{PAGE}/store", data={"passing": passing(page)})
    assert answer.url.path == "/rig/heads/Fill"
    after = client.get("/api/state").json()
    assert [h["output"] for h in after["heads"]] == [h["output"] for h in before["heads"]]
    levels = [
        h["level_percent"] for s in (before, after) for h in s["heads"] if h["name"] == "Fill"
    ]
    assert abs(levels[0] - levels[1]) > 1
    head = rig_from_document(client.get("/api/rig").json()).head("Fill")
    x = [0.0, *sorted(LEVELS)]
    pchip = PchipInterpolator(x, [0.0, *(truth(v) / truth(1) for v in sorted(LEVELS))])
    for i in range(1, 100):
        # the meter's value was typed with seven digits
        assert head.dimmer.output(i / 100) == pytest.approx(float(pchip(i / 100)), abs=1e-6)


def test_a_stored_curve_is_taken_back_over_a_restart_and_the_light_is_kept(
    tmp_path: Path,
) -> None:
    settings = Settings(database=tmp_path / "s.db", faces="none")
    with TestClient(create_app(settings)) as client:
        client.post("/meter/light", data={"head": "Fill"})
        client.post("/api/readings", json={"point": "cheek left", "head": "Fill", "value": 700})
        client.post("/meter/end")
        client.post("/api/recall", json={"look": 4})
        before, rig = client.get("/api/state").json(), client.get("/api/rig").json()
        assert "Put the curve before back" not in client.get("/rig/heads/Fill").text
        client.post(f"{PAGE}/store", data={"passing": passing(five(client))})
        assert stored(client)["curve"] == "measured"
    with TestClient(create_app(settings)) as client:
        page = client.get("/rig/heads/Fill").text
        assert "Its curve is measured at 5 levels; before, it was linear." in page
        seen = re.search(r'name="seen" value="(\w+)">\s*<p class="card-notes">Its curve', page)
        assert seen is not None
        assert client.post(f"{PAGE}/before", data={"seen": seen[1]}).status_code == 200
        after = client.get("/api/state").json()
        assert [h["signal"] for h in after["heads"]] == [h["signal"] for h in before["heads"]]
        back = client.get("/api/rig").json()
        readings = [(r.pop("output"), r) for r in back["readings"] + rig["readings"]]
        assert readings[0] == (pytest.approx(readings[1][0]), readings[1][1])
        assert stored(client).pop("curve_before")["curve"] == "measured"  # nothing is lost
        again = client.post(f"{PAGE}/before", data={"seen": seen[1]})
        assert (again.status_code, stored(client)["curve"]) == (409, "linear")
        assert client.post("/rig/heads/Key/curve/before").status_code == 409


def test_a_third_on_the_stored_curve_is_a_third_of_the_real_light(client: TestClient) -> None:
    page = five(client)
    client.post(f"{PAGE}/store", data={"passing": passing(page)})
    client.post("/api/levels", json={"levels": {h["name"]: 0 for h in
                client.get("/api/state").json()["heads"]}})  # fmt: skip
    client.post("/api/levels", json={"levels": {"Fill": 90}})
    real = [truth(fill(client)["signal"][0] / 255)]
    for _ in range(6):
        client.post("/api/nudge", json={"head": "Fill", "thirds": -1, "fade_s": 0})
        real.append(truth(fill(client)["signal"][0] / 255))
    steps = [log2(b / a) for a, b in itertools.pairwise(real)]
    # five readings are not the whole curve, and eight bits not every level: a twelfth of a stop
    assert all(step == pytest.approx(-1 / 3, abs=1 / 12) for step in steps)
    assert sum(steps) == pytest.approx(-2, abs=1 / 12)


def test_where_it_is_out_or_flickers_is_told_and_no_nudge_goes_there(client: TestClient) -> None:
    page = five(client)
    page = take(client, page)  # 10 %
    page = take(client, page)  # 5 %
    page = take(client, page)  # 2 %: out, the meter shows the room
    assert "At 2 % it was out." in page
    assert "No nudge will take it below 5 %" in page
    link = re.search(r'href="([^"]*)" aria-label="Steady from 10 %"', page)
    assert link is not None
    page = client.get(unescape(link[1])).text
    assert "No nudge will take it below 10 %" in page
    client.post(f"{PAGE}/store", data={"passing": passing(page)})
    assert stored(client)["steady_from"] == pytest.approx(0.1)
    client.post("/api/levels", json={"levels": {"Fill": 12}})
    assert fill(client)["room_down_thirds"] < 2
    client.post("/api/levels", json={"levels": {"Fill": 10}})  # there it is steady
    assert "below where it is steady" not in client.get("/board").text
    client.post("/api/levels", json={"levels": {"Fill": 6}})  # a look may still go there
    assert "Fill: below where it is steady" in client.get("/board").text


def test_a_reading_beside_the_rising_line_is_asked_about_and_then_makes_no_curve(
    client: TestClient,
) -> None:
    page = client.post(f"{PAGE}/start", data={"point": "cheek left"}).text
    page = take(client, take(client, page), sure="true")
    for _ in range(3):
        page = take(client, page)
    high = FULL * 0.9
    asked = take(client, page, high)
    assert "20 % reads 4680 lux, but 40 % read" in asked
    assert "light must rise with the level" in asked
    assert 'value="4680"' in asked
    kept = take(client, asked, high, sure="true")
    assert "No curve yet: 40 % reads" in kept
    answer = client.post(f"{PAGE}/store", data={"passing": passing(kept)})
    assert answer.status_code == 422
    assert stored(client)["curve"] != "measured"


def test_a_left_pass_gives_the_light_back(client: TestClient) -> None:
    client.post("/api/recall", json={"look": 4})
    before = [h["signal"] for h in client.get("/api/state").json()["heads"]]
    page = client.post(f"{PAGE}/start", data={"point": "cheek left"}).text
    take(client, page)
    client.post(f"{PAGE}/end")
    assert [h["signal"] for h in client.get("/api/state").json()["heads"]] == before
    assert stored(client)["curve"] != "measured"


def test_earlier_readings_follow_the_curve(client: TestClient) -> None:
    client.post("/meter/light", data={"head": "Fill"})
    client.post("/api/readings", json={"point": "cheek left", "head": "Fill", "value": 700})
    level = fill(client)["signal"][0] / 255
    client.post("/meter/end")
    page = five(client)
    assert "1 earlier reading of Fill" in page
    client.post(f"{PAGE}/store", data={"passing": passing(page)})
    rig = rig_from_document(client.get("/api/rig").json())
    assert rig.readings[0].output == pytest.approx(rig.head("Fill").dimmer.output(level))


@pytest.mark.parametrize(
    ("path", "more", "says"),
    [
        ("reading", {"value": "bright"}, "value must be a number"),
        ("reading", {"value": "812", "kind": "f"}, "is it lux"),
        ("reading", {"passing": "read=1:x"}, "lux must be a number"),
        ("reading", {"passing": "point=left+knee&room=3"}, "no point is called"),
        ("reading", {"passing": "point=cheek+left&room=3&level=0.5"}, "must be lit alone"),
        ("light", {"level": "130"}, "at most 100 %"),
        ("light", {"level": "dim"}, "level must be a number"),
        ("store", {}, "own light must be read first"),
        ("store", {"passing": "point=cheek+left&room=3&read=1:9"}, "needs 5 levels"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_stored(
    client: TestClient, path: str, more: dict[str, str], says: str
) -> None:
    before = client.get("/api/rig").json()
    data = {"passing": "point=cheek+left", "value": "3", "kind": "lux", **more}
    answer = client.post(f"{PAGE}/{path}", data=data)
    assert answer.status_code in (404, 409, 422)
    assert says in unescape(answer.text)
    assert client.get("/api/rig").json() == before


def test_a_head_taken_out_meanwhile_is_told(client: TestClient) -> None:
    page = client.post(f"{PAGE}/start", data={"point": "cheek left"}).text
    client.post("/rig/heads/Fill/delete")
    answer = client.post(f"{PAGE}/reading", data={"passing": passing(page), "value": "3"})
    assert answer.status_code == 404
    assert "no head is called" in answer.text


def form_of(page: str) -> dict[str, str]:
    """The fields of the form of a head."""
    form = page[page.index('class="fields"') : page.index("</form>")]
    found = dict(re.findall(r'<input(?: type="hidden")? name="(\w+)"[^>]*?value="([^"]*)"', form))
    for name, options in re.findall(r'<select name="(\w+)">(.*?)</select>', form, re.DOTALL):
        found[name] = re.search(r"selected>([^<]*)<", options)[1]
    return {name: unescape(value) for name, value in found.items()}


def test_a_curve_entered_by_hand_takes_the_readings_along(client: TestClient) -> None:
    client.post("/meter/light", data={"head": "Fill"})
    client.post("/api/readings", json={"point": "cheek left", "head": "Fill", "value": 700})
    level = fill(client)["signal"][0] / 255
    fields = form_of(client.get("/rig/heads/Fill").text)
    assert (fields["curve"], fields["steady_from"]) == ("linear", "0")
    answer = client.post("/rig/heads/Fill", data={**fields, "curve": "square", "name": "Big fill"})
    assert answer.status_code == 200
    reading = client.get("/api/readings").json()[0]
    assert reading["head"] == "Big fill"
    assert reading["output"] == pytest.approx(level**2)  # output = level**2


def test_where_it_burns_steadily_can_be_typed_too(client: TestClient) -> None:
    fields = form_of(client.get("/rig/heads/Fill").text)
    client.post("/rig/heads/Fill", data={**fields, "steady_from": "12,5"})
    assert stored(client)["steady_from"] == pytest.approx(0.125)
    answer = client.post("/rig/heads/Fill", data={**fields, "seen": "", "steady_from": "140"})
    assert answer.status_code == 422
    assert "steady from" in answer.text
    assert stored(client)["steady_from"] == pytest.approx(0.125)


def test_readings_of_another_room_make_no_curve_here(client: TestClient) -> None:
    page = five(client)
    client.post("/rooms/1/duplicate")
    other = next(r["id"] for r in client.get("/api/rooms").json() if not r["open"])
    client.post(f"/api/rooms/{other}/open")
    answer = client.post(f"{PAGE}/store", data={"passing": passing(page)})
    assert answer.status_code == 409
    assert "these readings are of another room" in answer.text
    assert stored(client)["curve"] != "measured"
    client.post("/api/rooms/1/open")
    assert client.post(f"{PAGE}/store", data={"passing": passing(page)}).status_code == 200
    assert stored(client)["curve"] == "measured"
