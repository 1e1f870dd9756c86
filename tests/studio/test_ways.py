"""Ways to get there, ranked by cost.

The ranking rule is common practice: seconds / 5 + 8 a stop of unwanted light + 0.3 a mired beyond
10 in colour + 4 for metering again + 3 for changed softness + 2 a stop of ISO or shutter. Light by
the inverse square.
"""

from dataclasses import replace
from math import log2

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.errors import OutOfRange, Refused
from server.physics.stops import light_factor
from server.studio.colour import mismatches, white_balance_kelvin
from server.studio.document import rig_from_document
from server.studio.figures import outputs_of
from server.studio.light import light_matrix
from server.studio.load import worst_of_change
from server.studio.note import brought, note_of, placed
from server.studio.rig import Rig
from server.studio.room import Circuit
from server.studio.setting import Setting, exact_stops
from server.studio.way import Wanted, Way
from server.studio.ways import ways, ways_out_of_banding
from tests.examples import MANY

BEAM = [
    {"focus": 0, "candela": 60000, "beam_deg": 12, "field_deg": 20},
    {"focus": 1, "candela": 9000, "beam_deg": 50, "field_deg": 65},
]


def rig_of(lamp: str = "led", **sitter) -> Rig:
    def head(name: str, role: str, address: int, azimuth: float) -> dict:
        return {"name": name, "role": role, "address": address, "bits": 16, "beam": BEAM,
                "lens_diameter_m": 0.15, "lamp": lamp, "cct_kelvin": 3200, "watts": 200,
                "placement": {"azimuth_deg": azimuth, "distance_m": 1.5, "rise_m": 0.4,
                              "focus": 0.5, "scrims": [1.0] if name == "Key" else []}}  # fmt: skip

    return rig_from_document(
        {"room": {"name": "Test"}, "sitter": sitter,
         "lens": {"iso": 400, "shutter_s": 1 / 125, "f_number": 10},
         "heads": [head("Key", "key", 1, 45), head("Fill", "fill", 3, -30),
                   head("Hair", "hair", 5, 170)]}
    )  # fmt: skip


def lit(rig: Rig, **outputs: float) -> Setting:
    return Setting({n: exact_stops(o) for n, o in outputs.items()}, lens=rig.lens)


def by_kind(found: tuple[Way, ...]) -> dict[str, Way]:
    return {w.kind: w for w in found}


def test_a_stop_less_ranks_as_worked_out_by_hand() -> None:
    """LED key at half, fill and hair at a quarter, a stop down asked.

    dim 1/5 = 0.2; lens 3/5 = 0.6; iso and shutter 3/5 + 2 = 2.6; scrim 20/5 = 4, exact;
    distance 30/5 + 4 + 3 = 13 and more (background, fall-off); focus 10/5 + 4 = 6 and more.
    """
    rig = rig_of()
    setting = lit(rig, Key=0.5, Fill=0.25, Hair=0.25)
    found = ways(rig, setting, rig.head("Key"), -3)
    assert [w.kind for w in found][:5] == ["dim", "lens", "iso", "shutter", "scrim"]
    cost = {w.kind: w.cost for w in found}
    assert cost["dim"] == pytest.approx(0.2, abs=0.01)
    assert cost["lens"] == pytest.approx(0.6, abs=0.01)
    assert cost["iso"] == pytest.approx(2.6, abs=0.01)
    assert cost["shutter"] == pytest.approx(2.6, abs=0.01)
    assert cost["scrim"] == pytest.approx(4.0, abs=0.01)
    assert cost["distance"] > 13
    told = by_kind(found)
    assert told["lens"].text == (
        "close the lens 1 to f/14 and bring everything else up 1: same picture"
    )
    assert "ISO to 200" in told["iso"].text
    assert "1/250" in told["shutter"].text
    assert told["scrim"].text == "double scrim in"
    assert told["distance"].text == "Key to 2.12 m"  # 1.5 x sqrt(2)
    side = told["distance"].side
    assert side.falloff_stops == (pytest.approx(0.28, abs=0.005), pytest.approx(0.2, abs=0.005))
    assert side.edge_m == (pytest.approx(0.0025, abs=5e-5), pytest.approx(0.0018, abs=5e-5))
    assert side.size_deg == (pytest.approx(5.7, abs=0.05), pytest.approx(4.1, abs=0.06))


