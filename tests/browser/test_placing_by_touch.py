"""A head dragged on the plan by a finger, and its step-wise twin: both end at the same place."""

import json
import urllib.request
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer

SET_UP_KEY_PX = 62  # 12 mm on a 10-inch tablet (common practice)
# what does not depend on how the tablet is held is tried one way up
UPRIGHT = pytest.mark.parametrize("browser_context_args", [(820, 1180)], indirect=True)


def rig(server: LiveServer) -> dict:
    with urllib.request.urlopen(f"{server.url}/api/rig") as answer:
        return json.load(answer)


def placement(server: LiveServer, name: str = "Key") -> dict:
    found = next(h["placement"] for h in rig(server)["heads"] if h["name"] == name)
    return {**found, "scrims": str(found["scrims"])}


def finger(page: Page, path: list[tuple[float, float]]) -> Iterator[None]:
    """A finger on the glass that goes along a path; lifted at its end."""
    touch = page.context.new_cdp_session(page)
    for number, (x, y) in enumerate(path):
        kind = "touchMove" if number else "touchStart"
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
        yield
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    yield


def drag(page: Page, view: str, to_cm: tuple[float, float]) -> None:
    """Take hold of the head and let go at a place of the drawing."""
    script = """([view, x, y]) => {
        const svg = document.querySelector(`[data-plan="${view}"] svg`);
        const head = svg.querySelector("[data-dragged]").dataset;
        const at = (x, y) => new DOMPoint(x, y).matrixTransform(svg.getScreenCTM());
        const [from, to] = [at(head.x, head.y), at(x, y)];
        return [from.x, from.y, to.x, to.y]; }"""
    x, y, to_x, to_y = page.evaluate(script, [view, *to_cm])
    way = [(x + (to_x - x) * part / 5, y + (to_y - y) * part / 5) for part in range(6)]
    for _ in finger(page, way):
        pass


def told(page: Page, server: LiveServer, what: str, words: str) -> None:
    expect(page.locator(f"#placing-{what}")).to_have_text(words)


def test_dragged_round_and_stepped_back_to_the_millimetre(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig/plan/Key")
    start = placement(server)
    foot = (start["distance_m"] ** 2 - start["rise_m"] ** 2) ** 0.5
    drag(page, "above", (0.0, 100 * foot))  # onto the camera line, as far as before
    expect(page.locator("#placing-azimuth")).to_have_text("0°")
    assert placement(server)["azimuth_deg"] == 0
    assert placement(server)["distance_m"] == pytest.approx(start["distance_m"], abs=0.011)
    assert page.locator("[data-dragged][transform]").count() == 0
    for _ in range(9):
        page.tap('[aria-label="Round the sitter, 5° to camera right"]')
    told(page, server, "azimuth", "45° camera right")
    off = placement(server)["distance_m"] - start["distance_m"]
    for _ in range(round(abs(off) * 100)):
        page.tap(f'[aria-label="Throw, 1 cm {"nearer" if off > 0 else "farther"}"]')
    told(page, server, "distance", "2.20 m")
    assert placement(server) == pytest.approx(start, abs=1e-6)


@UPRIGHT
def test_dragged_up_the_stand_and_stepped_up_agree(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig/plan/Key")
    start = placement(server)
    drag(page, "side", (0.0, -120.0))
    expect(page.locator("#placing-rise")).not_to_have_text("1.50 m")
    dragged = placement(server)
    assert dragged["rise_m"] == pytest.approx(1.2, abs=0.02)  # a pixel is up to two centimetres
    page.tap(".placing-undo button")
    told(page, server, "rise", "1.50 m")
    assert placement(server) == start
    for _ in range(round((1.5 - dragged["rise_m"]) * 100)):
        page.tap('[aria-label="Up the stand, 1 cm lower"]')
    told(page, server, "rise", f"{dragged['rise_m']:.2f} m")
    assert placement(server) == pytest.approx(dragged, abs=1e-6)


@UPRIGHT
def test_fast_taps_all_count_and_a_tap_on_the_head_moves_nothing(
    page: Page, server: LiveServer
) -> None:
    page.goto(f"{server.url}/rig/plan/Key")
    start = placement(server)
    key = page.locator('[aria-label="Throw, 1 cm nearer"]')
    was = key.bounding_box()
    page.tap('[data-plan="above"] .plan-grip')
    page.evaluate("""() => { for (let i = 0; i < 20; i++) setTimeout(() => document.querySelector(
        '[aria-label="Throw, 1 cm farther"]').click(), 30 * i); }""")
    told(page, server, "distance", "2.40 m")
    page.wait_for_timeout(300)
    assert placement(server) == pytest.approx({**start, "distance_m": 2.4}, abs=1e-6)
    expect(page.locator("#placing-now")).to_contain_text("The last move")
    assert key.bounding_box() == was  # what is told pushes no key from under a finger


@UPRIGHT
def test_what_cannot_be_goes_back_and_says_why(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig/plan/Key")
    page.fill('[name="distance"]', "7 4")
    page.tap(".placing-typed button")
    expect(page.locator("#notice")).to_contain_text("throw must be like")
    expect(page.locator('[name="distance"]')).to_have_value("7 4")
    page.fill('[name="distance"]', "7' 4 1/2\"")
    page.tap(".placing-typed button")
    told(page, server, "distance", "2.25 m")
    expect(page.locator('[name="distance"]')).to_have_value("")
    page.tap("[data-hold]")
    before = placement(server)
    drag(page, "above", (50.0, 50.0))
    page.wait_for_timeout(300)
    assert placement(server) == before


@UPRIGHT
def test_another_tablet_sees_the_head_move(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig/plan/Key")
    other = page.context.new_page()
    other.goto(f"{server.url}/rig/plan/Key")
    page.tap('[aria-label="Throw, 10 cm nearer"]')
    told(other, server, "distance", "2.10 m")
    expect(other.locator("#placing-now")).to_contain_text("The last move")


@UPRIGHT
def test_it_works_without_scripts(
    page: Page, server: LiveServer, browser_context_args: dict[str, object]
) -> None:
    assert page.context.browser is not None
    plain = page.context.browser.new_context(**browser_context_args, java_script_enabled=False)
    page = plain.new_page()
    page.goto(f"{server.url}/rig/plan/Key")
    page.tap('[aria-label="Up the stand, 5 cm higher"]')
    expect(page.locator("#placing-rise")).to_have_text("1.55 m")
    page.tap(".placing-undo button")
    expect(page.locator("#placing-rise")).to_have_text("1.50 m")
    plain.close()


def test_keys_are_large_enough_and_nothing_is_in_the_way_of_a_reader(
    page: Page, read_only: LiveServer
) -> None:
    page.goto(f"{read_only.url}/rig/plan/Key")
    for key in page.locator(".placing button, .placing a").all():
        box = key.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= SET_UP_KEY_PX
    size = page.viewport_size
    assert size is not None
    undo = page.locator(".placing-undo button").bounding_box()
    thumb = page.locator(".thumb").bounding_box()
    assert undo is not None
    assert thumb is not None
    assert undo["y"] + undo["height"] <= thumb["y"]  # in sight without scrolling
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
