"""Photometric files: hand-worked tables, what is refused and where, mutations, round trips."""

import random
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.lm63 import MOST_ANGLES, parse_lm63
from server.physics.photometry import illuminance_lx
from tests.physics.lm63_files import HEADER, ROUND, written

LINES = ROUND.split("\n")
TILT, MAIN, BALLAST, VERTICAL, HORIZONTAL, CANDELA = range(7, 13)


def test_a_file_worked_by_hand() -> None:
    file = parse_lm63(ROUND)
    assert file.edition == "IESNA:LM-63-2002"
    assert file.said("LUMINAIRE") == "a bench lamp with a lens"  # [MORE] goes on
    assert (file.lamps, file.lumens_per_lamp, file.watts) == (1, None, 575.0)
    assert (file.width_m, file.length_m, file.height_m) == (0.25, 0.25, 0.0)
    assert file.table.vertical_deg == (0.0, 10.0, 20.0, 90.0)
    assert file.table.candelas == ((9000.0, 4500.0, 900.0, 0.0),)
    # halfway between 10 and 20 degrees: (4500 + 900) / 2
    assert file.table.candela(15.0, 0.0) == pytest.approx(2700.0)
    assert file.table.toward(15.0, 123.0) == pytest.approx(2700.0)  # round its axis


def test_candela_to_lux_by_the_inverse_square_law() -> None:
    """CIE e-ILV 17-25-104: 9000 cd at 3 m give 1000 lx; 15 degrees off, 2700 / 9 = 300 lx."""
    table = parse_lm63(ROUND).table
    assert illuminance_lx(table.toward(0.0), 3.0) == pytest.approx(1000.0)
    assert illuminance_lx(table.toward(15.0), 3.0) == pytest.approx(300.0)


def test_feet_relative_photometry_commas_and_records_over_lines() -> None:
    text = "\r\n".join(
        (
            "IES:LM-63-2019", *HEADER[1:], "TILT=NONE",
            "2, 8000, 1.5, 3, 2,", "1, 1, 1, 2, -1", "0.8 1.1 1200", "0, 45,", "90", "0 90",
            "1000 400", "0", "800,600 , 0", "", "",
        )
    )  # fmt: skip
    file = parse_lm63(text)
    assert (file.lamps, file.lumens_per_lamp) == (2, 8000.0)
    # 1 ft = 0.3048 m exactly (international foot); a negative measure keeps its sign
    assert (file.width_m, file.length_m, file.height_m) == (0.3048, 0.6096, -0.3048)
    # x 1.5 x 0.8 = x 1.2
    assert file.table.candelas[0] == pytest.approx((1200.0, 480.0, 0.0))
    assert file.table.candelas[1] == pytest.approx((960.0, 720.0, 0.0))


def test_tilt_include_is_read() -> None:
    lines = [*LINES]
    lines[TILT : TILT + 1] = ["TILT=INCLUDE", "1", "3", "0 45 90", "1 0.9", "0.8"]
    file = parse_lm63("\n".join(lines))
    assert file.tilt == ((0.0, 1.0), (45.0, 0.9), (90.0, 0.8))
    assert file.table == parse_lm63(ROUND).table  # factors are told, not applied


def edited(number: int, line: str) -> str:
    return "\n".join([*LINES[:number], line, *LINES[number + 1 :]])


