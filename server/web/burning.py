"""Counts the hours that heads give light, for the lamp log. Not to the second: minute by minute."""

import logging
import time
from collections.abc import Callable

from sqlalchemy import Engine as Database
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from server.live.engine import Engine
from server.store.burning import add_lit

PERIOD_S = 60.0
_log = logging.getLogger(__name__)


class Burning:
    """Adds the time since the last look to every head that is lit on a real line, or by hand."""

    def __init__(
        self, engine: Engine, database: Database, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._engine = engine
        self._database = database
        self._clock = clock
        self._last = clock()
        self._hours: dict[tuple[int, str], float] = {}

    def count(self) -> None:
        """Count up to now and store it; what cannot be stored is kept for the next time."""
        moment = self._clock()
        # a machine that slept did not count: its lamps may have been off
        passed_s, self._last = min(moment - self._last, 2 * PERIOD_S), moment
        now = self._engine.now()
        if now.record.known and (now.output.live or "by hand" in now.output.kind):
            for head in now.rig.heads:
                if now.setting.output(head) > 0:
                    key = now.record.room_id, head.name
                    self._hours[key] = self._hours.get(key, 0.0) + passed_s / 3600
        if not self._hours:
            return
        try:
            with Session(self._database) as session:
                add_lit(session, self._hours)
        except SQLAlchemyError as error:
            _log.warning("hours of lamps could not be stored: %s", error)
        else:
            self._hours = {}
