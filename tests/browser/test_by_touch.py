"""The main job by touch, on a ten-inch tablet both ways up."""

import json
import urllib.request
from itertools import combinations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, Response, expect

from tests.browser.conftest import LiveServer, Started

LIVE_KEY_PX = 115  # 22 mm on a 10-inch tablet, joint-width advice (common practice)
LIVE_GAP_PX = 8  # between keys that belong together; else 12 (common practice)


def state(server: LiveServer) -> dict:
    with urllib.request.urlopen(f"{server.url}/api/state") as answer:
        return json.load(answer)


def fill_stops(server: LiveServer) -> float:
    return next(h for h in state(server)["heads"] if h["name"] == "Fill")["stops_below_full"]


def test_recall_nudge_good_keep_undo(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="4"]')
    expect(page.locator("#state-strip .strip-look")).to_have_text("Loop")
    expect(page.locator("#state-strip .strip-ratio .big")).to_have_text("3:1")
    page.goto(f"{server.url}/board")
    page.tap(".thumb-good button")
    page.tap('[data-group="f"] .row-down button')
    expect(page.locator("#row-readout-fill .readout-good")).to_have_text("▼⅓")
    page.tap(".thumb-keep button")
    expect(page.locator("#notice")).to_contain_text("Kept as")
    page.tap(".thumb-undo button")
    expect(page.locator("#row-readout-fill .readout-good")).to_have_text("as good")


def test_a_dark_head_is_brought_in_by_its_name(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="4"]')
    expect(page.locator("#state-strip .strip-look")).to_have_text("Loop")
    page.goto(f"{server.url}/board")
    page.tap(".row-name a >> text=each head")
    row = page.get_by_role("group", name="Rim", exact=True)
    expect(row.locator(".readout-good")).to_have_text("dark")
    row.locator(".row-up button").tap()
    expect(row.locator(".readout-good")).to_have_text("4 below full")
    row.locator(".row-up button").tap()
    expect(row.locator(".readout-good")).to_have_text("3⅔ below full")
    page.tap(".thumb-good button")
    row.locator(".row-down button").tap()
    expect(row.locator(".readout-room")).to_contain_text("▼⅓ since good")
    boxes = [key.bounding_box() for key in page.locator(".each-head .key").all()]
    assert min(min(b["width"], b["height"]) for b in boxes) >= LIVE_KEY_PX
    for a, b in combinations(boxes, 2):
        across = max(a["x"], b["x"]) - min(a["x"] + a["width"], b["x"] + b["width"])
        down = max(a["y"], b["y"]) - min(a["y"] + a["height"], b["y"] + b["height"])
        assert max(across, down) >= LIVE_GAP_PX
    cut = "all => all.filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent)"
    assert page.locator(".each-head .readout").evaluate_all(cut) == []


def test_twenty_fast_mixed_taps_all_count(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="5"]')
    page.goto(f"{server.url}/board")
    page.wait_for_timeout(300)
    before = fill_stops(server)
    script = """(ways) => ways.forEach((way, i) => setTimeout(() =>
        document.querySelector(`[data-group="f"] .row-${way} button`).click(), 40 * i))"""
    page.evaluate(script, ["down"] * 8 + ["up"] * 12)
    page.wait_for_timeout(2000)
    assert fill_stops(server) == pytest.approx(before - 4 / 3, abs=1e-9)


