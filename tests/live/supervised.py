"""A start command in small, for tests: a parent with a lamp keeper and a stand-in web server.

Usage: supervised.py FOLDER PORT WEB, where WEB is the stand-in's Python code; "-" leaves the keeper
out. Each start of the stand-in is noted in FOLDER/starts, with its process id.
"""

import sys
from pathlib import Path

from server.live.child import Child
from server.live.supervise import keeper_answers, living_keeper, supervise
from tests.live.keeper_process import keeper_command, keeper_options

folder, port, web = Path(sys.argv[1]), sys.argv[2], sys.argv[3]
note = f"import os; open({str(folder / 'starts')!r}, 'a').write(f'{{os.getpid()}}\\n')\n"
children = [Child("the web server", [sys.executable, "-c", note + web])]
if port != "-":
    options = keeper_options(folder, int(port))
    keeper = Child(
        "the lamp keeper",
        keeper_command(options),
        outlives=True,
        living=lambda: living_keeper(options[1], options),
        answers=lambda: keeper_answers(options[1]),
    )
    children.insert(0, keeper)
sys.exit(supervise(children))
