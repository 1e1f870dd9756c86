"""The test command: lint, types, tests; browser tests too when Chromium is there or can be had."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
APT = ("chromium", "tshark")
TOOLS = {"chromium": "chromium", "tshark": "tshark"}


def main() -> int:
    """Run everything; the exit code is the first that failed."""
    missing = [package for package in APT if not shutil.which(TOOLS[package])]
    if missing and os.geteuid() == 0 and shutil.which("apt-get"):
        env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        subprocess.run(["apt-get", "update", "-qq"], env=env, check=False)
        subprocess.run(
            ["apt-get", "install", "-y", "-qq", "--no-install-recommends", *missing],
            env=env, check=False,
        )  # fmt: skip
    if not shutil.which("chromium"):
        print("Chromium is not installed: the browser tests are left out (apt install chromium)")
    python = sys.executable
    suites = [[python, "-m", "pytest", "-q", *sys.argv[1:]]]
    if not sys.argv[1:]:  # the light's own timing is measured alone, all else on all processors
        workers = str((os.cpu_count() or 1) + 1)  # they wait for browsers and fades half the time
        side_by_side = ["-n", workers, "--dist", "worksteal", "--ignore", "tests/live"]
        suites = [[*suites[0], *side_by_side], [*suites[0], "tests/live"]]
    for command in ([python, "-m", "ruff", "check", "."], [python, "-m", "mypy"], *suites):
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
