"""Ways, a lamp out, flip and a walk, by touch."""

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer
from tests.browser.test_by_touch import state


def outputs(server: LiveServer) -> dict[str, float]:
    return {h["name"]: h["output"] for h in state(server)["heads"]}


def test_from_a_nudge_at_the_top_to_a_way_and_back(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="4"]')
    page.goto(f"{server.url}/board")
    up = page.locator('[data-group="k"] .row-up button')
    for _ in range(4):
        up.tap()
    notice = page.locator("#notice")
    expect(notice).to_contain_text("at the top")
    before = outputs(server)
    notice.get_by_role("link", name="Ways").tap()
    expect(page.locator("h2").first).to_have_text("Ways to get there")
    assert Axe().run(page).violations_count == 0
    page.get_by_role("button", name="Open the lens").first.tap()
    page.wait_for_url("**/board")
    after = outputs(server)
    assert after["Key"] == before["Key"]
    assert after["Fill"] < before["Fill"]
    page.tap(".thumb-undo button")
    expect(page.locator("#state-strip .strip-told")).to_contain_text("undo")
    assert outputs(server) == before


def test_a_note_for_the_assistant_is_ticked(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="4"]')
    page.goto(f"{server.url}/board/ways?head=Key&thirds=-1")
    way = page.locator(".way", has_text="Key to")
    words = way.locator("h3").inner_text()
    way.get_by_role("button").tap()
    page.get_by_role("button", name=f"Done: {words}").tap()
    expect(page.locator("#state-strip .strip-told")).to_contain_text("done: Key to")


def test_a_lamp_is_out_in_two_taps_and_made_up_for(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="4"]')
    page.goto(f"{server.url}/board")
    page.get_by_role("link", name="Lamp out").tap()
    page.get_by_role("button", name="Fill is out").tap()
    expect(page.locator(".way-told").first).to_contain_text("Without Fill")
    assert outputs(server)["Fill"] == 0
    assert Axe().run(page).violations_count == 0
    page.get_by_role("button", name="Do it").tap()
    page.wait_for_url("**/board")
    expect(page.locator("#row-readout-fill")).to_contain_text("below full")  # the other fill is in
    page.goto(f"{server.url}/board/out")
    page.get_by_role("button", name="Fill is back").tap()
    expect(page.locator("#state-strip .strip-told")).to_contain_text("Fill is back")


def test_flip_and_a_walk_by_the_pedal(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="4"]')
    page.goto(f"{server.url}/board/between")
    assert Axe().run(page).violations_count == 0
    page.get_by_role("button", name="Walk to Split in 5 steps").tap()
    expect(page.locator(".way-told", has_text="1 of 5 on the way to Split")).to_be_visible()
    page.goto(f"{server.url}/board")
    page.keyboard.press("PageDown")
    expect(page.locator("#state-strip .strip-told")).to_contain_text("2 of 5")
    for _ in range(3):
        page.keyboard.press("PageDown")
    expect(page.locator("#state-strip .strip-look")).to_contain_text("Split")
    page.goto(f"{server.url}/board/between")
    page.get_by_role("button", name="Turn this light round").tap()
    expect(page.locator("#state-strip .strip-told")).to_contain_text("turned round")
