"""One server a database: a lock that the system lets go of, however its holder ends."""

import fcntl
import os
from pathlib import Path

from server.errors import Refused


def lock_of(database: Path) -> Path:
    """The file that says a server works with this database, while it is locked."""
    real = database.resolve()  # one lock, whatever name it is reached by
    return real.with_name(real.name + "-lock")


def take_lock(database: Path) -> int:
    """Lock the database for one process; let go of by the system however that ends. [open file]

    Raises
    ------
    Refused
        Another process has it, or its folder cannot be written.
    """
    try:
        lock = os.open(lock_of(database), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(lock)
        raise Refused(
            f"Thirdstop is running with {database} already: stop it first, or choose another file"
        ) from None
    except OSError as error:
        raise Refused(f"{database.parent} cannot be written ({error.strerror})") from None
    return lock
