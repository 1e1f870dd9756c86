"""Looks of the boathouse carried to a second room by touch, stored, and taken out again."""

import json
import urllib.request

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import LiveServer


def call(server: LiveServer, method: str, path: str, body: object = None):
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(
        server.url + path, data, {"content-type": "application/json"}, method=method
    )
    with urllib.request.urlopen(request) as answer:
        text = answer.read()
    return json.loads(text) if path.startswith("/api/") else text


def another_room(server: LiveServer) -> None:
    """The boathouse's copy with other throws, another kicker's name and no background head."""
    call(server, "POST", "/rooms/1/duplicate", {})
    call(server, "POST", "/api/rooms/2/open")
    rig = call(server, "GET", "/api/rig")
    rig["room"]["name"] = "Old mill"
    rig["heads"] = [h for h in rig["heads"] if h["name"] != "Background"]
    for head in rig["heads"]:
        factor = {"Key": 1.1, "Fill": 0.85}.get(head["name"], 1.0)
        head["placement"]["distance_m"] *= factor
        head["placement"]["rise_m"] *= factor
        head["name"] = {"Kicker": "Edge"}.get(head["name"], head["name"])
    call(server, "PUT", "/api/rig", rig)


def test_looks_are_carried_chosen_stored_and_taken_out(page: Page, server: LiveServer) -> None:
    another_room(server)
    page.goto(f"{server.url}/library")
    page.tap("text=Carry from another room")
    expect(page.locator("h2").first).to_contain_text("Carry looks to Old mill")
    expect(page.locator(".carry-look")).to_have_count(12)
    assert Axe().run(page).violations_count == 0

    loop = page.locator(".carry-look", has_text="Loop")
    expect(loop.locator(".carry-verdict")).to_contain_text("not reached")
    expect(loop).to_contain_text("Nobody stands for Background")
    loop.locator("summary").tap()
    expect(loop.locator(".carry-ways")).to_contain_text("at background")
    assert not loop.locator("input").is_checked()
    loop.locator(".carry-pick").tap()  # as it is, then
    assert loop.locator("input").is_checked()

    page.locator(".stand-for > summary").tap()
    page.locator("select[name=to5]").select_option("")
    page.tap("text=Work it out so")
    expect(page.locator("select[name=to5]")).to_have_value("")
    page.locator(".stand-for > summary").tap()
    page.locator("select[name=to5]").select_option("Edge")
    page.tap("text=Work it out so")
    page.locator(".carry-look", has_text="Loop").locator(".carry-pick").tap()
    chosen = page.locator(".carry-pick input:checked").count()
    page.tap("text=Store the chosen looks here")
    expect(page.locator(".undo-delete").first).to_contain_text(f"{chosen} look")
    stored = [k for k in call(server, "GET", "/api/looks") if k["room"]["name"] == "Old mill"]
    assert len(stored) == chosen
    assert all(k["notes"].startswith("Carried from Boathouse") for k in stored)
    assert Axe().run(page).violations_count == 0

    page.tap("text=Undo: take them out again")
    expect(page.locator("h2").first).to_contain_text("Looks of this room")
    left = call(server, "GET", "/api/looks")
    assert {k["room"]["name"] for k in left} == {"Boathouse"}