def test_a_key_at_full_gets_more_by_the_lens_first_then_the_scrim_then_the_stand() -> None:
    """Ask +1 at full: lens 0.6, iso 2.6, shutter 2.6, scrim out 4, nearer 1.06 m last."""
    rig = rig_of()
    setting = lit(rig, Key=1.0, Fill=0.5, Hair=0.5)
    found = ways(rig, setting, rig.head("Key"), 3)
    assert [w.kind for w in found][:4] == ["lens", "iso", "shutter", "scrim"]
    told = by_kind(found)
    assert "dim" not in told
    assert told["lens"].text == (
        "open the lens 1 to f/7.1 and bring everything else down 1: same picture"
    )
    assert told["scrim"].text == "double scrim out"
    assert told["distance"].text == "Key to 1.06 m"
    assert told["lens"].setting.stops["Fill"] == 2
    assert told["lens"].setting.lens.f_number == 7.1


def test_two_thirds_by_a_scrim_and_the_dimmer() -> None:
    rig = rig_of()
    told = by_kind(ways(rig, lit(rig, Key=1.0, Fill=0.5), rig.head("Key"), 2))
    assert told["scrim"].text == "double scrim out, then Key ▼⅓"
    note = note_of(told["scrim"], "Key", lit(rig, Key=1.0, Fill=0.5), "Ana")
    after = placed(rig, note)
    assert after.head("Key").placement.scrims == ()
    there = brought(after, lit(rig, Key=1.0, Fill=0.5), note)
    assert there is not None
    before = light_matrix(rig, 0).mark["Key"]
    now = light_matrix(after, 0).mark["Key"] * there.output(after.head("Key"))
    assert log2(now / before) == pytest.approx(2 / 3, abs=1e-9)


def test_in_colour_a_tungsten_dim_costs_its_mired() -> None:
    """3200 K a stop down is 2937 K, 28 mired (lamp rerating): 0.3 x (28 - 10) = 5.4 more."""
    for colour, more in ((False, 0.0), (True, 5.4)):
        rig = rig_of("tungsten", colour=colour)
        dim = by_kind(ways(rig, lit(rig, Key=1.0, Fill=1.0), rig.head("Key"), -3))["dim"]
        assert dim.mired == pytest.approx(28, abs=0.5)
        assert dim.cost == pytest.approx(0.2 + more, abs=0.2)


def test_what_is_never_wished_is_never_offered() -> None:
    rig = rig_of(never=["iso", "focus"])
    kinds = by_kind(ways(rig, lit(rig, Key=0.5, Fill=0.25), rig.head("Key"), -3))
    assert "iso" not in kinds
    assert "focus" not in kinds
    assert "lens" in kinds
    with pytest.raises(OutOfRange, match="never"):
        rig_of(never=["magic"])


def test_a_way_that_would_trip_a_breaker_is_left_out() -> None:
    """Three tungsten heads of 1000 W at 120 V on 20 A: all the others a stop up is too much."""
    rig = rig_of("tungsten")
    heads = tuple(replace(h, watts=1000.0, circuit="A") for h in rig.heads)
    room = replace(rig.room, mains_volts=120, circuits=(Circuit("A", 20.0),))
    tight = replace(rig, heads=heads, room=room)
    setting = lit(rig, Key=0.36, Fill=0.18, Hair=0.18)
    start = worst_of_change(tight, outputs_of(tight, setting), outputs_of(tight, setting))
    assert start[0].amps_now < 20
    assert "lens" in by_kind(ways(rig, setting, rig.head("Key"), -6))
    assert "lens" not in by_kind(ways(tight, setting, tight.head("Key"), -6))


def test_story_13_out_of_banding_with_the_same_picture() -> None:
    """LED at 15 %, bands seen below 20 %: all heads a stop up, f/10 to f/14, this head at 30 %."""
    rig = rig_of()
    heads = tuple(replace(h, bands_below=0.2) if h.name == "Fill" else h for h in rig.heads)
    rig = replace(rig, heads=heads)
    setting = lit(rig, Key=0.5, Fill=0.15, Hair=0.25)
    found = ways_out_of_banding(rig, setting, rig.head("Fill"))
    # a half-stop would do; a whole third is what a lens has: 0.15 x 2**(2/3) = 24 %
    assert found[0].kind == "lens"
    assert found[0].setting.output(rig.head("Fill")) >= 0.2
    shifts = {n: float(setting.stops[n] - found[0].setting.stops[n]) for n in setting.stops}
    assert len(set(shifts.values())) == 1
    assert found[0].setting.lens.exact_f_number == pytest.approx(
        setting.lens.exact_f_number * 2 ** (shifts["Key"] / 2), rel=0.01
    )
    assert "same picture" in found[0].text
    assert not any(abs(v) > 0.01 for v in found[0].unwanted.values())
    assert ways_out_of_banding(rig, lit(rig, Key=0.5, Fill=0.25), rig.head("Fill")) == ()
    full = lit(rig, Key=1.0, Fill=0.15)
    assert ways_out_of_banding(rig, full, rig.head("Fill")) == ()


