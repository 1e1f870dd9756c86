"""Two tablets on one light: they add up, agree, go to sleep and lose their server.

One browser context each, as two devices have; both are the machine itself and need no pairing.
"""

import os
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import LiveServer, Started
from tests.browser.test_by_touch import fill_stops, state


@contextmanager
def both(browser: Browser, server: LiveServer) -> Iterator[tuple[Page, Page]]:
    """Both on the Board, with a look lit and marked as good."""
    pages = []
    for _ in range(2):
        context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
        pages.append(context.new_page())
    pages[0].goto(server.url)
    pages[0].tap('[data-key="4"]')
    for page in pages:
        page.goto(f"{server.url}/board")
        expect(page.locator("#floor[data-mine]")).to_be_attached()  # the stream is open
    pages[0].tap(".thumb-good button")
    yield pages[0], pages[1]
    for page in pages:
        page.context.close()


@pytest.fixture
def tablets(browser: Browser, server: LiveServer) -> Iterator[tuple[Page, Page]]:
    """On one light."""
    with both(browser, server) as pages:
        yield pages


@pytest.fixture
def tablets_of_a_start(browser: Browser, started: Started) -> Iterator[tuple[Page, Page]]:
    """On one light, held by the start command."""
    with both(browser, started) as pages:
        yield pages


def fill(page: Page, word: str) -> None:
    page.tap(f'[data-group="f"] .row-{word} button')


def shows(page: Page, text: str, timeout: float = 1000) -> None:
    expect(page.locator("#row-readout-fill .readout-good")).to_have_text(text, timeout=timeout)


def test_their_nudges_add_and_both_see_them(tablets: tuple[Page, Page], server: LiveServer) -> None:
    a, b = tablets
    fill(a, "up")
    fill(b, "up")
    for page in tablets:
        shows(page, "▲⅔")
    b.tap(".thumb-undo button")
    for page in tablets:
        shows(page, "▲⅓")


def web_process(server: Started) -> int:
    found = subprocess.run(
        ["pgrep", "-P", str(server.pid), "-f", "server.serve"], capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    return int(found.stdout)


def test_the_server_dies_under_them_and_is_back(
    tablets_of_a_start: tuple[Page, Page], started: Started
) -> None:
    a, b = tablets_of_a_start
    fill(a, "down")
    shows(b, "▼⅓")
    before = fill_stops(started)
    os.kill(web_process(started), signal.SIGKILL)
    a.wait_for_timeout(100)
    fill(a, "down")  # into nothing, or to a server that refuses what was meant for the old one
    time.sleep(3)
    assert fill_stops(started) == pytest.approx(before, abs=1e-9)
    for page in tablets_of_a_start:
        expect(page.locator('html[data-link="open"]')).to_be_attached(timeout=4000)
    fill(b, "down")
    shows(a, "▼⅔", 2000)
    assert fill_stops(started) == pytest.approx(before + 1 / 3, abs=1e-9)


def hidden(page: Page, on: bool) -> None:
    """What the browser tells a page when the tablet goes to sleep, and when it wakes."""
    page.evaluate(
        """(on) => {
            Object.defineProperty(document, "hidden", { configurable: true, get: () => on });
            document.dispatchEvent(new Event("visibilitychange"));
        }""",
        on,
    )


def test_a_tablet_that_slept_shows_the_truth_and_its_first_touch_only_wakes(
    tablets: tuple[Page, Page], server: LiveServer
) -> None:
    a, b = tablets
    hidden(a, True)
    fill(b, "down")
    shows(b, "▼⅓")
    b.wait_for_timeout(3200)
    before = fill_stops(server)
    hidden(a, False)
    began = time.monotonic()
    fill(a, "down")  # the touch that wakes
    shows(a, "▼⅓", 1000)
    assert time.monotonic() - began < 2
    assert fill_stops(server) == pytest.approx(before, abs=1e-9)
    a.wait_for_timeout(1100)
    fill(a, "down")
    for page in tablets:
        shows(page, "▼⅔", 2000)


def test_held_here_is_not_held_there(tablets: tuple[Page, Page], server: LiveServer) -> None:
    a, b = tablets
    a.tap("[data-hold]")
    revision = state(server)["revision"]
    a.locator('[data-group="f"] .row-up button').dispatch_event("click")
    a.wait_for_timeout(300)
    assert state(server)["revision"] == revision
    fill(b, "up")
    shows(a, "▲⅓")
