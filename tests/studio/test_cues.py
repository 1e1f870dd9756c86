"""Cue lists as plain text, out and in.

Grammar: USITT, "ASCII Text Representation for Lighting Console Data", Version 3.0 (1992), as far as
its contents page and an annotated example tell it; what is from memory says so.
"""

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.signal import FULL_SCALE, signal_for
from server.studio.document import rig_from_document
from server.studio.exchange.cue_looks import looks_of_cues
from server.studio.exchange.cue_text import plain
from server.studio.exchange.cues import cue_list_text, dimmer_of, read_cues
from server.studio.head import Head
from server.studio.keep import look_of
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting, level, signal

RIG = rig_from_document(
    json.loads((Path(__file__).parents[2] / "demo_data" / "rig.json").read_text("utf-8"))
)
END = "\nENDDATA\n"


def levels_of(text: str, cue: str = "1") -> dict[int, float]:
    return read_cues(text.encode()).cues[cue].levels


def test_delimiters_are_interchangeable_and_capitals_do_not_matter() -> None:
    same = [
        "CUE 1\nCHAN 1@50 2@FL" + END,
        "Cue,1\nchan 1,50,2,FL" + END,
        "cUe=1\r\nChan  1 / 50 ; 2 > fl\r\nEndData",
        "CUE 1\rCHAN<1=50<2=FL\renddata\r",
        "\tCUE 1 ! the first\n\n! CHAN 1@10\nCHAN 1@50,,2@@FL" + END,
    ]
    assert [levels_of(text) for text in same] == [{1: 0.5, 2: 1.0}] * 5


# Levels: percent with FL for full, hexadecimal after an H (the H form from memory).
@pytest.mark.parametrize(
    ("text", "value"),
    [("00", 0), ("0", 0), ("7", 0.07), ("99", 0.99), ("100", 1), ("FL", 1), ("fl", 1), ("H00", 0),
     ("HFF", 1), ("h80", 128 / 255), ("H0a", 10 / 255)],
)  # fmt: skip
def test_levels(text: str, value: float) -> None:
    assert levels_of(f"CUE 1\nCHAN 3@{text}{END}") == {3: pytest.approx(value)}


@pytest.mark.parametrize(
    "text", ["101", "FF", "H1", "H100", "HXY", "50%", "-1", "1.5", "FULL", "٣"]
)
def test_what_is_no_level_refuses_the_file(text: str) -> None:
    with pytest.raises(OutOfRange, match="line 3, CHAN:"):
        read_cues(f"CUE 1\nCHAN 1@50\nCHAN 3@{text}{END}".encode())


def test_a_cue_has_all_its_lines_and_parts() -> None:
    text = "CUE 1.5\nTEXT Evening, late\nUP 3\nPART 1\nCHAN 1@10\nPART 2\nCHAN 2@20\nDOWN 4" + END
    cue = read_cues(text.encode()).cues["1.5"]
    assert cue.levels == {1: 0.1, 2: 0.2}
    assert cue.name == "Evening, late"