def test_stories_15_and_16_colour_of_dimmed_tungsten() -> None:
    """Key a stop down: 28 mired warmer than the fill; a third down is silent; both a stop down
    have one white balance of 2940 K; black and white says nothing (lamp rerating, 0.42)."""
    rig = rig_of("tungsten", colour=True)
    assert mismatches(rig, lit(rig, Key=0.5, Fill=1.0)) == {"Key": "28 mired warmer than Fill"}
    assert mismatches(rig, lit(rig, Key=light_factor(-1 / 3), Fill=1.0)) == {}
    both = lit(rig, Key=0.5, Fill=0.5)
    assert mismatches(rig, both) == {}
    assert white_balance_kelvin(rig, both) == pytest.approx(2940, abs=5)
    plain = rig_of("tungsten")
    assert mismatches(plain, lit(plain, Key=0.5, Fill=1.0)) == {}
    assert white_balance_kelvin(plain, both) is None


def test_no_ways_for_no_wish_or_no_light() -> None:
    rig = rig_of()
    with pytest.raises(OutOfRange, match="thirds"):
        ways(rig, lit(rig, Key=0.5), rig.head("Key"), 0)
    with pytest.raises(Refused, match="bring it in"):
        ways(rig, lit(rig, Key=0.5), rig.head("Fill"), 1)


@st.composite
def rigs(draw):
    heads = [
        {"name": f"H{i}", "role": draw(st.sampled_from(["key", "fill", "kicker", "background"])),
         "bits": 16, "address": 1 + 2 * i, "beam": BEAM,
         "placement": {"azimuth_deg": draw(st.floats(-150, 150)),
                       "distance_m": draw(st.floats(1.0, 4.0)),
                       "rise_m": draw(st.floats(-0.5, 0.9)), "focus": draw(st.floats(0, 1)),
                       "scrims": draw(st.lists(st.sampled_from([0.5, 1.0]), max_size=2)),
                       "aim": draw(st.sampled_from(["mark", "mark", "background"]))}}
        for i in range(draw(st.integers(1, 5)))
    ]  # fmt: skip
    rig = rig_from_document({"room": {"name": "R"}, "heads": heads})
    outputs = {h.name: draw(st.floats(0.02, 1.0)) for h in rig.heads}
    return rig, Setting({n: exact_stops(o) for n, o in outputs.items()}, lens=rig.lens)


@given(rigs(), st.integers(-6, 6).filter(bool))
@settings(max_examples=MANY, deadline=None)
def test_each_way_taken_gives_the_wished_light(given_rig, thirds: int) -> None:
    """Within a twentieth of a stop at the head's own place, the lens reset; never beyond 0..1."""
    rig, setting = given_rig
    head = rig.heads[0]
    wanted = Wanted(rig, setting, head, thirds / 3)
    row = wanted.before.mark if wanted.place == "mark" else wanted.before.at[wanted.place]
    assume(row[head.name] > 1e-6)
    for way in ways(rig, setting, head, thirds):
        after = rig
        if way.placement:
            moved = tuple(
                replace(h, placement=way.placement) if h.name == head.name else h for h in rig.heads
            )
            after = replace(rig, heads=moved)
        outputs = outputs_of(after, way.setting)
        assert all(0 < o <= 1 for o in outputs.values())

        def light(of: Rig, outputs: dict[str, float]) -> float:
            matrix = light_matrix(of, 0.0)
            row = matrix.mark if wanted.place == "mark" else matrix.at[wanted.place]
            return row[head.name] * outputs[head.name]

        gain = log2(light(after, outputs) / light(rig, outputs_of(rig, setting)))
        old, new = setting.lens, way.setting.lens
        # printed ISO and shutter marks stand for whole thirds (1/125 to 1/60 is one stop)
        dials = log2(new.iso / old.iso) + log2(new.shutter_s / old.shutter_s)
        camera = 2 * log2(old.exact_f_number / new.exact_f_number) + round(3 * dials) / 3
        assert gain + camera == pytest.approx(thirds / 3, abs=0.05), way.text
