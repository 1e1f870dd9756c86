"""The test command: lint, types, tests; browser tests too when Chromium is there or can be had."""

import os
import shutil
import subprocess
import sys
import tempfile
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
    # hundreds of processes are started, and each would compile every module for itself
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    tests = [python, "-m", "pytest", "-q", *sys.argv[1:]]
    if sys.argv[1:]:
        suites = [tests]
    else:  # all else first, then the light's own timing, with nothing but its like beside it
        processors = os.cpu_count() or 1
        spread = ["--dist", "worksteal", "-n"]
        more = str(processors + 1)  # they wait for browsers and fades half the time
        suites = [
            [*tests, *spread, more, "-m", "not alone"],
            [*tests, *spread, str(processors), "-m", "alone", "tests/live"],
        ]
    lint = subprocess.run([python, "-m", "ruff", "check", "."], cwd=ROOT, check=False)
    if lint.returncode:
        return lint.returncode
    with tempfile.TemporaryFile("w+") as told:  # types are checked meanwhile, told in one piece
        types = subprocess.Popen([python, "-m", "mypy"], cwd=ROOT, stdout=told, stderr=told)
        codes = [subprocess.run(suites[0], cwd=ROOT, check=False).returncode, types.wait()]
        told.seek(0)
        print(f"mypy: {told.read()}", end="", flush=True)
    if not any(codes):
        codes += [subprocess.run(suite, cwd=ROOT, check=False).returncode for suite in suites[1:]]
    return next((code for code in codes if code), 0)


if __name__ == "__main__":
    sys.exit(main())
