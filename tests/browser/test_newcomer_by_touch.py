"""A newcomer enters four heads from nothing and lights them, by touch alone.

How long it would take a hand is reckoned, not timed: the keystroke-level model of Card, Moran and
Newell ("The Keystroke-Level Model for User Performance Time with Interactive Systems", CACM 23(7),
1980; values from memory) gives 1.1 s to point, 1.35 s to make up one's mind, 0.2 s for a press,
and 0.75 s a key for one who types codes and numbers, which a screen's keyboard is taken to cost.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import LiveServer, Started
from tests.browser.test_by_touch import state

TAP_S = 1.1 + 1.35 + 0.2
KEY_S = 0.75
FOUR_MINUTES_S = 240
SMALL_KEY_PX = 62
HEADS = [
    ("Key", {"watts": "300", "azimuth_deg": "40", "distance_m": "2.2", "rise_m": "0.9"}),
    ("Fill", {"watts": "150", "azimuth_deg": "-35", "distance_m": "2.8"}),
    ("Rim", {"azimuth_deg": "155", "distance_m": "1.8"}),
    ("Background", {"address": "12", "distance_m": "1.1"}),
]


class Hand:
    """Taps and types, and keeps count of both."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = self.keys = 0

    def tap(self, key: Locator) -> None:
        """One tap on something large enough to be hit."""
        box = key.bounding_box()
        assert box is not None
        assert box["height"] >= SMALL_KEY_PX
        key.tap()
        self.taps += 1

    def type(self, field: Locator, text: str) -> None:
        """A tap on a field, and the keys of the screen's keyboard: nothing is taken back."""
        self.tap(field)
        self.page.wait_for_timeout(50)
        self.page.keyboard.type(text)
        self.keys += len(text)

    @property
    def seconds(self) -> float:
        """What it would take a hand."""
        return self.taps * TAP_S + self.keys * KEY_S


@pytest.fixture
def nothing(tmp_path: Path, faces: Path) -> Iterator[LiveServer]:
    """A studio with nothing in it, really served."""
    live = Started(tmp_path, faces, "--empty")
    yield live
    live.close()


def field(page: Page, name: str) -> Locator:
    return page.locator(f'.fields [name="{name}"]')


def test_four_heads_from_nothing(page: Page, nothing: LiveServer) -> None:
    hand = Hand(page)
    page.goto(nothing.url)
    hand.tap(page.get_by_role("link", name="Rig", exact=True).first)
    hand.tap(page.get_by_role("link", name="Circuits"))
    hand.type(page.get_by_label("New circuit name").first, "Wall")
    hand.type(page.get_by_label("New breaker, amps").first, "16")
    hand.tap(page.get_by_role("button", name="Save the room"))
    expect(page.locator(".first-steps")).to_contain_text("✓ entered")
    page.wait_for_load_state()
    assert Axe().run(page).violations_count == 0
    hand.tap(page.get_by_role("link", name="Heads"))
    for number, (name, values) in enumerate(HEADS):
        expect(field(page, "name")).to_have_value(name)
        if not number:
            page.wait_for_load_state()
            found = Axe().run(page)
            assert found.violations_count == 0, found.generate_report()
        for each, text in values.items():
            hand.type(field(page, each), text)
            expect(field(page, each)).to_have_value(text)
        last = name == HEADS[-1][0]
        hand.tap(page.get_by_role("button", name="Save" if last else "Save, and another head",
                                  exact=True))  # fmt: skip
        page.wait_for_url("**/rig#heads" if last else "**/rig/heads/new")
        expect(page.locator(".strip-told")).to_contain_text(f"{name} added")
    told = {h["name"]: h for h in page.request.get(f"{nothing.url}/api/rig").json()["heads"]}
    assert [(n, h["role"], h["address"]) for n, h in told.items()] == [
        ("Key", "key", 1), ("Fill", "fill", 2), ("Rim", "rim", 3), ("Background", "background", 12)
    ]  # fmt: skip
    assert {h["circuit"] for h in told.values()} == {"Wall"}
    assert [h["watts"] for h in told.values()] == [300, 150, 150, 150]
    assert told["Fill"]["placement"]["azimuth_deg"] == -35
    hand.tap(page.get_by_role("link", name="Light the sitter"))
    for group, presses in (("key", 4), ("fill", 3), ("edge", 1), ("background", 1)):
        for _ in range(presses):
            hand.tap(page.locator(f".row:has(#row-readout-{group}) .row-up .key"))
    expect(page.locator(".strip-ratio .big")).to_contain_text(":1")
    hand.tap(page.locator(".thumb-keep .key"))
    expect(page.locator("#notice")).to_contain_text("Kept as")
    lit = state(nothing)
    assert all(h["output"] > 0 for h in lit["heads"])
    assert lit["ratio"]["value"] > 1
    assert hand.seconds < FOUR_MINUTES_S, (hand.taps, hand.keys, hand.seconds)
    print(f"{hand.taps} taps, {hand.keys} keys: about {hand.seconds:.0f} s")


