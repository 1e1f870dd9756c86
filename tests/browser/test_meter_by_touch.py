"""Curve in, warm-up and trust by touch, with a scripted meter; every page checked by axe."""

import json
import urllib.request
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from server.web.words import point_words
from tests.browser.conftest import LiveServer
from tests.browser.test_by_touch import state

SET_UP_KEY_PX = 62
FULL, ROOM = 5200.0, 3.0


def truth(level: float) -> float:
    """The curve of the scripted head: out below 4 %."""
    return 0.0 if level < 0.04 else 0.2 * level + 0.8 * level**3


def post(server: LiveServer, path: str, body: dict[str, Any], method: str = "POST") -> None:
    request = urllib.request.Request(
        server.url + path, json.dumps(body).encode(), {"Content-Type": "application/json"},
        method=method,
    )  # fmt: skip
    urllib.request.urlopen(request).close()


def go(page: Page, key: str) -> None:
    """Tap a key that leads to another page."""
    with page.expect_navigation():
        page.tap(key)


def typed(page: Page, lux: float) -> None:
    """Digit by digit on the page's own keys, then taken."""
    for digit in f"{lux:.5g}":
        page.tap(f'.keypad button:text-is("{digit}")')
    expect(page.locator("[data-keypad]")).to_have_value(f"{lux:.5g}")
    go(page, ".take-it")


def no_faults(page: Page) -> None:
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    for key in page.locator("main button:visible, main a.small-key:visible, summary").all():
        box = key.bounding_box()
        assert box is not None
        assert box["height"] >= SET_UP_KEY_PX - 0.5, key.text_content()


def take_all(page: Page, server: LiveServer, key_off: float = 0.0) -> None:
    """From the key that lights the first head to the page that says what it came to. [stop]"""
    count = page.locator(".steps li").count()
    go(page, ".trust-ask button")
    for _ in range(count):
        step = page.locator(".metering-step").text_content() or ""
        point = next(p for p in state(server)["points"] if f" at {point_words(p['name'])}" in step)
        off = key_off if step.startswith("Key at") else 0.0
        typed(page, 60.0 if "shaded" in step else point["lux"] * 2**off)
        if page.locator("[role=alert]").is_visible():
            go(page, ".keep-so")


def test_a_curve_is_read_and_stored(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig/heads/Fill")
    go(page, "text=Measure its curve")
    no_faults(page)
    go(page, "text=Begin: Fill is lit alone")
    for reading in range(9):
        expect(page.locator(".metering-step")).to_be_visible()
        lit = [h for h in state(server)["heads"] if h["output"] > 0]
        assert [h["name"] for h in lit] == ([] if reading == 0 else ["Fill"])
        if reading in (1, 6):
            no_faults(page)
        typed(page, ROOM + sum(FULL * truth(h["signal"][0] / 255) for h in lit))
        if reading == 1 and page.locator("[role=alert]").is_visible():
            go(page, ".keep-so")  # far from the figures: they are what is wrong
    expect(page.locator(".curve-result")).to_contain_text("At 2 % it was out.")
    go(page, 'a[aria-label="Steady from 10 %"]')
    expect(page.locator(".curve-result")).to_contain_text("below 10 %, where it burns steadily")
    no_faults(page)
    go(page, ".curve-store")
    expect(page.locator("h2").first).to_contain_text("Fill")
    with urllib.request.urlopen(f"{server.url}/api/rig") as answer:
        head = next(h for h in json.load(answer)["heads"] if h["name"] == "Fill")
    assert head["curve"] == "measured"
    assert head["steady_from"] == pytest.approx(0.1)
    levels, outputs = zip(*head["curve_points"], strict=True)
    assert len(levels) == 9
    assert outputs[-2] == pytest.approx(truth(0.8), rel=1e-3)


def test_a_wrong_number_is_told_and_stays_on_the_keys(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/meter")
    expect(page.locator("[data-keypad]")).to_be_visible()  # all is dark at the start
    page.tap('.choice-key:has([value="f"])')
    for digit in "812":
        page.tap(f'.keypad button:text-is("{digit}")')
    page.tap(".take-it")
    expect(page.locator("#notice")).to_contain_text("is it lux?")
    expect(page.locator("[data-keypad]")).to_have_value("812")


def test_a_touched_head_takes_two_taps_beside_the_digits(page: Page, server: LiveServer) -> None:
    post(server, "/api/recall", {"look": 4})
    lit_before = [h["signal"] for h in state(server)["heads"]]
    page.goto(f"{server.url}/meter/trust")
    no_faults(page)
    take_all(page, server)
    expect(page.locator(".trust-summary")).to_contain_text("Good to a sixth of a stop.")
    assert [h["signal"] for h in state(server)["heads"]] == lit_before

    go(page, 'button[aria-label="Key was touched"]')
    expect(page.locator(".trust-summary")).not_to_contain_text("Good to a sixth")
    expect(page.locator("#state-strip .strip-ratio")).to_contain_text("about")
    page.locator("summary").filter(has_text=", the lit side").tap()
    expect(page.get_by_text("Touched since: one spot reading").first).to_be_visible()
    no_faults(page)
    take_all(page, server, key_off=-0.4)
    expect(page.locator(".trust-summary")).to_contain_text("Good to a sixth of a stop.")
    expect(page.locator("#state-strip .strip-ratio")).not_to_contain_text("changed since")
    assert [h["signal"] for h in state(server)["heads"]] == lit_before


def test_words_about_warming_up_move_no_key(page: Page, server: LiveServer) -> None:
    post(server, "/api/recall", {"look": 4})
    page.goto(f"{server.url}/board")
    keys = page.locator(".row .key, .thumb .key")
    before = [key.bounding_box() for key in keys.all()]
    with urllib.request.urlopen(f"{server.url}/api/rig") as answer:
        rig = json.load(answer)
    reading = {"point": "forehead", "head": "Key", "lux": 500.0, "output": 0.25,
               "placement": rig["heads"][0]["placement"], "minutes_on": 0.0,
               "at": "2026-05-01T09:00:00+00:00"}  # fmt: skip
    later = {**reading, "lux": 420.0, "minutes_on": 20.0, "at": "2026-05-01T09:20:00+00:00"}
    post(server, "/api/rig", {**rig, "readings": [reading, later]}, "PUT")
    expect(page.locator("#row-readout-key .readout-warm")).to_contain_text("steady in about 20")
    assert [key.bounding_box() for key in keys.all()] == before
    assert Axe().run(page).violations_count == 0


def test_a_reading_for_the_warm_up_record(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig/heads/Key/warm-up")
    no_faults(page)
    go(page, "text=Begin: Key is lit alone")
    expect(page.locator(".metering-step")).to_contain_text("Key at")
    typed(page, 640)
    no_faults(page)
    go(page, "text=Back to the light before")
    with urllib.request.urlopen(f"{server.url}/api/readings") as answer:
        assert json.load(answer)[-1]["minutes_on"] < 2
