"""Looks and readings out to a file and in again, by touch."""

import json
import urllib.request
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer

SMALL_KEY_PX = 62  # set-up keys, a 12 mm fingertip on a 10-inch tablet (common practice)


def get(server: LiveServer, path: str) -> list:
    with urllib.request.urlopen(server.url + path, timeout=3) as answer:
        return json.load(answer)


def saved(page: Page, words: str, folder: Path) -> Path:
    """Tap a key that saves a file, and where it was saved."""
    with page.expect_download() as download:
        page.tap(f"text={words}")
    to = folder / download.value.suggested_filename
    download.value.save_as(to)
    return to


def test_the_look_book_and_back(page: Page, server: LiveServer, tmp_path: Path) -> None:
    page.goto(f"{server.url}/library")
    book = saved(page, "Save the look book", tmp_path)
    assert book.name == "look-book.json"
    before = get(server, "/api/running-order")
    page.tap('[aria-label="Delete Loop"]')
    expect(page.locator(".undo-delete")).to_be_visible()
    page.set_input_files('input[name="document"]', book)
    page.tap("text=See what it brings")
    expect(page.locator("main h3").first).to_have_text("1 will be added")
    expect(page.locator(".order-name").first).to_have_text("Loop")
    assert len(get(server, "/api/looks")) == 11
    for key in page.locator("main .card-keys > *").all():
        box = key.bounding_box()
        assert box is not None
        assert box["height"] >= SMALL_KEY_PX
    page.tap("text=Add 1")
    expect(page.locator(".undo-delete")).to_contain_text("1 added from the file")
    after = get(server, "/api/running-order")
    assert sorted(k["name"] for k in after) == sorted(k["name"] for k in before)
    assert after[-1]["heads"] == next(k for k in before if k["name"] == "Loop")["heads"]
    page.tap("text=take them out again")
    expect(page.locator(".undo-delete")).to_have_count(0)
    assert len(get(server, "/api/looks")) == 11


def test_a_wrong_file_is_a_notice_and_the_form_stays(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/meter")
    wrong = b"taken_at,point,head,illuminance_lux\r\n2026-05-01T10:00:00Z,hair,,bright\r\n"
    page.set_input_files(
        'input[name="document"]', {"name": "r.csv", "mimeType": "text/csv", "buffer": wrong}
    )
    page.tap("text=See what it brings")
    expect(page.locator("#notice")).to_contain_text("line 2, illuminance_lux: must be a number")
    assert page.url.endswith("/meter")
    assert get(server, "/api/readings") == []


def test_a_cue_list_and_back(page: Page, server: LiveServer, tmp_path: Path) -> None:
    page.goto(f"{server.url}/library")
    page.tap("text=Cue lists, for another desk")
    page.wait_for_url("**/rig/cues")
    cues = saved(page, "Running order, exact", tmp_path)
    assert cues.read_text("ascii").startswith("Ident 3:0")
    page.set_input_files('input[name="document"]', cues)
    page.tap("text=See what it brings")
    count = len(get(server, "/api/running-order"))
    page.tap("text=also into the running order")
    page.tap(f"text=Add {count}")
    expect(page.locator(".undo-delete")).to_contain_text(f"{count} added from the file")
    assert len(get(server, "/api/running-order")) == count
    assert len(get(server, "/api/looks?tag=cue%20list")) == count


@pytest.mark.parametrize("path", ["/rig/cues", "/library", "/meter"])
def test_no_accessibility_violation(page: Page, read_only: LiveServer, path: str) -> None:
    page.goto(read_only.url + path)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
