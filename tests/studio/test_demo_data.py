"""The demo looks hold what their names and tags promise; figures come from the physics.

Bands of lit : shadow: US Army SS0510 (1994), p. 1-17 (3:1 to 4:1 usual, here within a sixth of
a stop); soft and low key: common
practice. Patterns as taught, from the drawn nose shadow.
"""

import json
from itertools import pairwise
from math import log2
from pathlib import Path

import pytest
from sqlmodel import Session

from server.paths import DEMO_DATA
from server.preview.pattern import pattern_of
from server.preview.scene import Source
from server.store.database import open_database
from server.store.looks import find_looks, running_order
from server.store.rigs import load_rig
from server.store.seed import seed
from server.studio.figures import outputs_of
from server.studio.load import worst_of_change
from server.studio.look import Look
from server.studio.rig import Rig
from server.studio.setting import Setting

Demo = tuple[Rig, list[Look], list[Look]]
BANDS = {"soft": (2.0, 3.1), "usual": (2.7, 4.5), "low key": (7.0, 12.0)}
SHOWN = {"butterfly": "butterfly", "loop": "loop", "rembrandt": "Rembrandt", "split": "split"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    database = open_database(tmp_path_factory.mktemp("demo") / "demo.db")
    with Session(database) as session:
        seed(session, DEMO_DATA)
        session.commit()
        rig = load_rig(session)
        assert rig is not None
        told = rig, find_looks(session), running_order(session)
    database.dispose()
    return told


def test_nine_heads_on_twelve_channels_and_twelve_looks(demo: Demo) -> None:
    rig, looks, order = demo
    assert (len(rig.heads), len(looks), len(order)) == (9, 12, 9)
    assert all(slot <= 12 for h in rig.heads for slot in h.slots)
    named = json.loads(Path(DEMO_DATA / "looks.json").read_text("utf-8"))["looks"]
    names = {h.name for h in rig.heads}
    assert all(set(entry["stops_below_full"]) <= names for entry in named)


def test_ratios_are_what_the_tags_promise(demo: Demo) -> None:
    for look in demo[1]:
        for tag in look.tags:
            if tag in BANDS:
                low, high = BANDS[tag]
                assert look.ratio is not None
                assert low <= look.ratio <= high, (look.name, tag, look.ratio)


def test_the_lens_of_a_look_is_within_a_quarter_stop(demo: Demo) -> None:
    for look in demo[1]:
        assert look.f_number is not None
        assert abs(2 * log2(look.f_number / look.lens.exact_f_number)) <= 0.25, look.name


def test_no_circuit_passes_its_limit_on_the_way(demo: Demo) -> None:
    rig, _, order = demo
    outputs = [outputs_of(rig, Setting(look.stops)) for look in order]
    for start, end in pairwise(outputs):
        assert not any(load.over for load in worst_of_change(rig, start, end))


def test_patterns_are_as_named(demo: Demo) -> None:
    rig, looks, _ = demo
    for look in looks:
        wanted = [SHOWN[t] for t in look.tags if t in SHOWN]
        if not wanted:
            continue
        keys = [h for h in rig.heads if h.role == "key" and look.stops.get(h.name) is not None]
        sources = [
            Source(
                h.placement.position_m, (0.0, 0.0, 0.0), h.lens_diameter_m,
                h.beam_now.candela, h.beam_now.beam_deg, h.beam_now.field_deg,
            )
            for h in keys
        ]  # fmt: skip
        pattern = pattern_of(look.yaw_deg, sources, [1.0] * len(keys))
        assert wanted[0] in pattern.label, (look.name, pattern)
        for side in ("short", "broad"):
            if side in look.tags:
                assert pattern.side == side, (look.name, pattern)
