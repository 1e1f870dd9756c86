"""Hold holds, keys keep their places, nothing lies over a key, and a spot follows the light."""

import json
import urllib.request

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import LiveServer
from tests.browser.test_at_the_desk import post
from tests.browser.test_by_touch import state


def put(server: LiveServer, path: str, body: object) -> None:
    headers = {"Content-Type": "application/json"}
    request = urllib.request.Request(
        server.url + path, json.dumps(body).encode(), headers, method="PUT"
    )
    urllib.request.urlopen(request, timeout=3).close()


def places(page: Page) -> dict[str, tuple[int, int, int, int]]:
    """Every key of the page that can be seen, with its box."""
    found = {}
    for key in page.locator("main .key, .board-keys .small-key, .nav a").all():
        box = key.bounding_box()
        if box and key.is_visible():
            name = key.get_attribute("aria-label") or key.inner_text().split("\n")[0]
            found[name] = tuple(round(box[side]) for side in ("x", "y", "width", "height"))
    return found


def covered(page: Page, keys: str) -> list[str]:
    """Keys of which a corner or the middle is covered by something else, or cut off."""
    page.evaluate("document.fonts.ready")
    told = []
    for key in page.locator(keys).all():
        box = key.bounding_box()
        if not box or not key.is_visible():
            continue
        for across, down in ((0.5, 0.5), (0.15, 0.06), (0.85, 0.06), (0.15, 0.97), (0.85, 0.97)):
            x, y = box["x"] + across * box["width"], box["y"] + down * box["height"]
            if not key.evaluate(
                "(key, [x, y]) => key.contains(document.elementFromPoint(x, y))", [x, y]
            ):
                told.append(f"{key.inner_text()} at {across}, {down}")
    return told


def test_hold_outlives_links_and_reloads(page: Page, server: LiveServer) -> None:
    page.goto(server.url)
    page.tap('[data-key="4"]')
    expect(page.locator(".strip-look")).to_have_text("Loop")
    page.tap("[data-hold]")
    expect(page.locator("[data-hold]")).to_contain_text("Held")
    size = page.locator("[data-hold]").bounding_box()
    page.locator(".nav a", has_text="Sitting").dispatch_event("click")
    page.wait_for_timeout(300)
    assert page.url.rstrip("/") == server.url
    page.goto(f"{server.url}/board")
    expect(page.locator('html[data-held="yes"]')).to_be_attached()
    page.reload()
    expect(page.locator('html[data-held="yes"]')).to_be_attached()
    for dead in (".row-up .key", ".spot-link", ".nav a", ".board-keys a", "[data-compare]"):
        for found in page.locator(dead).all():
            found.dispatch_event("pointerdown")
            found.dispatch_event("click")
    page.wait_for_timeout(300)
    assert page.url == f"{server.url}/board"
    assert state(server)["changed"] is False
    assert state(server)["comparing"] is False
    page.locator("[data-hold]").dispatch_event("pointerdown")
    page.wait_for_timeout(900)
    page.locator("[data-hold]").dispatch_event("pointerup")
    expect(page.locator('html[data-held="no"]')).to_be_attached()
    page.reload()
    expect(page.locator("[data-hold]")).to_contain_text("Hold")
    assert page.locator("[data-hold]").bounding_box() == size
    page.tap('[data-group="f"] .row-up .key')
    expect(page.locator(".strip-state strong")).to_have_text("changed")


def test_no_key_of_the_board_moves_whatever_happens(page: Page, server: LiveServer) -> None:
    post(server, "/api/recall", {"look": 4})
    page.goto(f"{server.url}/board")
    expect(page.locator("[data-hold]")).to_be_visible()
    overrun = "rows => rows.filter(r => r.scrollHeight > r.clientHeight + 1).map(r => r.innerText)"
    for levels in (100, 38, 2, 0.04):  # up to "10⅓ below full"
        post(
            server, "/api/levels", {"levels": dict.fromkeys(("Key", "Fill", "Background"), levels)}
        )
        page.wait_for_timeout(150)
        assert page.locator(".row").evaluate_all(overrun) == []
    post(server, "/api/recall", {"look": 4})
    page.reload()
    seen = places(page)
    long = {"name": "Evening light with the doors wide open"}
    for path, body, shows in [
        ("good", {}, "Back to good"),
        ("nudge", {"role": "key", "thirds": -3}, "Camera set as advised"),
        ("undo", {}, "Redo"),
        ("looks", long, "Keep"),
        ("nudge", {"role": "fill", "thirds": 2}, "Keep"),
        ("dark", {}, "Back up"),
        ("restore", {}, "All down"),
    ]:
        post(server, f"/api/{path}", body)
        expect(page.get_by_role("button", name=shows, exact=True)).to_be_visible()
        now = places(page)
        assert {k: v for k, v in now.items() if k in seen} == {
            k: v for k, v in seen.items() if k in now
        }
        seen |= now
    assert seen["All down"] == seen["Back up"]
    page.tap("[data-hold]")
    assert places(page)["Undo"] == seen["Undo"]
    assert covered(page, ".row .key") == [] or page.locator('html[data-held="yes"]').count()


@pytest.mark.parametrize("query", ["", "?zones=on"])
def test_no_key_of_the_board_is_covered(page: Page, server: LiveServer, query: str) -> None:
    post(server, "/api/recall", {"look": 4})
    post(server, "/api/good", {})
    post(server, "/api/nudge", {"role": "key", "thirds": -3})
    page.goto(f"{server.url}/board{query}")
    page.wait_for_timeout(300)
    assert covered(page, "main .key, main .small-key, .nav a") == []