def test_unknown_words_are_told_by_line_and_the_rest_is_kept() -> None:
    text = (
        "IDENT 3:0\nCLEAR ALL\n$MACRO 4\n$$STEP 5\nCHAN 9@FL\nCUE 1\nCHAN 1@50\n$$LAMP 3\n"
        "GROUP 2\nCHAN 2@FL\nTEXT All\nSUB 1\nCHAN 3@FL\nCUE 2\nWAIT 3\nCUE 3\nLINK 1\nCHAN 1@FL"
    )
    found = read_cues((text + END).encode())
    assert {n: c.levels for n, c in found.cues.items()} == {"1": {1: 0.5}, "2": {}, "3": {1: 1.0}}
    lines = [told.split(",")[0] for told in found.told]
    assert lines == [f"line {n}" for n in (2, 3, 4, 8, 9, 12, 15, 17)]
    assert "line 15, WAIT: left out, this word is not known here" in found.told


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no cue"),
        ("hello\nworld", "no cue"),
        ("CUE 1\nCHAN 1@50", "ENDDATA"),
        ("CUE 1\nIDENT 3:0\nENDDATA", "line 2, IDENT: this must be the first"),
        ("IDENT 2:0\nCUE 1\nENDDATA", "line 1, IDENT: only version 3:0"),
        ("CUE\nENDDATA", "line 1, CUE: a cue needs its number"),
        ("CUE x\nENDDATA", "line 1, CUE: a cue needs its number"),
        ("CUE 1\nCHAN 1\nENDDATA", "line 2, CHAN: channels and levels go in pairs"),
        ("CUE 1\nCHAN 0@50\nENDDATA", "line 2, CHAN: a channel must be a whole number 1 to 99999"),
        ("CUE 1\nCHAN 1.5@50\nENDDATA", "line 2, CHAN: a channel must be"),
        ("CHAN 1@50\nCUE 1\nENDDATA", "line 1, CHAN: these channels stand before any cue"),
        (
            "CUE 1\nWAIT 3\nCHAN 1@50\nENDDATA",
            "line 3, CHAN: after the unknown word WAIT in line 2",
        ),
        ("PATCH 1 2\nCUE 1\nENDDATA", "line 1, PATCH: a patch says"),
        ("PATCH 1 2<0@FL\nCUE 1\nENDDATA", "line 1, PATCH: a dimmer must be"),
        ("PATCH 1 2<99999999999@FL\nCUE 1\nENDDATA", "line 1, PATCH: a dimmer must be"),
        ("CUE 1\nCHAN 1@5\x000\nENDDATA", "line 2: this is no plain text"),
        ("\n".join(f"CUE {n}" for n in range(1, 2003)), "line 2001, CUE: at most 2000"),
    ],
)
def test_what_cannot_be_read_refuses_the_whole_file(text: str, says: str) -> None:
    with pytest.raises(OutOfRange) as told:
        read_cues(text.encode())
    assert says in str(told.value)


def test_the_patch_decides_which_head_a_channel_is() -> None:
    text = "PATCH 1 5<3@FL 5<4@50 6<700@FL\nPATCH 2 7<1@FL\nCUE 1\nCHAN 5@80 6@FL 7@FL" + END
    made = looks_of_cues(read_cues(text.encode()), RIG)
    (look,) = made.looks
    assert look.name == "Cue 1"
    by_address = {h.address: h for h in RIG.heads}
    full, half = by_address[3], by_address[4]
    assert _level(full, look) == pytest.approx(0.8)
    assert _level(half, look) == pytest.approx(0.4)
    assert sum(s is not None for s in look.stops.values()) == 2
    assert "no head of this rig is on their dimmers: channel 6, 7" in made.told[0]
    assert "page 1 of the patch" in made.told[1]


def test_without_a_patch_a_channel_is_the_address_of_its_number() -> None:
    made = looks_of_cues(read_cues(f"CUE 1\nCHAN 5@H80 40@FL\nCUE 2\nCHAN 5@00{END}".encode()), RIG)
    assert {n for n, s in made.looks[0].stops.items() if s is not None} == {"Fill"}
    assert made.left_out == (("Cue 2", "lights no head of this rig"),)
    assert any("no PATCH" in told for told in made.told)


def test_the_higher_of_two_channels_counts() -> None:
    text = "PATCH 1 1<5@FL 2<5@FL\nCUE 1\nCHAN 1@30 2@70" + END
    (look,) = looks_of_cues(read_cues(text.encode()), RIG).looks
    assert _level(RIG.head("Fill"), look) == pytest.approx(0.7)


def _level(head: Head, look: Look) -> float:
    return level(head, Setting(look.stops).output(head))


