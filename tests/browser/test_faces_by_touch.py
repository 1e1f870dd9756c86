"""The face on the Board follows a tap, is the server's own picture, and is there without script."""

import base64
import io
import re
import urllib.request

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import LiveServer

CANVAS = 'figure[data-face="now"] canvas'
PIXELS = f"""() => document.querySelector('{CANVAS}').toDataURL('image/png').split(',')[1]"""


def canvas(page: Page) -> np.ndarray:
    png = base64.b64decode(page.evaluate(PIXELS))
    return np.asarray(Image.open(io.BytesIO(png)).convert("L")).astype(int)


def served(server: LiveServer, path: str) -> np.ndarray:
    with urllib.request.urlopen(server.url + path) as answer:
        return np.asarray(Image.open(io.BytesIO(answer.read())).convert("L")).astype(int)


def board(page: Page, server: LiveServer, query: str = "") -> None:
    """The Board under a look, its face drawn finely by the page itself."""
    page.goto(server.url)
    page.tap('[data-key="5"]')
    page.goto(f"{server.url}/board{query}")
    expect(page.locator(CANVAS)).to_be_visible(timeout=60_000)
    expect(page.locator('figure[data-drawn$="-2.bin"]')).to_be_attached(timeout=60_000)


def test_a_tap_changes_the_face_and_undo_brings_it_back(page: Page, server: LiveServer) -> None:
    board(page, server)
    before, first = canvas(page), page.evaluate(PIXELS)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.tap('[data-group="f"] .row-up button')
    page.wait_for_function(f"(before) => ({PIXELS})() !== before", arg=first)
    after = canvas(page)
    assert after.mean() > before.mean() + 1
    assert not [url for url in asked if "/faces/" in url]  # no picture was needed
    page.tap(".thumb-undo button")
    page.wait_for_function(f"(before) => ({PIXELS})() === before", arg=first)


@pytest.mark.parametrize("zones", [False, True])
def test_the_page_draws_what_the_server_draws(page: Page, server: LiveServer, zones: bool) -> None:
    board(page, server, "?zones=on" if zones else "")
    theirs = served(server, "/faces/now.jpg" + ("?zones=on" if zones else ""))
    apart = np.abs(canvas(page) - theirs)
    # JPEG and eight-bit planes: a few codes; hard edges of zones and marks cost JPEG more
    assert np.median(apart) <= 2
    assert apart.mean() < (8 if zones else 2)
    if zones:
        expect(page.locator(".zone-legend")).to_contain_text("V middle grey")


def test_the_words_follow_the_light(page: Page, server: LiveServer) -> None:
    board(page, server)
    words = page.locator(CANVAS)
    light = "Rembrandt, short side, lit to shadow about 4.4:1, background 1"
    expect(words).to_have_attribute("aria-label", f"{light} stop under", timeout=30_000)
    page.tap('[data-group="b"] .row-down button')
    expect(words).to_have_attribute("aria-label", f"{light}⅓ stops under")


def test_without_planes_the_server_s_picture_follows(page: Page, server: LiveServer) -> None:
    page.route("**/faces/planes/**", lambda route: route.abort())
    page.goto(server.url)
    page.tap('[data-key="5"]')
    page.goto(f"{server.url}/board")
    picture = page.locator('figure[data-face="now"] img')
    expect(picture).to_be_visible(timeout=60_000)
    expect(page.locator(CANVAS)).to_be_hidden()
    before = picture.get_attribute("src")
    page.tap('[data-group="f"] .row-up button')
    expect(picture).not_to_have_attribute("src", before or "")


def test_a_tile_keeps_its_picture_while_a_finer_one_is_fetched(
    page: Page, server: LiveServer
) -> None:
    page.goto(server.url)
    picture = page.locator("#tile-face-5 img")
    expect(picture).to_be_visible(timeout=60_000)
    picture.evaluate("(image) => { image.dataset.marked = 'yes'; }")
    html = page.locator("#tile-face-5").evaluate("(tile) => tile.outerHTML")
    finer = html.replace("?v=", "?v=finer").replace('data-marked="yes"', "")
    finer = finer.replace('class="tile-face"', 'class="tile-face" hx-swap-oob="true"', 1)
    page.evaluate("(text) => htmx.swap(document.body, text, { swapStyle: 'none' })", finer)
    expect(picture).to_have_attribute("src", re.compile("finer"))
    expect(picture).to_have_attribute("data-marked", "yes")


def test_faces_without_javascript(browser: Browser, page: Page, server: LiveServer) -> None:
    board(page, server)  # drawn by now
    context = browser.new_context(java_script_enabled=False)
    plain = context.new_page()
    plain.goto(f"{server.url}/board")
    expect(plain.locator('figure[data-face="now"] img')).to_be_visible()
    plain.goto(f"{server.url}/board?zones=on")
    expect(plain.locator('figure[data-face="now"] img')).to_have_attribute(
        "src", re.compile("zones=on")
    )
    plain.goto(server.url)
    expect(plain.locator(".tile img")).to_have_count(6)
    context.close()