def test_without_script_no_key_is_covered_and_keep_has_its_place(
    page: Page, browser: Browser, server: LiveServer, browser_context_args: dict
) -> None:
    post(server, "/api/recall", {"look": 4})
    post(server, "/api/nudge", {"role": "fill", "thirds": 1})
    post(server, "/api/undo", {})  # and there is something to do again
    page.goto(f"{server.url}/board")
    expect(page.locator('figure[data-face="now"] canvas')).to_be_visible(timeout=60_000)
    with_script = places(page)
    context = browser.new_context(**browser_context_args, java_script_enabled=False)
    plain = context.new_page()
    plain.goto(f"{server.url}/board")
    expect(plain.locator('figure[data-face="now"] img')).to_be_visible()
    boxes = places(plain)
    assert boxes["Keep"] == with_script["Keep"]
    assert boxes["All down"] == with_script["All down"]
    face = plain.locator(".face-frame").bounding_box()
    image = plain.locator('figure[data-face="now"] img').bounding_box()
    assert face
    assert image
    assert image["width"] <= face["width"] + 1
    assert abs(image["y"] - face["y"]) < 1
    for name in ("Key down a third", "Fill down a third", "Make lit to shadow 3 to 1, lens held"):
        x, y, wide, high = boxes[name]
        clear = x >= image["x"] + image["width"] or y >= image["y"] + image["height"]
        assert clear or x + wide <= image["x"] or y + high <= image["y"], name
    context.close()


@pytest.mark.parametrize("path", ["/library", "/rig", "/meter", "/board/ways"])
def test_nothing_lies_over_the_thumb_row(page: Page, read_only: LiveServer, path: str) -> None:
    page.goto(read_only.url + path)
    expect(page.locator("[data-hold]")).to_be_visible()
    for _ in range(5):
        assert covered(page, ".thumb .key") == []
        page.mouse.wheel(0, 170)
        page.wait_for_timeout(60)


def test_a_spot_follows_an_undo_of_its_own_thumb_row(page: Page, server: LiveServer) -> None:
    post(server, "/api/recall", {"look": 4})
    page.goto(f"{server.url}/board")
    expect(page.locator('figure[data-face="now"] canvas')).to_be_visible(timeout=60_000)
    page.goto(f"{server.url}/board/spot?x=0.42&y=0.55")
    told = page.locator("#spot-told p").last
    before = told.inner_text()
    page.locator(".wish .key", has_text="darker").evaluate("key => key.mine = 1")
    page.tap("text=A third darker here")
    expect(told).not_to_have_text(before)
    page.tap(".thumb-undo .key")
    expect(told).to_have_text(before)
    assert page.locator(".wish .key", has_text="darker").evaluate("key => key.mine") == 1


def test_long_names_widen_no_page(page: Page, server: LiveServer) -> None:
    word = "W" * 40
    post(server, "/api/recall", {"look": 2})
    look = post(server, "/api/looks", {"name": word, "tags": ["w" * 30], "notes": "n" * 90})["id"]
    with urllib.request.urlopen(f"{server.url}/api/rig") as answer:
        rig = json.load(answer)
    rig["heads"][0]["name"] = rig["room"]["name"] = word
    put(server, "/api/rig", rig)
    put(server, "/api/running-order", {"looks": [look]})
    post(server, "/api/levels", {"levels": {word: 90}})
    wide = page.viewport_size["width"]
    for path in ("/", "/board", "/sitting", "/library", "/rig", f"/library/{look}", "/board/ways",
                 "/board/heads", f"/rig/heads/{word}", "/meter", "/by-hand", "/rig/walk",
                 "/rig/plan"):  # fmt: skip
        page.goto(server.url + path)
        page.wait_for_timeout(150)
        assert page.evaluate("document.documentElement.scrollWidth") <= wide, path
    page.goto(server.url)
    name = page.locator(".tile-name").bounding_box()
    tile = page.locator(".tile button").bounding_box()
    assert name["x"] + name["width"] <= tile["x"] + tile["width"]


def test_a_pass_that_was_left_is_told_and_taken_back(page: Page, server: LiveServer) -> None:
    post(server, "/api/recall", {"look": 4})
    page.goto(f"{server.url}/board")
    expect(page.locator(".left-off")).to_be_hidden()
    other = page.context.new_page()
    other.goto(f"{server.url}/meter")
    other.tap("text=All heads down")
    expect(other.locator(".reading-form")).to_be_visible()
    other.fill("input[name=value]", "abc")
    other.tap("text=Take it")
    expect(other.locator("#notice")).to_contain_text("number")
    assert other.input_value("input[name=value]") == "abc"  # what was typed is still there
    expect(page.locator(".left-off")).to_be_visible()
    told = page.locator("#left-off")
    expect(told).to_contain_text("Metering was left half way: the heads are down.")
    expect(told.locator("a")).to_have_attribute("href", "/meter")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.tap("text=Back to the light before")
    expect(page.locator(".left-off")).to_be_hidden()
    expect(page.locator(".strip-look")).to_have_text("Loop")


def test_typed_lens_stays_when_it_is_refused(page: Page, server: LiveServer) -> None:
    page.goto(f"{server.url}/rig")
    page.fill("input[name=shutter]", "125")
    page.tap("text=The camera is set so")
    expect(page.locator("#notice")).to_contain_text("write 1/125 or 125 s")
    assert page.input_value("input[name=shutter]") == "125"
    assert page.url == f"{server.url}/rig"
