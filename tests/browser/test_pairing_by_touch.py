"""A second device is let in by six digits, asks, is granted, and is sent away at once.

It comes by this machine's own address in the network, which is not "this machine" to the server.
"""

import http.client
import time
import urllib.parse

from playwright.sync_api import Page, expect

from tests.browser.conftest import Started


class Assistant:
    """Another device: plain HTTP with a cookie, from an address that is not this machine's own."""

    def __init__(self, host: str, port: int) -> None:
        self._where = (host, port)
        self._cookie = ""

    def send(self, method: str, path: str, **fields: str) -> tuple[int, str]:
        """One request; the cookie it is given is kept."""
        line = http.client.HTTPConnection(*self._where, timeout=5)
        body = urllib.parse.urlencode(fields)
        headers = {"Cookie": self._cookie, "Accept": "text/html"}
        if body:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        line.request(method, path, body or None, headers)
        answer = line.getresponse()
        given = answer.getheader("Set-Cookie") or ""
        if given:
            self._cookie = given.split(";")[0]
        text = answer.read().decode()
        line.close()
        return answer.status, text


def test_let_in_asked_granted_sent_away(page: Page, open_server: Started) -> None:
    page.goto(f"{open_server.url}/rig/devices")
    page.get_by_role("button", name="It may ask").tap()
    code = page.locator(".code").inner_text()
    expect(page.locator(".scan svg")).to_be_visible()
    ana = Assistant(open_server.address, open_server.port)
    assert ana.send("GET", "/board")[0] == 401
    assert ana.send("POST", "/pair", code=code, name="Ana")[0] == 303
    page.goto(f"{open_server.url}/")
    page.tap('[data-key="4"]')
    page.goto(f"{open_server.url}/board")
    status, text = ana.send("POST", "/live/nudge", group="fill", thirds="1")
    assert status in (202, 303), text
    ask = page.locator(".ask")
    expect(ask).to_contain_text("Ana asks: Fill ▲⅓")
    ask.get_by_role("button").first.tap()
    expect(page.locator("#state-strip .strip-told")).to_contain_text("Ana")
    page.goto(f"{open_server.url}/rig/devices")
    stream = http.client.HTTPConnection(open_server.address, open_server.port, timeout=10)
    stream.request("GET", "/api/events", headers={"Cookie": ana._cookie})
    events = stream.getresponse()
    assert events.status == 200
    page.get_by_role("button", name="End the pairing of Ana").tap()
    expect(page.locator(".cards")).not_to_contain_text("Ana")
    began = time.monotonic()
    while events.read(1024):  # the open stream ends, it does not go on telling
        assert time.monotonic() - began < 8
    stream.close()
    assert ana.send("GET", "/board")[0] == 401
