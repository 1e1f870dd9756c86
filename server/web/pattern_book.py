"""The pattern of every light that was asked about, and of every look for the Library's filter."""

import logging
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from sqlalchemy import Engine as Database
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from server.store.patterns import known_patterns, put_pattern
from server.studio.pattern import Pattern
from server.web.lights import Light

if TYPE_CHECKING:
    from server.preview.subject import Keys

_log = logging.getLogger(__name__)


class PatternBook:
    """Patterns by what they are read from; those of looks are kept in the database."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._lock = threading.Lock()
        self._known: dict[str, Pattern | None] = {}
        self._kept: dict[int, str] = {}  # look -> what its kept pattern was read from
        self._waiting: dict[str, set[int]] = {}

    def open(self) -> None:
        """Recall what was read in earlier sittings."""
        with Session(self._database) as session:
            for look_id, read_from, pattern in known_patterns(session):
                self._known[read_from] = pattern
                self._kept[look_id] = read_from

    def pattern(
        self, light: Light, ask: Callable[["Keys"], None], look_id: int | None = None
    ) -> Pattern | None:
        """The pattern of a light, None while it is not known. Never waits: it is asked for."""
        keys = light.keys
        if keys is None:
            return None
        to_keep = look_id is not None and self._kept.get(look_id) != keys.name
        if keys.name not in self._known or (to_keep and self._known[keys.name] is not None):
            with self._lock:
                waiting = self._waiting.setdefault(keys.name, set())
                if look_id is not None:
                    waiting.add(look_id)
            ask(keys)
        return self._known.get(keys.name)

    def read(self, keys: "Keys", pattern: Pattern | None) -> None:
        """A pattern was read, or could not be: remember it, and keep it with its looks."""
        self._known[keys.name] = pattern
        with self._lock:
            looks = sorted(self._waiting.pop(keys.name, ()))
        if pattern is None or not looks:
            return
        try:
            with Session(self._database) as session:
                put_pattern(session, looks, keys.name, pattern)
            self._kept.update(dict.fromkeys(looks, keys.name))
        except SQLAlchemyError as error:
            _log.warning("a pattern could not be kept: %s", error)