def test_a_second_room_by_touch(page: Page, server: LiveServer) -> None:
    hand = Hand(page)
    page.goto(f"{server.url}/rig")
    hand.tap(page.get_by_role("link", name="Rooms"))
    hand.type(page.get_by_label("Name of the new room"), "Old mill")
    hand.tap(page.get_by_role("button", name="Make it"))
    hand.tap(page.get_by_role("button", name="Open Old mill"))
    expect(page.locator(".room-line strong")).to_have_text("Old mill")
    expect(page.locator(".first-steps")).to_be_visible()
    hand.tap(page.get_by_role("link", name="Rooms"))
    expect(page.get_by_role("button", name="Duplicate Boathouse")).to_be_visible()
    page.wait_for_load_state()
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    hand.tap(page.get_by_role("button", name="Duplicate Boathouse"))
    expect(page.get_by_role("button", name="Open Boathouse 2")).to_be_visible()
    hand.tap(page.get_by_role("button", name="Archive Boathouse 2"))
    hand.tap(page.get_by_role("button", name="Undo: bring it back"))
    hand.tap(page.get_by_role("button", name="Open Boathouse", exact=True))
    expect(page.locator(".room-line strong")).to_have_text("Boathouse")
    assert state(server)["room"]["name"] == "Boathouse"


def test_another_tablet_hears_that_the_room_was_changed(page: Page, server: LiveServer) -> None:
    page.request.post(f"{server.url}/rooms/1/duplicate")
    page.goto(server.url)
    told = page.locator("[data-other-room]")
    page.tap('[data-key="4"]')
    expect(page.locator("#state-strip .strip-look")).to_have_text("Loop")
    expect(told).to_be_hidden()
    assert page.request.post(f"{server.url}/api/rooms/2/open").ok  # from elsewhere
    expect(told).to_be_visible()
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    Hand(page).tap(told.get_by_role("link"))
    expect(page.locator(".tile-room").first).to_have_text("of the room Boathouse")
    expect(told).to_be_hidden()


def test_a_whole_studio_in_and_out_by_touch(page: Page, server: LiveServer, tmp_path: Path) -> None:
    hand = Hand(page)
    page.goto(f"{server.url}/rooms")
    with page.expect_download() as coming:
        hand.tap(page.get_by_role("link", name="Export the whole studio"))
    file = tmp_path / "studio.json"
    coming.value.save_as(file)
    page.set_input_files('input[name="document"]', file)
    hand.tap(page.get_by_role("button", name="Look at it"))
    expect(page.locator("main")).to_contain_text("In place of")
    page.wait_for_load_state()
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    hand.tap(page.get_by_role("button", name="Put it in place"))
    page.wait_for_url("**/rooms")
    expect(page.locator("main")).to_contain_text("Archived")
    file.write_text("a shopping list")
    page.set_input_files('input[name="document"]', file)
    hand.tap(page.get_by_role("button", name="Look at it"))
    expect(page.locator("main")).to_contain_text("this is no document of a whole studio")
