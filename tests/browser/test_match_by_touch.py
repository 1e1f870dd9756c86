"""A drawn face as one's own picture: dropped in, tapped, its look among the likest, and lit."""

import time
import urllib.request

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer
from tests.browser.test_by_touch import state

PLACES = ((0.66, 0.5), (0.36, 0.54), (0.52, 0.3), (0.5, 0.1), (0.05, 0.4))
"""Cheek right, cheek left, forehead, hair, background on the fourth look's face."""


def face_of_look(server: LiveServer, look: int) -> bytes:
    """Its picture, as soon as it is drawn."""
    for _ in range(200):
        try:
            with urllib.request.urlopen(f"{server.url}/faces/look/{look}.jpg") as answer:
                return bytes(answer.read())
        except OSError:
            time.sleep(0.2)
    raise AssertionError("the face was never drawn")


def test_a_picture_is_tapped_and_lit(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/library")
    picture = face_of_look(server, 4)
    page.tap("text=Match a picture")
    page.set_input_files(
        'input[name="file"]', {"name": "own.jpg", "mimeType": "image/jpeg", "buffer": picture}
    )
    page.tap("text=Take the picture")
    expect(page.locator(".match-next")).to_contain_text("cheek right")
    expect(page.locator(".match-next")).to_contain_text("camera right")
    assert Axe().run(page).violations_count == 0
    for n, (x, y) in enumerate(PLACES, 1):
        box = page.locator(".match img.face").bounding_box()
        assert box is not None
        page.touchscreen.tap(box["x"] + x * box["width"], box["y"] + y * box["height"])
        expect(page.locator(".spot-mark text")).to_have_count(n)
    expect(page.locator(".match-next")).to_contain_text("All points are tapped")
    likes = page.locator("h2:has-text('Looks that are like it') + ul h3")
    assert "Rembrandt, short" in likes.all_inner_texts()
    assert Axe().run(page).violations_count == 0
    page.tap("text=Light it")
    expect(page.locator("#state-strip .strip-told")).to_contain_text("the light of a picture")
    assert 2 < state(server)["ratio"]["value"] < 7  # the look is 4.4:1
    page.tap(".thumb-undo button")
    expect(page.locator("#state-strip .strip-told")).to_contain_text("undo")
