"""Who may import whom: the table of the architecture, walked with `ast`."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FILES = sorted((ROOT / "server").rglob("*.py"))

# Part of the server -> the other parts it may import; its own modules are always allowed.
MAY_IMPORT = {
    "errors": set(),
    "paths": {"errors"},
    "settings": {"errors", "paths"},
    "certificate": {"errors"},
    "physics": {"errors"},
    "studio": {"physics", "errors"},
    "store": {"studio", "errors"},
    "live": {"studio", "physics", "errors"},
    "preview": {"studio", "physics", "errors"},
    "web": {
        "store",
        "live",
        "preview",
        "studio",
        "physics",
        "errors",
        "settings",
        "paths",
        "certificate",
    },
    "app": None,  # the only place that wires everything
    "serve": None,
    "commands": {"store", "errors", "settings"},
    "__main__": None,
    "__init__": set(),
}
STANDARD_LIBRARY_ONLY = {"physics", "studio"}
NO_CLOCK_CHANCE_OR_LOG = {"time", "random", "secrets", "logging"}
HEAVY = {"numpy", "PIL"}


def imported(tree: ast.AST, package: str) -> set[str]:
    """Every module that a tree imports, absolute, `from a import b` as both `a` and `a.b`."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1]
            base = ".".join(
                [*(above if node.level else []), *([node.module] if node.module else [])]
            )
            names.add(base)
            names.update(f"{base}.{alias.name}" for alias in node.names)
    return names


def heavy_allowed(path: str, part: str) -> set[str]:
    if part == "preview":
        return HEAVY
    return {"numpy"} if path == "server/studio/solve.py" else set()


def faults(path: str, source: str) -> list[str]:
    """What a file imports and may not, each as `file: import`."""
    parts = path.removesuffix(".py").split("/")
    part = parts[1]
    allowed = MAY_IMPORT.get(part, set())
    heavy = heavy_allowed(path, part)
    wrong = set()
    for name in imported(ast.parse(source), ".".join(parts[:-1])):
        top, *below = name.split(".")
        if top == "server":
            target = below[0] if below else ""
            if target == "app" and part not in ("app", "serve"):
                wrong.add(name)
            if target and target != part and allowed is not None and target not in allowed:
                wrong.add(name)
        elif top in HEAVY:
            if top not in heavy:
                wrong.add(name)
        elif part in STANDARD_LIBRARY_ONLY and (
            top not in sys.stdlib_module_names or top in NO_CLOCK_CHANCE_OR_LOG
        ):
            wrong.add(name)
    return [f"{path}: {name}" for name in sorted(wrong)]


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.relative_to(ROOT).as_posix())
def test_imports(file):
    assert faults(file.relative_to(ROOT).as_posix(), file.read_text(encoding="utf-8")) == []


def test_every_part_is_in_the_table():
    parts = {f.relative_to(ROOT / "server").parts[0].removesuffix(".py") for f in FILES}
    assert "physics" in parts
    assert parts - MAY_IMPORT.keys() == set()


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("server/physics/x.py", "import fastapi"),
        ("server/physics/x.py", "import numpy as np"),
        ("server/physics/x.py", "import time"),
        ("server/physics/x.py", "from server.studio.head import Head"),
        ("server/physics/x.py", "from ..studio import head"),
        ("server/physics/x.py", "from .. import studio"),
        ("server/physics/x.py", "def f():\n    from server import live"),
        ("server/studio/nudge.py", "import numpy"),
        ("server/studio/solve.py", "import scipy.optimize"),
        ("server/studio/solve.py", "from PIL import Image"),
        ("server/store/looks.py", "from server.live.engine import Engine"),
        ("server/store/looks.py", "from server.physics import stops"),
        ("server/live/engine.py", "import server.store"),
        ("server/preview/x.py", "from server.web.views import View"),
        ("server/web/x.py", "from server.app import create_app"),
        ("server/web/x.py", "import numpy"),
        ("server/web/routes/x.py", "from ... import app"),
        ("server/settings.py", "from server import app"),
    ],
)
def test_the_check_finds(path, source):
    assert faults(path, source)


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("server/physics/x.py", "from math import log2\nfrom server.errors import OutOfRange"),
        ("server/physics/x.py", "from .stops import light_factor\nfrom ..errors import OutOfRange"),
        ("server/studio/solve.py", "import numpy as np\nfrom server.physics import stops"),
        ("server/preview/x.py", "import numpy\nfrom PIL import Image\nfrom .face import skin"),
        (
            "server/web/routes/x.py",
            "import fastapi\nfrom ..views import View\nfrom server import live",
        ),
        ("server/serve.py", "from server.app import create_app"),
    ],
)
def test_the_check_lets_through(path, source):
    assert faults(path, source) == []