@pytest.mark.parametrize(
    ("text", "number", "said"),
    [
        ("", 1, "IESNA:LM-63-2002 or IES:LM-63-2019"),
        (edited(0, "IESNA91"), 1, "older edition"),
        (edited(0, "IESNA:LM-63-1995"), 1, "older edition"),
        ("\n".join(LINES[1:]), 1, "older edition"),
        (edited(0, "hello"), 1, "'hello'"),
        (edited(2, "TESTLAB ours"), 3, "[KEYWORD]"),
        (edited(1, "[MORE] and more"), 2, "a keyword first"),
        (edited(4, "[OTHER] x"), 8, "[MANUFAC]"),
        (edited(TILT, "TILT=lamp.tlt"), 8, "'lamp.tlt'"),
        (edited(TILT, "tilt=NONE"), 8, "TILT="),
        (edited(MAIN, "1 -1 2 4 1 3 2 0 0 0"), 9, "type A"),
        (edited(MAIN, "1 -1 2 4 1 7 2 0 0 0"), 9, "1 (type C) or 2 (type B)"),
        (edited(MAIN, "1 -1 2 4 1 1 3 0 0 0"), 9, "1 (feet) or 2 (metres)"),
        (edited(MAIN, "1 -2 2 4 1 1 2 0 0 0"), 9, "lumens"),
        (edited(MAIN, "1 -1 0 4 1 1 2 0 0 0"), 9, "candela multiplier"),
        (edited(MAIN, "1 -1 1e999 4 1 1 2 0 0 0"), 9, "finite"),
        (edited(MAIN, "1 -1 nan 4 1 1 2 0 0 0"), 9, "'nan'"),
        (edited(MAIN, "0.5 -1 2 4 1 1 2 0 0 0"), 9, "number of lamps"),
        (edited(MAIN, "1 -1 2 4.5 1 1 2 0 0 0"), 9, "whole number"),
        (edited(MAIN, "1 -1 2 4000 4000 1 2 0 0 0"), 9, str(MOST_ANGLES)),
        (edited(MAIN, "1 -1 2 4 1 1 2 0 0"), 10, "12 values"),
        (edited(MAIN, "1 -1 2 4 1 1 2 0 0 999"), 9, "height"),
        (edited(MAIN, "1 -1 2,,4 1 1 2 0 0 0"), 9, "''"),
        (edited(BALLAST, "0 1 575"), 10, "ballast"),
        (edited(BALLAST, "1 0.9 575"), 10, "1 (kept for the future)"),
        (edited(BALLAST, "1 1 -5"), 10, "watts"),
        (edited(VERTICAL, "5 10 20 90"), 11, "0 or 90"),
        (edited(VERTICAL, "0 10 20 80"), 11, "90 or 180"),
        (edited(VERTICAL, "0 20 20 90"), 11, "20 after 20"),
        (edited(VERTICAL, "0 10 20 30 90"), 11, "5 values"),
        (edited(HORIZONTAL, "90"), 12, "first horizontal angle"),
        (edited(CANDELA, "5000 2500 500 -1"), 13, "from 0"),
        (edited(CANDELA, "5000 2500 5OO 0"), 13, "'5OO'"),
        (edited(CANDELA, "5000 2500 500"), 13, "3 values before the end"),
        (ROUND + "\n7", 14, "nothing more"),
        (edited(3, "[ISSUEDATE] \x00"), 4, "control"),
        (edited(CANDELA, "1e300 2500 500 0"), 13, "candela"),
        (edited(CANDELA, "١ 2500 500 0"), 13, "numbers"),
    ],
)  # fmt: skip
def test_what_is_refused_names_the_line_and_what_is_allowed(
    text: str, number: int, said: str
) -> None:
    with pytest.raises(OutOfRange) as refused:
        parse_lm63(text)
    assert str(refused.value).startswith(f"line {number}: "), refused.value
    assert "found" in str(refused.value)
    assert "allowed: " in str(refused.value)
    assert said in str(refused.value)


def test_a_file_that_is_far_too_long_is_refused() -> None:
    with pytest.raises(OutOfRange, match=r"^line \d+: size"):
        parse_lm63(ROUND + "\n" * 1_000_001)


def mutated(text: str, chance: random.Random) -> str:
    """The text with one to four things wrong: characters, words, lines."""
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(text)) if text else 0
        end = min(len(text), at + chance.randint(1, 12))
        piece = chance.choice(
            ["", "\n", ",", "-1", "1e999", "nan", "\x00", "٣", "9" * 40, "[", "TILT=", " 0 ", "½",
             text[at:end] * 2, chr(chance.randrange(0x20, 0x3000))]
        )  # fmt: skip
        text = text[:at] + piece + text[end:]
    return text


def test_mutated_files_are_read_or_refused_with_their_line() -> None:
    chance = random.Random(63)
    said = []
    for _ in range(300):
        try:
            parse_lm63(mutated(ROUND, chance))
        except OutOfRange as error:
            said.append(str(error))
    assert [s for s in said if not re.match(r"line \d+: ", s)] == []
    assert 100 < len(said) < 300  # most are wrong, some mutations harm no number


inner = st.lists(st.integers(1, 8999), unique=True, max_size=12).map(
    lambda found: [v / 100 for v in sorted(found)]
)
candela = st.floats(0, 6e5, allow_nan=False)


@settings(max_examples=80, deadline=None)
@given(data=st.data(), kind=st.sampled_from([1, 2]), a_line=st.integers(1, 12))
def test_what_is_written_is_read_again(data: st.DataObject, kind: int, a_line: int) -> None:
    vertical = [0.0, *data.draw(inner), 90.0]
    horizontal = [0.0, *data.draw(inner), 90.0]
    rows = [data.draw(st.lists(candela, min_size=len(vertical), max_size=len(vertical)))
            for _ in horizontal]  # fmt: skip
    multiplier = data.draw(st.floats(0.01, 100))
    ballast = data.draw(st.floats(0.1, 1.5))
    text = written(rows, vertical, horizontal, kind=kind, a_line=a_line, multiplier=multiplier,
                   ballast=ballast, watts=250.5, opening=(0.1, -0.2, 0.0))  # fmt: skip
    file = parse_lm63(text)
    assert list(file.table.vertical_deg) == vertical
    assert list(file.table.horizontal_deg) == horizontal
    factor = multiplier * ballast
    assert [list(row) for row in file.table.candelas] == [[factor * v for v in r] for r in rows]
    assert (file.watts, file.width_m, file.length_m) == (250.5, 0.1, -0.2)
    assert file.table.kind == "CB"[kind - 1]
    for i in (0, len(vertical) - 1):  # at its own angles the table gives its own values
        value = file.table.candela(vertical[i], horizontal[-1])
        assert value == pytest.approx(factor * rows[-1][i], abs=1e-9)
