"""One look into the database by the start command, which imports nothing heavy."""

import sqlite3
from contextlib import closing
from pathlib import Path

from server.studio.room import SIGNAL_LOSS


def signal_loss(database: Path) -> str:
    """What the open room's dimmer does without signal; "not tested" when that cannot be read."""
    asked = "SELECT json_extract(document, '$.room.signal_loss') FROM rig WHERE is_open"
    try:
        with closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True, timeout=0.2)) as file:
            row = file.execute(asked).fetchone()
    except sqlite3.Error:
        row = None
    return row[0] if row and row[0] in SIGNAL_LOSS else SIGNAL_LOSS[0]
