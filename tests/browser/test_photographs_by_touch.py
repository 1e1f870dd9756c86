"""The pass of one-light photographs by touch: light, drop the frame, be told, see it used."""

from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer
from tests.web.test_photographs_page import frame


def test_photograph_two_heads(page: Page, server: LiveServer, tmp_path: Path) -> None:
    for name, data in (("room", frame(0.01)), ("key", frame(0.3, side=0.5)), ("no", b"words")):
        (tmp_path / f"{name}.jpg").write_bytes(data)
    page.goto(f"{server.url}/photographs")
    rows = page.locator(".shots li")
    room, key = rows.nth(0), rows.nth(1)
    room.get_by_role("button", name="All heads down").tap()
    expect(room).to_contain_text("shoot now")
    room.locator('input[type="file"]').set_input_files(tmp_path / "room.jpg")
    room.get_by_role("button", name="Take the frame").tap()
    expect(room).to_contain_text("room.jpg")
    key.get_by_role("button", name="Light Key alone").tap()
    expect(key).to_contain_text("lit alone: shoot now")
    key.locator('input[type="file"]').set_input_files(tmp_path / "no.jpg")
    key.get_by_role("button", name="Take the frame").tap()
    expect(page.locator("#notice")).to_contain_text("no JPEG")
    key.locator('input[type="file"]').set_input_files(tmp_path / "key.jpg")
    key.get_by_role("button", name="Take the frame").tap()
    expect(key).to_contain_text("key.jpg")
    page.get_by_role("button", name="Show photographs").tap()
    expect(page.get_by_role("button", name="Showing photographs")).to_be_visible()
    assert Axe().run(page).violations_count == 0
    page.get_by_role("button", name="Back to the light before").tap()
    expect(rows.nth(1)).not_to_contain_text("shoot now")
