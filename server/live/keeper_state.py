"""What the keeper must know again after it was killed: who it is and what is lit.

The file has two lines of JSON: {"cid": UUID, "boot": BOOT} and the last play request as it came
(see `keeper_protocol`), or an empty second line when the light was ended on purpose. The whole
timeline is kept, not only its end, so that a fade cut by the keeper's death goes on where it should
be by then instead of jumping to its end.
"""

import contextlib
import json
import os
import threading
import time
import uuid
from functools import cache
from pathlib import Path

from server.live.keeper_protocol import read_timeline
from server.live.output import Timeline

_WRITE_GAP_S = 0.1  # at most about ten writes a second, whatever is played
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


@cache
def boot_id() -> str:
    """Which run of the machine this is: monotonic moments mean nothing in another. No process
    lives to see a second one."""
    with contextlib.suppress(OSError):
        return _BOOT_ID.read_text().strip()
    return ""


class KeeperState:
    """The state file. Written on a thread of its own, so that a slow disk delays no packet.

    Attributes
    ----------
    cid : uuid.UUID
        Identity of the sender; made and written down on the first start.
    is_new : bool
        No earlier state was found, so no receiver can know this CID.
    request : bytes
        The last play request; empty when there is nothing to show.
    error : str
        Why the file cannot be read or written, in words; empty when well.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.cid = uuid.uuid4()
        self.is_new = True
        self.request = b""
        self.error = ""
        self._same_boot = False
        self._read()
        self._changed = threading.Condition()
        self._dirty = self._closing = False
        if self.is_new:
            self._write(self.request)
        self._thread = threading.Thread(target=self._run, name="keeper-state", daemon=True)
        self._thread.start()

    def timeline(self, now: float) -> Timeline | None:
        """What to show at once, or None. After a reboot only the end of the old timeline counts."""
        if not self.request:
            return None
        try:
            timeline = read_timeline(json.loads(self.request))
        except ValueError as error:
            self.error = f"the state file {self._path} cannot be used: {error}"
            return None
        return timeline if self._same_boot else Timeline(((now, timeline.frames[-1][1]),))

    def remember(self, request: bytes) -> None:
        """Keep a play request (empty: nothing is lit); written soon, the newest one wins."""
        with self._changed:
            self.request = request
            self._dirty = True
            self._changed.notify()

    def close(self) -> None:
        """Write what is still to be written and end the thread."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._thread.join(5.0)

    def _run(self) -> None:
        while True:
            with self._changed:
                while not self._dirty and not self._closing:
                    self._changed.wait()
                if not self._dirty:
                    return
                self._dirty = False
                request = self.request
            self._write(request)
            if not self._closing:
                time.sleep(_WRITE_GAP_S)

    def _read(self) -> None:
        try:
            who, _, request = self._path.read_bytes().partition(b"\n")
            known = json.loads(who)
            self.cid = uuid.UUID(known["cid"])
            self._same_boot = known["boot"] == boot_id() != ""
        except FileNotFoundError:
            return
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            self.error = f"the state file {self._path} cannot be read: {error!r}"
            return
        self.is_new = False
        self.request = request.strip()

    def _write(self, request: bytes) -> None:
        """Replace the file in one step: whoever is killed meanwhile leaves the old one whole."""
        draft = self._path.with_name(self._path.name + ".new")
        who = json.dumps({"cid": str(self.cid), "boot": boot_id()}).encode()
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            draft.write_bytes(who + b"\n" + request + b"\n")
            os.replace(draft, self._path)
        except OSError as error:
            self.error = (
                f"the state file {self._path} cannot be written ({error.strerror}); "
                "the light would not come back by itself after a crash"
            )
        else:
            self.error = ""
