"""Tap the face on the Board, see the spot, make it darker, take it back."""

import json
import urllib.request

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer
from tests.browser.test_by_touch import state


def test_tap_a_spot_and_make_it_darker(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="4"]')
    page.goto(f"{server.url}/board")
    picture = page.locator('figure[data-face="now"] canvas')
    expect(picture).to_be_visible(timeout=40_000)
    box = picture.bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + 0.06 * box["width"], box["y"] + 0.1 * box["height"])
    expect(page.locator(".spot-told h2")).to_contain_text("Zone")
    expect(page.locator(".makers li").first).to_contain_text("Background")
    assert Axe().run(page).violations_count == 0
    before = state(server)
    page.tap('button[name="thirds"][value="-1"]')
    expect(page.locator("#state-strip .strip-told")).to_contain_text("a spot darker")
    url = f"{server.url}/api/spot?x=0.06&y=0.1"
    with urllib.request.urlopen(url) as answer:
        assert json.load(answer)["makers"][0]["head"] == "Background"
    lit = {h["name"]: h["output"] for h in state(server)["heads"]}
    was = {h["name"]: h["output"] for h in before["heads"]}
    assert lit["Background"] < 0.85 * was["Background"]  # it makes about half of that spot
    assert lit["Key"] == pytest.approx(was["Key"], rel=0.1)
    page.tap(".thumb-undo button")
    expect(page.locator("#state-strip .strip-told")).to_contain_text("undo")
