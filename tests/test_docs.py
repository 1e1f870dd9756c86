"""Docstrings that a reader may rely on: units, parameters, sources."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FILES = sorted((ROOT / "server").rglob("*.py"))
UNIT = re.compile(r"\[[^\]]+\]\s*$")
ORDER = ("Parameters", "Returns", "Raises", "Notes", "Examples", "References")


def public_functions(source):
    return [
        node
        for node in ast.parse(source).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


FUNCTIONS = [
    pytest.param(function, id=f"{file.stem}.{function.name}")
    for file in sorted((ROOT / "server" / "physics").glob("*.py"))
    for function in public_functions(file.read_text(encoding="utf-8"))
]


def sections(docstring):
    """Section name -> its text, in order."""
    pieces = re.split(r"^(\w+)\n-{3,}\n", docstring, flags=re.MULTILINE)
    return dict(zip(pieces[1::2], pieces[2::2], strict=True))


def faults(function):
    """What a physics function's docstring lacks."""
    docstring = ast.get_docstring(function) or ""
    found = sections(docstring)
    wrong = []
    if not UNIT.search(docstring.partition("\n")[0]):
        wrong.append("first line does not end with a unit in square brackets")
    wrong += [f"no {name}" for name in ("Parameters", "Returns") if not found.get(name, "").strip()]
    if not re.search(r"\w{3}", found.get("References", "")):
        wrong.append("References is missing or empty")
    known = [name for name in found if name in ORDER]
    if known != sorted(known, key=ORDER.index):
        wrong.append(f"sections out of order: {', '.join(known)}")
    names = [a.arg for a in (*function.args.args, *function.args.kwonlyargs)]
    wrong += [
        f"parameter {name} is not described"
        for name in names
        if not re.search(rf"^[\w, ]*\b{name}\b[\w, ]* :", found.get("Parameters", ""), re.MULTILINE)
    ]
    return wrong


@pytest.mark.parametrize("function", FUNCTIONS)
def test_physics_docstring(function):
    assert faults(function) == []


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.relative_to(ROOT).as_posix())
def test_every_module_says_what_it_is(file):
    docstring = ast.get_docstring(ast.parse(file.read_text(encoding="utf-8")))
    assert docstring
    assert docstring.strip()


def test_there_is_something_to_check():
    assert len(FUNCTIONS) > 20


GOOD = '''
def f(a, b):
    """Light. [lx]

    Parameters
    ----------
    a, b : float
        Things. [m]

    Returns
    -------
    float
        Light. [lx]

    References
    ----------
    A handbook, p. 3.
    """
'''


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("Light. [lx]\n\n    Par", "Light.\n\n    Par", "unit"),
        ("    Returns\n    -------\n    float\n        Light. [lx]\n", "", "no Returns"),
        ("    A handbook, p. 3.\n", "", "References"),
        ("a, b :", "a :", "parameter b"),
        ("References\n    ----------", "References:", "References"),
    ],
)
def test_the_check_finds(old, new, said):
    assert faults(public_functions(GOOD)[0]) == []
    assert old in GOOD
    assert any(said in fault for fault in faults(public_functions(GOOD.replace(old, new))[0]))