def test_names_become_plain_letters() -> None:
    assert plain("Rembrandt, short · 4:1 · f/5.6") == "Rembrandt, short - 4:1 - f/5.6"
    assert plain("Müller’s “ring”!") == 'Muller\'s "ring".'
    assert plain("光") == "?"


HEADS = st.lists(
    st.tuples(
        st.sampled_from(["linear", "square", "s-curve"]), st.sampled_from([8, 16]),
        st.sampled_from([1, 2, 7, 63999]),
    ),
    min_size=1, max_size=8,
)  # fmt: skip


@settings(max_examples=120, deadline=None, derandomize=True, database=None,
          suppress_health_check=list(HealthCheck))  # fmt: skip
@given(heads=HEADS, data=st.data(), in_percent=st.booleans())
def test_any_looks_come_back_within_half_a_step(
    heads: list[tuple[str, int, int]], data: st.DataObject, in_percent: bool
) -> None:
    rig = Rig(
        RIG.room, points=RIG.points,
        heads=tuple(
            Head(f"H{n}", "key", universe=universe, address=1 + 3 * n, bits=bits, curve=curve)
            for n, (curve, bits, universe) in enumerate(heads)
        ),
    )  # fmt: skip
    stops = st.none() | st.just(Fraction(0)) | st.fractions(0, 12, max_denominator=300)
    looks = []
    for name in data.draw(st.lists(st.text("aZ!,=· ü1", min_size=1, max_size=9), max_size=4)):
        setting = Setting({h.name: data.draw(stops) for h in rig.heads})
        looks.append(look_of(rig, setting, name))
    text = cue_list_text(looks, rig, in_percent=in_percent)
    lines = text.split("\r\n")
    assert text.isascii()
    assert max(len(line) for line in lines) <= 80
    if not looks:
        return
    found = read_cues(text.encode())
    assert found.told == []
    made = looks_of_cues(found, rig)
    assert made.told == ()
    back = {look.notes: look for look in made.looks}
    for count, look in enumerate(looks, start=1):
        there = back.get(f"Cue {count} of a cue list.")
        for head in rig.heads:
            was = _level(head, look)
            now = _level(head, there) if there else 0.0
            # percent: half of one in a hundred; exact: half of one step of the 255 of the signal
            assert abs(now - was) <= (0.005 if in_percent else 0.5 / 255) + 1e-9
            if head.bits == 8 and not in_percent:
                assert signal_for(now) == signal_for(was)


def test_addresses_of_several_universes() -> None:
    assert [dimmer_of(*at) for at in ((1, 1), (1, 512), (2, 1), (3, 10))] == [1, 512, 513, 1034]
    head = replace(RIG.head("Fill"), universe=3, address=10)
    rig = replace(RIG, heads=tuple(head if h.name == "Fill" else h for h in RIG.heads))
    assert "4<1034@FL" in cue_list_text([], rig)
    (look,) = looks_of_cues(read_cues(f"CUE 1\nCHAN 1034@H40{END}".encode()), rig).looks
    assert signal(head, Setting(look.stops).output(head)) == (0x40,)


def test_a_sixteen_bit_head_has_both_its_addresses_on_one_channel() -> None:
    key = RIG.head("Key")
    assert key.bits == 16
    text = cue_list_text([look_of(RIG, Setting({"Key": Fraction(4, 3)}), "A")], RIG)
    assert "Patch 1 1<1@FL 1<2@FL" in text.split("\r\n")
    (look,) = looks_of_cues(read_cues(text.encode()), RIG).looks
    coarse, fine = signal(key, Setting(look.stops).output(key))
    assert (
        coarse == fine
    )  # a byte on both addresses is the same share: n (256 + 1) / 65535 = n / 255
    sent = coarse * 256 + fine
    wanted = _level(key, look_of(RIG, Setting({"Key": Fraction(4, 3)}), "A")) * FULL_SCALE[16]
    assert abs(sent - wanted) <= 257 / 2 + 1