def test_pedal_keys(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    look = page.locator("#state-strip .strip-look")
    page.keyboard.press("PageDown")
    expect(look).to_have_text("Greeting")
    page.keyboard.press("PageDown")
    expect(look).to_have_text("Butterfly")
    page.keyboard.press("PageUp")
    expect(look).to_have_text("Greeting")
    page.keyboard.press("z")
    expect(look).to_have_text("Butterfly")


def test_lost_server_says_so_drops_taps_and_comes_back(page: Page, started: Started) -> None:
    page.goto(started.url)
    page.tap('[data-key="4"]')
    expect(page.locator("#state-strip .strip-look")).to_have_text("Loop")
    started.kill()
    expect(page.locator('html[data-link="lost"]')).to_be_attached(timeout=4000)
    expect(page.locator(".strip-lost")).to_be_visible()
    page.evaluate("document.querySelector('[data-key=\"2\"]').click()")
    started.start()
    expect(page.locator('html[data-link="open"]')).to_be_attached(timeout=5000)
    page.wait_for_timeout(500)
    assert state(started)["look"]["name"] == "Loop"


def test_hold_ignores_touches_until_pressed_long(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap("[data-hold]")
    page.keyboard.press("PageDown")
    page.wait_for_timeout(300)
    assert state(server)["look"] is None
    page.locator("[data-hold]").dispatch_event("pointerdown")
    page.wait_for_timeout(900)
    page.locator("[data-hold]").dispatch_event("pointerup")
    page.keyboard.press("PageDown")
    expect(page.locator("#state-strip .strip-look")).to_have_text("Greeting")


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/board",
        "/board?zones=on",
        "/board/compare",
        "/board/heads",
        "/library",
        "/sitting",
        "/rig",
        "/rig/heads/Key",
        "/rig/devices",
        "/rig/walk",
        "/by-hand",
        "/meter",
        "/rig/plan",
        "/rig/patch",
        "/rig/patch/1/5",
        "/rig/points",
        "/rig/points/of/hair",
        "/pair",
        "/trust",
    ],
)
def test_no_accessibility_violation(page: Page, read_only: LiveServer, path: str) -> None:
    page.goto(read_only.url + path)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("path", ["/", "/board"])
def test_live_keys_are_a_joint_wide_apart_and_in_sight(
    page: Page, read_only: LiveServer, path: str
) -> None:
    page.goto(read_only.url + path)
    size = page.viewport_size
    assert size is not None
    if path == "/board":  # five ratios, whichever way the tablet lies
        keys = page.locator(".ratios .key").all_inner_texts()
        assert keys == ["2:1", "3:1", "4:1", "5:1", "8:1"]
    boxes = []
    for key in page.locator(".thumb .key, .board .key, .tile button").all():
        if not key.is_visible():
            continue
        box = key.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= LIVE_KEY_PX
        assert box["y"] + box["height"] <= size["height"]
        boxes.append(box)
    for a, b in combinations(boxes, 2):
        across = max(a["x"], b["x"]) - min(a["x"] + a["width"], b["x"] + b["width"])
        down = max(a["y"], b["y"]) - min(a["y"] + a["height"], b["y"] + b["height"])
        assert max(across, down) >= LIVE_GAP_PX


@pytest.mark.parametrize("path", ["/", "/board", "/library", "/rig", "/rig/plan/Key", "/meter"])
def test_at_twice_its_size_a_page_is_read_without_moving_it_sideways(
    page: Page, read_only: LiveServer, path: str
) -> None:
    """A tablet zoomed to 200 % (WCAG 2.2, 1.4.4 and 1.4.10): one column, nothing cut sideways."""
    size = page.viewport_size
    assert size is not None
    page.set_viewport_size({"width": size["width"] // 2, "height": size["height"] // 2})
    page.goto(read_only.url + path)
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"] // 2
    cut = "all => all.filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent)"
    assert page.locator("main .key, main .small-key, .strip p").evaluate_all(cut) == []


def test_pages_are_light_in_weight_and_dark(page: Page, read_only: LiveServer) -> None:
    weights: list[int] = []

    def weigh(response: Response) -> None:
        if "/api/events" not in response.url and "/faces/" not in response.url:
            weights.append(len(response.body()))

    page.on("response", weigh)
    page.goto(f"{read_only.url}/board")
    page.wait_for_timeout(300)
    assert sum(weights) < 120_000


def test_a_form_post_without_javascript(browser, server: LiveServer) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{server.url}/board")
    page.goto(server.url)
    page.click('[data-key="4"]')
    expect(page.locator("#state-strip .strip-look")).to_have_text("Loop")
    context.close()
