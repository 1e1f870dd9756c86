"""A pattern in words, what it is found by, and the name it gives a kept look."""

from itertools import pairwise

import pytest

from server.studio.head import NAME_LENGTH
from server.studio.pattern import PATTERNS, SIDES, Pattern, kept_name

BETWEEN = Pattern("loop", "short", ("loop", "Rembrandt"))


@pytest.mark.parametrize(
    ("pattern", "label"),
    [
        (Pattern("butterfly"), "butterfly"),
        (Pattern("Rembrandt", "short"), "Rembrandt, short"),
        (BETWEEN, "between loop and Rembrandt, short"),
        (Pattern("none"), "no key light"),
    ],
)
def test_label(pattern: Pattern, label: str) -> None:
    assert pattern.label == label


def test_near_a_boundary_a_look_is_found_by_both_names() -> None:
    assert BETWEEN.words == {"loop", "Rembrandt", "short"}
    assert Pattern("none").words == set()


@pytest.mark.parametrize(
    ("pattern", "name"),
    [
        (Pattern("Rembrandt", "short"), "Rembrandt, short · 4:1 · f/5.6"),
        (Pattern("loop"), "Loop · 4:1 · f/5.6"),
        (BETWEEN, "Loop–Rembrandt, short · 4:1 · f/5.6"),
        (Pattern("none"), ""),
        (None, ""),
    ],
)
def test_kept_name(pattern: Pattern | None, name: str) -> None:
    assert kept_name(pattern, "4:1", "f/5.6") == name


def test_a_kept_name_is_a_name_or_none() -> None:
    pairs = [None, *pairwise(PATTERNS)]
    names = [
        kept_name(Pattern(name, side, between), ratio, "f/5.6")
        for name in PATTERNS
        for side in ("", *SIDES)
        for between in pairs
        for ratio in ("4:1", "3.5:1", "no fill", "key off the face")
    ]
    assert all(len(name) <= NAME_LENGTH for name in names)
    assert sum(not name for name in names) < len(names) / 3
