"""A desk set by hand, and the channel walk, by touch."""

import json
import urllib.request

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer
from tests.browser.test_by_touch import LIVE_KEY_PX, state


def post(server: LiveServer, path: str, body: object) -> dict:
    request = urllib.request.Request(
        server.url + path, json.dumps(body).encode(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(request, timeout=3) as answer:
        return json.load(answer)


def top(page: Page, head: str) -> float:
    """Where a head's row stands. [CSS px]"""
    box = page.locator(f'.fader-row[aria-label="{head}"]').bounding_box()
    assert box is not None
    return box["y"] * 10000 + box["x"]


def test_faders_follow_the_light_and_keep_their_place_when_ticked(
    page: Page, server: LiveServer
) -> None:
    page.goto(f"{server.url}/by-hand")
    key = page.locator('.fader-row[aria-label="Key"]')
    expect(key.locator(".fader")).to_have_attribute("data-state", "stays")
    told = post(server, "/api/recall", {"look": 4})  # from elsewhere: this page hears of it
    expect(key.locator(".fader")).to_have_attribute("data-state", "move")
    numbers = {h["name"]: round(h["level_percent"]) for h in told["heads"] if h["output"]}
    expect(key.locator(".fader-number")).to_have_text(str(numbers["Key"]))
    order = sorted(numbers, key=lambda name: -numbers[name])
    assert sorted(order, key=lambda name: top(page, name)) == order
    box = key.locator(".key").bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= LIVE_KEY_PX
    key.locator(".key").tap()
    expect(key.locator(".fader-way")).to_have_text("set")
    assert sorted(order, key=lambda name: top(page, name)) == order
    key.locator(".fader-not-set button").tap()
    expect(key.locator(".fader")).to_have_attribute("data-state", "move")
    page.tap("text=All faders are set")
    expect(page.locator("#hands-summary")).to_have_text("All set")
    post(server, "/api/nudge", {"head": "Fill", "thirds": 2})
    expect(page.locator("#hands-summary")).to_contain_text("1 fader to move")


def test_a_swapped_pair_is_found_and_mended(page: Page, server: LiveServer) -> None:
    post(server, "/api/recall", {"look": 4})
    page.goto(f"{server.url}/rig")
    page.tap("text=Walk through the channels")
    page.tap("text=Start the walk")
    seen = {"Key": "Fill", "Fill": "Key"}
    for number in range(1, 10):
        expect(page.locator(".walk-channel")).to_have_text(f"Channel {number} of 9")
        lit = page.locator("input[name=lit]").first.get_attribute("value") or ""
        page.locator(f'.walk-keys button[value="{seen.get(lit, lit)}"]').tap()
    expect(page.locator(".walk-found li")).to_have_count(2)
    page.tap("text=Mend the patch")
    page.wait_for_url("**/rig*")
    expect(page.locator("body")).to_contain_text("channel 5 · 220 W LED")
    assert state(server)["look"]["name"] == "Loop"


def test_the_dimmers_habit_by_touch(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig")
    page.tap("text=It goes dark")
    expect(page.locator('button[value="goes dark"]')).to_have_attribute("aria-pressed", "true")


@pytest.mark.parametrize("path", ["/by-hand", "/rig/walk"])
def test_no_accessibility_violation(page: Page, server: LiveServer, path: str) -> None:
    post(server, "/api/recall", {"look": 4})
    page.goto(server.url + path)
    if path == "/rig/walk":
        page.tap("text=Start the walk")
        expect(page.locator(".walk-keys")).to_be_visible()
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
