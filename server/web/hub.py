"""Every change to every open page: a mailbox a page, in which only the newest moment waits."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from secrets import token_hex

from server.live.now import Now
from server.web.state import state_text

HEARTBEAT_S = 1.0
REFRESH_S = 0.15


class Hub:
    """Hands `Now` from the engine's thread to the pages' streams."""

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._boxes: set[asyncio.Queue[Now | None]] = set()
        self._closed = False
        self._refreshing = False
        self._arrival: asyncio.TimerHandle | None = None
        self.run = token_hex(6)
        """Which run of the server this is."""

    def open(self) -> None:
        """Remember the running loop; called once at start."""
        self._loop = asyncio.get_running_loop()

    def close(self) -> None:
        """End every stream, so that a stopping server does not wait for its pages."""
        self._closed = True
        if self._loop:
            self._loop.call_soon_threadsafe(self._put, None)

    def publish(self, now: Now) -> None:
        """Tell a change; may be called from any thread."""
        if self._loop is None or self._closed:
            return
        try:  # most changes come from the loop itself, which need not be woken
            here = asyncio.get_running_loop() is self._loop
        except RuntimeError:
            here = False
        if here:
            self._changed(now)
        else:
            self._loop.call_soon_threadsafe(self._changed, now)

    def _changed(self, now: Now) -> None:
        self._put(now)
        if self._arrival:
            self._arrival.cancel()
            self._arrival = None
        if now.fading and self._loop:
            # once more when the light has arrived, so that "fading" goes away
            left_s = now.fade.all_left_s(self._loop.time())
            self._arrival = self._loop.call_later(left_s + 0.02, self._arrived)

    def refresh(self) -> None:
        """Draw the pages' parts anew, soon; may be called from any thread, as often as one likes:
        what comes within a moment is told once."""
        if self._loop is not None and not self._closed and not self._refreshing:
            self._refreshing = True
            self._loop.call_soon_threadsafe(self._loop.call_later, REFRESH_S, self._refresh)

    def _refresh(self) -> None:
        self._refreshing = False
        if not self._closed:
            self._put(self._reread())

    def on_arrival(self, reread: Callable[[], Now]) -> None:
        """How to read the moment again when a fade has ended."""
        self._reread = reread

    def _arrived(self) -> None:
        if not self._closed:
            now = self._reread()
            if not now.fading:
                self._put(now)

    def _put(self, now: Now | None) -> None:
        for box in self._boxes:
            if box.full():
                box.get_nowait()
            box.put_nowait(now)

    def nudge(self) -> None:
        """Tell every page the moment again, at once: what is beside the light has changed."""
        if self._loop is not None and not self._closed:
            self._loop.call_soon_threadsafe(lambda: self._put(self._reread()))

    async def stream(
        self,
        first: Now,
        render: Callable[[Now], str] | None = None,
        aside: Callable[[], str] = str,
        allowed: Callable[[], bool] = lambda: True,
    ) -> AsyncIterator[str]:
        """Server-sent events for one page: the state at once, then every change, and a heartbeat
        each second. With `render`, a `page` event carries the parts of that page as HTML; `aside`
        gives more parts, sent when they differ. The stream ends when it is no longer `allowed`."""
        said = ""
        box: asyncio.Queue[Now | None] = asyncio.Queue(1)
        self._boxes.add(box)
        try:
            yield f"retry: 500\n\n{_event('run', self.run)}"
            now: Now | None = first
            while now is not None and not self._closed and allowed():
                yield f"event: state\ndata: {state_text(now)}\n\n"  # JSON is one line
                if render:
                    yield _event("page", render(now))
                revision = now.revision
                while True:
                    if (parts := aside()) != said:
                        said = parts
                        yield _event("page", parts)
                    try:
                        now = await asyncio.wait_for(box.get(), HEARTBEAT_S)
                        break
                    except TimeoutError:
                        yield _event("heartbeat", json.dumps({"revision": revision}))
                        if self._closed or not allowed():
                            return
        finally:
            self._boxes.discard(box)


def _event(name: str, data: str) -> str:
    lines = "".join(f"data: {line}\n" for line in data.splitlines() or [""])
    return f"event: {name}\n{lines}\n"
