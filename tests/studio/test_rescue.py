"""A head is out: the nearest picture with what is left. Plain units: f/5.6 is 32 of light."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import NotFound, Refused
from server.studio.document import rig_from_document
from server.studio.figures import outputs_of, ratio_of
from server.studio.light import light_matrix
from server.studio.load import circuit_loads, worst_of_change
from server.studio.rescue import rescued, with_out
from server.studio.rig import Rig
from server.studio.setting import Setting, exact_stops
from tests.examples import MANY

HALF = 0.5**0.5


def studio() -> Rig:
    """A key square on cheek right and past cheek left; two fills side by side on both cheeks."""
    cheek = {"on": "face", "x": 0, "y": 0, "z": 0, "ny": 0, "receptor": "flat"}
    beam = [{"focus": 0, "candela": 20000, "beam_deg": 60, "field_deg": 90}]

    def head(name: str, role: str, address: int, azimuth: float) -> dict[str, Any]:
        away = 1 if role == "key" else 2
        stand = {"azimuth_deg": azimuth, "distance_m": away, "rise_m": 0, "focus": 0}
        return {"name": name, "role": role, "address": address, "bits": 16, "beam": beam,
                "placement": stand}  # fmt: skip

    return rig_from_document(
        {"room": {"name": "Test"}, "lens": {"iso": 400, "shutter_s": 1 / 125, "f_number": 10},
         "points": [{**cheek, "name": "cheek right", "nx": HALF, "nz": HALF},
                    {**cheek, "name": "cheek left", "nx": -HALF, "nz": HALF}],
         "heads": [head("Key", "key", 1, 90), head("Fill one", "fill", 3, 0),
                   head("Fill two", "fill", 5, 0)]}
    )  # fmt: skip


def lit(rig: Rig, **outputs: float) -> Setting:
    return Setting({n.replace("_", " "): exact_stops(o) for n, o in outputs.items()}, lens=rig.lens)


def three_to_one(fill: float = 2**-1.4) -> tuple[Rig, Setting]:
    """Key 64, each fill 16: (64 + 32) : 32."""
    rig = studio()
    matrix = light_matrix(rig, 0)
    key = 4 * fill * matrix.at["cheek right"]["Fill one"] / matrix.at["cheek right"]["Key"]
    return rig, lit(rig, Key=min(1.0, key), Fill_one=fill, Fill_two=fill)


def test_story_25_one_of_two_fills_blows_and_the_other_makes_up_for_it() -> None:
    """3:1 becomes 5:1, the lit side falls 0.26; the other fill a stop up restores 3:1 (it has 1.4
    left)."""
    rig, setting = three_to_one()
    dark = with_out(rig, ["Fill two"], True)
    found = rescued(dark, setting)
    assert found.was.label == "3:1"
    assert found.without.label == "5:1"
    assert found.then.label == "3:1"
    assert [name for name, _ in found.heads] == ["Fill one"]
    assert found.heads[0][1] == pytest.approx(3.0, abs=0.02)
    assert found.lost == ()
    now = ratio_of(dark, light_matrix(dark, 0), outputs_of(dark, setting))
    assert now.lit_lux / found.was.lit_lux == pytest.approx(2**-0.26, abs=0.003)


def test_what_cannot_be_made_up_for_is_said() -> None:
    """The other fill has only a third of a stop left: it goes to the top, the rest is lost."""
    rig, setting = three_to_one(2 ** (-1 / 3))
    found = rescued(with_out(rig, ["Fill two"], True), setting)
    assert found.setting.output(rig.head("Fill one")) == pytest.approx(1.0, abs=1e-6)
    assert dict(found.lost)["cheek left"] == pytest.approx(-2 / 3, abs=0.02)


def test_a_head_that_is_out_is_skipped_and_keeps_what_it_was_set_to() -> None:
    rig, setting = three_to_one()
    dark = with_out(rig, ["Fill two"], True)
    assert outputs_of(dark, setting)["Fill two"] == 0.0
    assert setting.of(dark.head("Fill two")) is None
    back = with_out(dark, ["Fill two"], False)
    assert outputs_of(back, setting) == outputs_of(rig, setting)


def test_a_dark_head_of_the_same_role_comes_in() -> None:
    rig, setting = three_to_one()
    alone = setting.with_stops({"Fill two": None}).with_outputs({"Fill one": 2**-0.4})
    found = rescued(with_out(rig, ["Fill one"], True), alone)
    assert found.heads == (("Fill two", None),)
    assert found.then.label == found.was.label


def test_nothing_to_make_up_for_and_nothing_left() -> None:
    rig, setting = three_to_one()
    with pytest.raises(Refused, match="nothing to make up"):
        rescued(rig, setting)
    with pytest.raises(Refused, match="no head is left"):
        rescued(with_out(rig, ["Key", "Fill one", "Fill two"], True), setting)
    with pytest.raises(NotFound):
        with_out(rig, ["Nobody"], True)


@st.composite
def rigs(draw: Any) -> tuple[Rig, Setting]:
    heads = [
        {"name": f"H{i}", "role": draw(st.sampled_from(["key", "fill", "fill", "hair", "rim"])),
         "bits": 16, "address": 1 + 2 * i, "watts": draw(st.floats(50, 2000)),
         "lamp": draw(st.sampled_from(["led", "tungsten"])), "cct_kelvin": 3200,
         "circuit": draw(st.sampled_from(["A", "B"])),
         "placement": {"azimuth_deg": draw(st.floats(-180, 180)),
                       "distance_m": draw(st.floats(1.0, 4.0)),
                       "rise_m": draw(st.floats(-0.5, 0.9))}}
        for i in range(draw(st.integers(2, 7)))
    ]  # fmt: skip
    circuits = [{"name": n, "breaker_amps": draw(st.floats(5, 40))} for n in ("A", "B")]
    room = {"name": "R", "mains_volts": 120, "circuits": circuits}
    rig = rig_from_document({"room": room, "heads": heads})
    setting = Setting(
        {h.name: exact_stops(draw(st.sampled_from([0.0, 0.1, 0.3, 0.6, 1.0]))) for h in rig.heads}
    )
    out = draw(st.lists(st.sampled_from([h.name for h in rig.heads]), min_size=1, unique=True))
    return with_out(rig, out, True), setting


@given(rigs())
@settings(max_examples=MANY, deadline=None)
def test_no_rescue_ever_exceeds_full_or_a_breaker(given_rig: tuple[Rig, Setting]) -> None:
    rig, setting = given_rig
    try:
        found = rescued(rig, setting)
    except Refused:
        return
    now, then = outputs_of(rig, setting), outputs_of(rig, found.setting)
    assert all(0 <= o <= 1 for o in then.values())
    assert all(then[h.name] == 0 for h in rig.heads if h.out)
    before = {c.name: c.amps_now for c in circuit_loads(rig, now)}
    for load in worst_of_change(rig, now, then):
        assert load.amps_now <= max(load.breaker_amps, before[load.name]) + 1e-9
