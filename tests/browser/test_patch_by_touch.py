"""Channels given by touch, and the sheet that comes out of the printer."""

import json
import urllib.request

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer

SET_UP_KEY_PX = 62  # 12 mm on a 10-inch tablet (common practice)
# what does not depend on how the tablet is held is tried one way up
UPRIGHT = pytest.mark.parametrize("browser_context_args", [(820, 1180)], indirect=True)


def channel(server: LiveServer, name: str) -> int:
    with urllib.request.urlopen(f"{server.url}/api/rig") as answer:
        return next(h["address"] for h in json.load(answer)["heads"] if h["name"] == name)


@UPRIGHT
def test_give_and_swap_by_touch(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig/patch")
    page.tap('[href="/rig/patch/1/12"]')
    page.tap('button:has-text("Fill now 5")')
    expect(page.locator('[href="/rig/patch/1/12"]')).to_contain_text("Fill")
    expect(page.locator(".patch-told")).to_contain_text("Free: 5, 11.")
    page.tap('[href="/rig/patch/1/12"]')
    page.tap('button:has-text("Kicker")')
    expect(page.locator('[href="/rig/patch/1/12"]')).to_contain_text("Kicker")
    assert (channel(server, "Kicker"), channel(server, "Fill")) == (12, 7)


def test_twelve_channels_in_sight_and_large_enough(page: Page, read_only: LiveServer) -> None:
    page.goto(f"{read_only.url}/rig/patch")
    thumb = page.locator(".thumb").bounding_box()
    assert thumb is not None
    cells = page.locator(".patch-cell").all()
    assert len(cells) == 12
    for cell in cells:
        box = cell.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= SET_UP_KEY_PX
        assert box["y"] + box["height"] <= thumb["y"]


@UPRIGHT
def test_the_sheet_prints_black_on_white(page: Page, read_only: LiveServer) -> None:
    page.goto(f"{read_only.url}/rig/patch")
    page.emulate_media(media="print")
    for hidden in (".nav", ".strip", ".thumb", ".patch-grid", ".patch-keys"):
        expect(page.locator(hidden)).to_be_hidden()
    expect(page.locator(".patch-sheet").first).to_be_visible()
    colours = page.evaluate("""() => {
        const style = (s) => getComputedStyle(document.querySelector(s));
        return [style("html").backgroundColor, style("body").backgroundColor,
                style(".patch-sheet td").color, style(".patch-circuits").color]; }""")
    white = {"rgb(255, 255, 255)", "rgba(0, 0, 0, 0)"}
    assert colours[1] in white
    assert colours[0] in white
    assert colours[2:] == ["rgb(0, 0, 0)"] * 2
