"""Who is let in: signed cookies, six-digit codes, the devices that are known right now."""

import hashlib
import hmac
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from sqlalchemy import Engine as Database
from sqlmodel import Session

from server.errors import OutOfRange, Refused
from server.store import devices as store
from server.store.devices import Device
from server.store.secrets import new_pairing_token, pairing_token, signing_key

HERE = Device("here", "this machine", "operate")
"""The machine that runs the server needs no pairing."""
CODE_LIVES_S = 600.0
WRONG_TRIES = 5
TRIES_A_MINUTE = 10
A_YEAR_S = 365 * 24 * 3600
COOKIE = "thirdstop"


@dataclass
class _Code:
    digits: str
    role: str
    until: float
    tries_left: int = WRONG_TRIES


class Doors:
    """Lets devices in and knows them again. Methods may be called from any thread."""

    def __init__(self, database: Database, clock: Callable[[], float] = time.monotonic) -> None:
        self._database = database
        self._clock = clock
        self._lock = threading.Lock()
        self._code: _Code | None = None
        self._tries: list[float] = []
        with Session(database) as session:
            self._key = signing_key(session)
            self._token = pairing_token(session)
            self._known = {d.device_id: d for d in store.devices(session)}

    @property
    def known(self) -> tuple[Device, ...]:
        """All devices that are let in, the newest first."""
        return tuple(self._known.values())

    @property
    def token(self) -> str:
        """What the address to scan carries."""
        return self._token

    def renew_token(self) -> None:
        """Another address to scan: at each start, and when a device is sent away."""
        with self._lock, Session(self._database) as session:
            self._token = new_pairing_token(session)

    def cookie(self, device: Device) -> str:
        """What the device shows from now on: its id, signed."""
        return f"{device.device_id}.{self._signature(device.device_id)}"

    def device_of(self, cookie: str) -> Device | None:
        """The device that shows this cookie; None for a forged or an ended one."""
        device_id, _, signature = cookie.partition(".")
        if not hmac.compare_digest(signature.encode(), self._signature(device_id).encode()):
            return None
        return self._known.get(device_id)

    def now(self, device: Device) -> Device:
        """A device as it is called, and what it may do, by now."""
        return self._known.get(device.device_id, device)

    def still(self, device: Device) -> bool:
        """Whether a device is let in still."""
        return device is HERE or device.device_id in self._known

    def _signature(self, device_id: str) -> str:
        return hmac.new(self._key, device_id.encode(), hashlib.sha256).hexdigest()

    def let_in(self, name: str = "", role: str = "operate") -> Device:
        """A new device, named by itself or counted."""
        with self._lock, Session(self._database) as session:
            device = store.add_device(session, name or f"Tablet {len(self._known) + 1}", role)
            self._known = {device.device_id: device, **self._known}
            return device

    def let_in_by_token(self) -> Device:
        """A device that scanned the address: it may do what the next device was chosen to do."""
        return self.let_in(role=self.code_role)

    def change(self, device_id: str, name: str, role: str) -> Device:
        """Another name or role for a device."""
        with self._lock, Session(self._database) as session:
            device = store.change_device(session, device_id, name, role)
            self._known = {**self._known, device_id: device}
            return device

    def rename(self, device: Device, name: str) -> Device:
        """A device gives itself a name."""
        if device is HERE:
            raise Refused("this machine has its name already")
        return self.change(device.device_id, name, device.role)

    def end(self, device_id: str) -> None:
        """End a device's pairing, at once."""
        with self._lock, Session(self._database) as session:
            store.end_device(session, device_id)
            self._known = {k: d for k, d in self._known.items() if k != device_id}
        self.renew_token()  # or it comes back by the address it scanned

    # -- six digits ----------------------------------------------------------------------------

    @property
    def code_role(self) -> str:
        """What the device that uses the present code may do."""
        return self._code.role if self._code else "operate"

    def code(self, role: str = "") -> str:
        """Six digits that let one device in within ten minutes; the same until used or spent."""
        if role and role not in store.ROLES:
            raise OutOfRange(f"role must be one of {', '.join(store.ROLES)}, got {role!r:.40}")
        with self._lock:
            now = self._clock()
            if self._code is None or now >= self._code.until:
                self._code = _Code(f"{secrets.randbelow(10**6):06}", "operate", now + CODE_LIVES_S)
            self._code.role = role or self._code.role
            return self._code.digits

    def pair(self, digits: str, name: str) -> Device:
        """Let a device in by its six digits. Refused when they are wrong, old or guessed at."""
        plain = "".join(digits.split())
        if not (len(plain) == 6 and plain.isascii() and plain.isdigit()):
            raise OutOfRange(f"code must be six digits, got {digits!r:.20}")
        store.device_name(name)  # before the code is spent
        with self._lock:
            now = self._clock()
            self._tries = [t for t in self._tries if now - t < 60]
            if len(self._tries) >= TRIES_A_MINUTE:
                raise Refused("too many tries: wait a minute, then ask for a new code")
            self._tries.append(now)
            code = self._code
            if code is None or now >= code.until:
                raise Refused("there is no code now: ask for one where Thirdstop runs")
            if not hmac.compare_digest(code.digits.encode(), plain.encode()):
                code = replace(code, tries_left=code.tries_left - 1)
                self._code = code if code.tries_left > 0 else None
                raise Refused("this is not the code; after five wrong ones a new one is needed")
            self._code = None
            role = code.role
        return self.let_in(name, role)
