"""What goes out comes back the same: rigs and whole studios made up at random (hypothesis)."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session

from server.physics.beam import Beam, BeamRow
from server.physics.candela_curve import CandelaCurve
from server.store.database import open_database
from server.store.looks import delete_look, get_look
from server.store.rigs import load_rig, put_rig
from server.store.rooms import rooms
from server.store.whole import load_whole, look_columns, replace_all
from server.studio.document import rig_document, rig_from_document
from server.studio.head import CURVES, LAMPS, ROLES, Head, PastCurve, Placement
from server.studio.lamps import LampChange
from server.studio.look import Look, tags_of
from server.studio.photometry import MeasuredBeam
from server.studio.readings import Reading
from server.studio.rig import Lens, Rig
from server.studio.room import (
    SIGNAL_LOSS,
    STAND_INS,
    UNITS,
    USUAL_POINTS,
    WAYS,
    Circuit,
    Meter,
    Point,
    Room,
    Sitter,
)
from server.studio.whole import Whole, WholeRoom, whole_document, whole_from_document
from server.web.contract import RigDocument
from server.web.whole_contract import whole_of
from tests.examples import MANY

MEASURED = CandelaCurve((0.0, 20.0, 90.0), (9000.0, 4500.0, 0.0))
QUICK = dict(
    deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)
NAMES = st.text(
    st.characters(categories=("L", "N", "P", "S"), exclude_characters="/"), min_size=1, max_size=12
).filter(lambda name: name not in (".", "..", "new"))
MOMENTS = st.datetimes(datetime(1971, 1, 1), datetime(2199, 1, 1), timezones=st.just(UTC))


@cache
def between(low: float, high: float) -> st.SearchStrategy[float]:
    """A number in low..high, both included."""
    return st.floats(low, high, allow_nan=False)


@cache
def of(*values: Any) -> st.SearchStrategy[Any]:
    """One of these."""
    return st.sampled_from(values)


@cache
def some(each: st.SearchStrategy[Any], most: int, unique: bool = False) -> st.SearchStrategy[Any]:
    """A list of up to so many."""
    return st.lists(each, max_size=most, unique=unique)


@cache
def maybe(each: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    """One, or None."""
    return st.none() | each


# every strategy is made once (cached): hypothesis checks each anew that it meets, and that is most
# of the time these tests take
@st.composite
def any_placement(draw: st.DrawFn, aims: tuple[str, ...] = ("mark",)) -> Placement:
    distance = draw(between(0.2, 40))
    aim: Any = draw(of(*aims)) if draw(st.booleans()) else tuple(draw(THREE))
    return Placement(
        draw(between(-180, 180)), distance, draw(between(-0.95, 0.95)) * distance,
        draw(between(0, 1)), tuple(draw(some(between(0, 6), 2))), aim,
    )  # fmt: skip


placements = cache(any_placement)
FRACTIONS = st.fractions(0, 40)
NO_MARK = NAMES.filter(lambda name: name != "mark")
INNER = st.sets(st.integers(1, 99), max_size=3)
THREE = st.tuples(*[between(-9, 9)] * 3)


@st.composite
def heads(draw: st.DrawFn, name: str, address: int, circuits: list[str], aims: Any) -> Head:
    curve = draw(of(*CURVES))
    inner = sorted(draw(INNER))
    points = [(0.0, 0.0), *((x / 100, x * x / 1e4) for x in inner), (1.0, 1.0)]
    beam_deg = draw(between(1, 90))
    rows = [
        BeamRow(focus, Beam(draw(between(1, 1e7)), beam_deg, draw(between(91, 180))))
        for focus in draw(of((0.5,), (0.0, 1.0), (0.0, 0.25, 1.0)))
    ]
    return Head(
        name=name, role=draw(of(*ROLES)), universe=draw(st.integers(1, 3)),
        address=address, bits=draw(of(8, 16)),
        circuit=draw(of("", *circuits)), watts=draw(between(0, 5000)),
        power_factor=draw(between(0.05, 1)), lamp=draw(of(*LAMPS)),
        cct_kelvin=draw(between(1000, 20000)), curve=curve,
        curve_points=tuple(points) if curve == "measured" else (), beam=tuple(rows),
        placement=draw(placements(aims)), lens_diameter_m=draw(between(0.005, 5)),
        bands_below=draw(between(0, 1)), steady_from=draw(between(0, 1)),
        touched_at=draw(maybe(MOMENTS)), out=draw(st.booleans()),
        photometry=draw(of((), (MeasuredBeam(0.5, MEASURED, "file", 50.0),))),
        curve_before=draw(of(None, PastCurve("square", (), 0.05),
                             PastCurve("measured", ((0.0, 0.0), (0.5, 0.25), (1.0, 1.0))))),
    )  # fmt: skip


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    head = draw(of("", "Key"))
    return Reading(
        point=draw(NAMES), head=head, lux=draw(between(0, 1e5)), output=draw(between(0.001, 1)),
        at=draw(MOMENTS), placement=draw(placements()) if head else None,
        yaw_deg=draw(between(-180, 180)), receptor=draw(of("flat", "dome")),
        shaded=bool(head) and draw(st.booleans()),
    )  # fmt: skip


def itself(look: Look, _room: int = 0) -> Look:
    """All of a look is kept."""
    return look


READINGS = readings()
LAMP_CHANGES = (
    st.builds(
        LampChange, head=NAMES, at=MOMENTS, hours=between(0, 1e6), note=NAMES,
        stops=maybe(between(-3, 3)), point=NAMES,
    )
)  # fmt: skip


@st.composite
def rigs(draw: st.DrawFn) -> Rig:
    """Any rig that may be entered, with up to three heads."""
    circuits = draw(some(NAMES, 2, True))
    extra = draw(some(NO_MARK, 1))
    known = {p.name for p in USUAL_POINTS}
    points = USUAL_POINTS + tuple(
        Point(name, draw(of("face", "room")), draw(between(-9, 9)), 0.5, -0.0,
              draw(between(1, 9)), 0.0, 1.0, draw(of("flat", "dome")))
        for name in extra if name not in known
    )  # fmt: skip
    aims = ("mark", *(p.name for p in points))
    names = draw(some(NAMES, 3, True))
    return Rig(
        room=Room(
            draw(NAMES), draw(between(50, 500)), draw(between(0.01, 1)), draw(between(0, 1e5)),
            tuple(Circuit(n, draw(between(0.1, 1000)), draw(between(0, 9))) for n in circuits),
            draw(of(*SIGNAL_LOSS)), ceiling_m=draw(maybe(between(1.5, 50))),
            units=draw(of(*UNITS)),
        ),
        sitter=Sitter(
            draw(between(-180, 180)), draw(between(0, 6)), draw(of(*STAND_INS)),
            draw(st.booleans()), tuple(draw(some(of(*WAYS), 2))),
        ),
        points=points,
        lens=draw(LENSES),
        heads=tuple(draw(heads(n, 1 + 5 * i, circuits, aims)) for i, n in enumerate(names)),
        meter=Meter(draw(between(100, 1000)), draw(between(100, 1000))),
        readings=tuple(draw(some(READINGS, 1))),
        lamps=tuple(draw(some(LAMP_CHANGES, 1))),
    )  # fmt: skip


LENSES = st.builds(Lens, between(1, 1e6), between(1e-5, 3600), between(0.5, 128))


@st.composite
def looks(draw: st.DrawFn) -> Look:
    names = draw(some(NAMES, 3, True))
    return Look(
        look_id=0, name=draw(NAMES),
        stops={n: draw(maybe(FRACTIONS)) for n in names},
        placements={n: draw(placements()) for n in names}, lens=draw(LENSES),
        yaw_deg=draw(between(-180, 180)),
        tags=tags_of([t for t in draw(some(NAMES, 2)) if "," not in t]),
        notes=draw(NAMES), lux={n: draw(between(0, 1e6)) for n in names},
        ratio=draw(maybe(between(0.001, 1e6))), f_number=draw(maybe(between(0.1, 999))),
        kept_at=draw(MOMENTS).isoformat(),
    )  # fmt: skip


@st.composite
def studios(draw: st.DrawFn) -> Whole:
    """Any studio of up to three rooms."""
    kept = draw(st.lists(looks(), max_size=4))
    count = draw(st.integers(1, 3))
    rooms = tuple(
        WholeRoom(draw(rigs()), tuple(draw(st.permutations(range(len(kept))))[: draw(
            st.integers(0, 4))]))
        for _ in range(count)
    )  # fmt: skip
    return Whole(
        rooms, draw(st.integers(0, count - 1)), tuple(kept),
        tuple(draw(st.integers(0, count - 1)) for _ in kept),
    )  # fmt: skip


@settings(max_examples=MANY, **QUICK)  # type: ignore[arg-type]
@given(rig=rigs())
def test_a_rig_comes_back_from_its_file_the_same(rig: Rig) -> None:
    text = json.dumps(rig_document(rig))
    back = rig_from_document(RigDocument.model_validate(json.loads(text)).model_dump())
    assert back == rig
    assert json.dumps(rig_document(back)) == text


@settings(max_examples=60, **QUICK)  # type: ignore[arg-type]
@given(whole=studios())
def test_a_studio_comes_back_from_its_file_the_same(whole: Whole) -> None:
    text = json.dumps(whole_document(whole))
    back = whole_of(text, itself)
    assert back == whole == whole_from_document(json.loads(text), itself)
    assert json.dumps(whole_document(back)) == text


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Session]:
    path: Path = tmp_path_factory.mktemp("whole") / "studio.db"
    database = open_database(path)
    with Session(database) as session:
        put_rig(session, Rig(Room("My studio")))
        session.commit()
        yield session
    database.dispose()


def ready(whole: Whole) -> Whole:
    """Its looks as they will be stored."""
    return replace(whole, looks=tuple(map(look_columns, whole.looks)))


def test_a_studio_put_in_place_goes_out_the_same(session: Session) -> None:
    """Each one on top of the one before: what was there is archived, and not in the next file."""
    count = 0

    @settings(max_examples=60, **QUICK)  # type: ignore[arg-type]
    @given(whole=studios())
    def tried(whole: Whole) -> None:
        nonlocal count
        before = len(rooms(session))
        open_id = replace_all(session, ready(whole))
        session.expire_all()
        opened = load_rig(session)
        assert opened == whole.opened
        told = json.dumps(whole_document(load_whole(session, open_id, opened, itself)))
        assert told == json.dumps(whole_document(whole))
        assert len(rooms(session)) == before + len(whole.rooms)
        count += 1

    tried()
    assert count >= 60


def test_a_log_of_lamps_tells_the_looks_of_its_own_studio(session: Session) -> None:
    """Looks that could not follow a new lamp are told by number: another one in each studio."""
    lamp = LampChange("Key", datetime(2026, 5, 1, tzinfo=UTC), held=((1, "5/3"),))
    rig = Rig(Room("Attic"), lamps=(lamp,))
    kept = tuple(
        Look(0, name, {"Key": None}, {}, Lens(), 0.0, kept_at="2026-05-01T10:00:00+00:00")
        for name in ("First", "Second")
    )
    open_id = replace_all(session, ready(Whole((WholeRoom(rig),), 0, kept, (0, 0))))
    session.expire_all()
    stored = load_rig(session)
    assert stored is not None
    ((look_id, was),) = stored.lamps[0].held
    assert (get_look(session, look_id).name, was) == ("Second", "5/3")
    told = load_whole(session, open_id, stored, itself)
    assert told.opened == rig
    gone = replace(lamp, held=((look_id, "5/3"), (987654, "1")))
    delete_look(session, look_id)
    session.expire_all()
    left = load_whole(session, open_id, replace(stored, lamps=(gone,)), itself)
    assert left.opened.lamps[0].held == ()
