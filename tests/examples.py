"""How many random examples the longest property tests try.

A thousand with `EXAMPLES=all` in the environment, by hand and before a release; each time the tests
run a quarter of them, always the same ones where a test says so.
"""

import os

MANY = 1000 if os.environ.get("EXAMPLES") == "all" else 250
