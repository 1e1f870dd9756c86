"""A drawn face as one's own picture: dropped in, tapped, its look among the likest, and lit."""

import time
import urllib.request
from math import log2

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer
from tests.browser.test_by_touch import state

LOOK = 4
PLACES = ((0.7, 0.54), (0.4, 0.53), (0.52, 0.3), (0.5, 0.1), (0.05, 0.4))
"""Cheek camera right, cheek camera left, forehead, hair, background on that look's face. It is
turned 15° to camera right, so one cheek is near the outline, the other near the nose."""


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
    picture = face_of_look(server, LOOK)
    look = page.request.get(f"{server.url}/api/looks/{LOOK}").json()
    # the sitter turned as in the picture, the light far from it
    assert page.request.post(f"{server.url}/api/recall", data={"look": LOOK}).ok
    for role, thirds in (("key", -5), ("fill", 3)):
        page.request.post(f"{server.url}/api/nudge", data={"role": role, "thirds": thirds})
    assert state(server)["ratio"]["value"] < look["ratio"] / 2
    page.tap("text=Match a picture")
    page.set_input_files(
        'input[name="file"]', {"name": "own.jpg", "mimeType": "image/jpeg", "buffer": picture}
    )
    page.tap("text=Take the picture")
    expect(page.locator(".match-next")).to_contain_text("cheek camera right")
    assert Axe().run(page).violations_count == 0
    for n, (x, y) in enumerate(PLACES, 1):
        box = page.locator(".match img.face").bounding_box()
        assert box is not None
        page.touchscreen.tap(box["x"] + x * box["width"], box["y"] + y * box["height"])
        expect(page.locator(".spot-mark text")).to_have_count(n)
    expect(page.locator(".match-next")).to_contain_text("All points are tapped")
    likes = page.locator("h2:has-text('Looks that are like it') + ul h3")
    assert likes.first.inner_text() == look["name"]
    assert Axe().run(page).violations_count == 0
    page.tap("text=Light it")
    expect(page.locator("#state-strip .strip-told")).to_contain_text("the light of a picture")
    assert abs(log2(state(server)["ratio"]["value"] / look["ratio"])) < 1 / 4
    page.tap(".thumb-undo button")
    expect(page.locator("#state-strip .strip-told")).to_contain_text("undo")
