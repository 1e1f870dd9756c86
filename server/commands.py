"""`backup` and `restore`: the two commands beside the start command."""

import argparse
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from server.errors import Refused
from server.settings import CANNOT_START, Settings
from server.store.backup import backup, restore


def run(words: Sequence[str]) -> int:
    """Run one of the two; the exit code says whether it was done."""
    parser = argparse.ArgumentParser(prog="thirdstop")
    kinds = parser.add_subparsers(dest="command", required=True)
    for name, help_text in (
        ("backup", "copy the studio to a new file, also while Thirdstop runs"),
        ("restore", "put such a copy in place; the old database stays beside it"),
    ):
        command = kinds.add_parser(name, help=help_text, description=help_text)
        command.add_argument("file", type=Path, metavar="FILE")
        command.add_argument(
            "--database", type=Path, default=Settings().database, metavar="FILE",
            help="the database (default: %(default)s)",
        )  # fmt: skip
    given = parser.parse_args(words)
    try:
        if given.command == "backup":
            backup(given.database, given.file)
            print(f"Copied {given.database} to {given.file}, and checked the copy.")
        else:
            kept = restore(given.file, given.database, datetime.now())
            print(f"{given.database} is now the copy {given.file}.")
            if kept:
                print(f"The old one is {kept}.")
    except Refused as error:
        print(f"{given.command}: {error}", file=sys.stderr)
        return CANNOT_START
    return 0
