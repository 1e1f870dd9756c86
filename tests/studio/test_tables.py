"""Tables with commas: the rules of RFC 4180, no formula for a spreadsheet, errors with a place."""

import csv
import io
import json
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.errors import NotFound, OutOfRange
from server.physics.exposure import lux_for
from server.studio.document import rig_from_document
from server.studio.exchange.readings_table import COLUMNS, readings_of_table, readings_table
from server.studio.exchange.table import read, written
from server.studio.head import Placement
from server.studio.readings import Reading
from server.studio.rig import Rig

RIG = rig_from_document(
    json.loads((Path(__file__).parents[2] / "demo_data" / "rig.json").read_text("utf-8"))
)


def cells(data: bytes, columns: str = "abc") -> list[list[str]]:
    return [[row.text(c) for c in columns] for row in read(data, columns, ())]


TWO = [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]


# The examples of RFC 4180, section 2, rules 1 to 7, under a head of their own.
@pytest.mark.parametrize(
    ("data", "rows"),
    [
        (b"a,b,c\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", TWO),
        (b"a,b,c\r\naaa,bbb,ccc\r\nzzz,yyy,xxx", TWO),
        (b'a,b,c\r\n"aaa","bbb","ccc"\r\nzzz,yyy,xxx', TWO),
        (b'a,b,c\r\n"aaa","b \r\nbb","ccc"\r\n', [["aaa", "b \r\nbb", "ccc"]]),
        (b'a,b,c\r\n"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
    ids=["1", "2", "5", "6", "7"],
)  # fmt: skip
def test_examples_of_the_rfc(data: bytes, rows: list[list[str]]) -> None:
    assert cells(data) == rows


def test_written_lines_end_as_the_rfc_says() -> None:
    text = written(("a", "b"), [("x,y", 'q"'), ("two\nlines", None)])
    assert text == '\ufeffa,b\r\n"x,y","q"""\r\n"two\nlines",\r\n'


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@a", "\tx", "\rx", "'=x", "''@"])
def test_no_text_is_a_formula(text: str) -> None:
    out = written(("a",), [(text,)])
    cell = next(csv.DictReader(io.StringIO(out[1:], newline="")))["a"]
    assert cell[0] == "'"
    assert cells(out.encode(), "a") == [[text]]


@settings(max_examples=300, deadline=None, derandomize=True, database=None)
@given(rows=st.lists(st.tuples(*[st.text(st.characters(exclude_categories=["Cs"]))] * 2)))
def test_any_text_comes_back(rows: list[tuple[str, str]]) -> None:
    """Rows of nothing but space are the only ones that are passed over."""
    left = [list(row) for row in rows if any(cell.strip() for cell in row)]
    data = written(("a", "b"), rows).encode()
    if left:
        assert cells(data, "ab") == left
    for cell in (c for row in csv.reader(io.StringIO(data.decode()[1:], newline="")) for c in row):
        assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"a;b;c\r\n1;2;3", "line 1: the columns must be parted by commas"),
        (b"a,d\r\n1,2", "line 1: no column is called 'd'"),
        (b"a,a\r\n1,2", "line 1: the column a stands there twice"),
        (b"b\r\n1", "line 1: the column a is missing"),
        (b"a,b\r\n1,2\r\n1", "line 3: 1 cells"),
        (b"a,b\r\n\"x\r\ny\",2\r\n1", "line 4: 1 cells"),
        (b'a,b\r\n1,"2', "line 2: this is no table"),
        (b'a,b\r\n1,"2"x', "line 2: this is no table"),
        (b"a,b\r\n1,\xff", "line 2: this is no UTF-8"),
        ("a,b\r\n1,2".encode("utf-16"), "UTF-8"),
        (b"a,b\r\n", "no rows"),
        (b"", "no rows"),
        (b"a,b\r\n" + b"1,2\r\n" * 5001, "at most 5000"),
        (b"a,b\r\n1," + b"2" * 200_000, "line 2"),
    ],
)  # fmt: skip
def test_what_is_no_table_is_told_with_its_line(data: bytes, says: str) -> None:
    with pytest.raises(OutOfRange) as told:
        read(data, ("a", "b", "c"), ("a",))
    assert says in str(told.value)


def test_a_row_of_ones_own_takes_the_rest_from_the_rig() -> None:
    data = b"taken_at,point,head,output_fraction,f_number,tenths_of_stop,iso,shutter_s\r\n" \
           b"2026-05-01T10:00:00+02:00,hair,Hair,0.25,5.6,3,400,0.008\r\n"  # fmt: skip
    (reading,) = readings_of_table(data, RIG)
    assert reading.placement == RIG.head("Hair").placement
    assert reading.at == datetime(2026, 5, 1, 8, tzinfo=UTC)
    assert reading.receptor == "flat"
    # f/5.6 and 3 tenths: exact f/5.657 times 2**0.15 (tenths of hand meters: common practice)
    assert reading.lux == pytest.approx(lux_for(2**2.5 * 2**0.15, 400, 0.008, 250))
    assert not readings_of_table(data, RIG)[0].shaded


BASE = {"taken_at": "2026-05-01T10:00:00+00:00", "point": "hair", "head": "Key",
        "output_fraction": "0.25", "illuminance_lux": "800"}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            {"illuminance_lux": "", "f_number": "812", "iso": "400", "shutter_s": "0.008"},
            "line 2, f_number: an f-number must lie in 0.5..128, got 812: is it lux?",
        ),
        ({"illuminance_lux": "", "ev_at_iso": "812", "iso": "100"}, "line 2, ev_at_iso: EV must"),
        ({"illuminance_lux": "", "ev_at_iso": "8"}, "line 2, iso: needed"),
        ({"illuminance_lux": "", "f_number": "8", "iso": "100"}, "line 2, shutter_s: needed"),
        (
            {"illuminance_lux": "", "f_number": "8", "iso": "100", "shutter_s": "1:125"},
            "line 2, shutter_s: must be a number",
        ),
        ({"illuminance_lux": ""}, "line 2: one of illuminance_lux, ev_at_iso, f_number"),
        ({"f_number": "8"}, "got illuminance_lux and f_number"),
        ({"illuminance_lux": "812,5"}, "line 2, illuminance_lux: must be a number, with a point"),
        ({"illuminance_lux": "nan"}, "line 2, illuminance_lux: must be a number"),
        ({"illuminance_lux": "1_000"}, "line 2, illuminance_lux: must be a number"),
        ({"illuminance_lux": "1e999"}, "line 2, illuminance_lux: lux must lie"),
        ({"illuminance_lux": "-3"}, "line 2, illuminance_lux: lux must lie"),
        ({"output_fraction": ""}, "line 2, output_fraction: needed"),
        ({"output_fraction": "0"}, "line 2, output_fraction: needed"),
        ({"output_fraction": "25"}, "line 2, output_fraction: output must lie"),
        ({"point": "left knee"}, "line 2, point: nothing here is called 'left knee'; there are"),
        ({"head": "Moon"}, "line 2, head: nothing here is called 'Moon'; there are Key"),
        ({"head": "", "shaded": "yes"}, "line 2, shaded: only a head"),
        ({"shaded": "maybe"}, "line 2, shaded: must be yes or no"),
        ({"receptor": "ball"}, "line 2, receptor: must be flat or dome"),
        ({"taken_at": "yesterday"}, "line 2, taken_at: must be a moment"),
        ({"taken_at": "2026-05-01T10:00:00"}, "line 2, taken_at: must be a moment with its time"),
        ({"taken_at": "1815-05-01T10:00:00Z"}, "line 2, taken_at: a reading's year must lie"),
        ({"output_fraction": "0.00001"}, "line 2, output_fraction: output must lie"),
        ({"face_yaw_deg": "400"}, "line 2, face_yaw_deg: yaw_deg must lie"),
        ({"azimuth_deg": "181"}, "line 2, azimuth_deg: azimuth_deg must lie"),
        ({"rise_m": "9"}, "line 2, rise_m: rise_m must be smaller"),
        ({"focus_0_to_1": "2"}, "line 2, focus_0_to_1: focus must lie"),
        ({"scrims_stops": "half"}, "line 2, scrims_stops: scrims must be"),
        ({"scrims_stops": "9"}, "line 2, scrims_stops: scrims must lie"),
        ({"aim": "left knee"}, "line 2, aim: nothing here is called 'left knee'"),
        ({"aim": "at 1 2 900"}, "line 2, aim: aim must lie"),
    ],
)
def test_a_wrong_row_is_told_with_line_and_column(change: dict[str, str], says: str) -> None:
    row = BASE | change
    data = written(tuple(row), [tuple(row.values())]).encode()
    with pytest.raises((OutOfRange, NotFound)) as told:
        readings_of_table(data, RIG)
    assert says in str(told.value)


FLOATS = st.floats(allow_nan=False, allow_infinity=False)
PLACEMENTS = st.builds(
    Placement, azimuth_deg=st.floats(-180, 180), distance_m=st.floats(2, 100),
    rise_m=st.floats(-1, 1), focus=st.floats(0, 1),
    scrims=st.lists(st.floats(0, 6), max_size=6).map(tuple),
    aim=st.sampled_from(["mark", "hair"]) | st.tuples(*[st.floats(-100, 100)] * 3),
)  # fmt: skip
MOMENTS = st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1)).flatmap(
    lambda at: st.integers(-840, 840).map(
        lambda zone: at.replace(tzinfo=timezone(timedelta(minutes=zone)))
    )
)
READINGS = st.builds(
    Reading, point=st.sampled_from([p.name for p in RIG.points]),
    head=st.sampled_from([h.name for h in RIG.heads]), lux=st.floats(0, 500_000),
    output=st.floats(0.0005, 1), at=MOMENTS, placement=PLACEMENTS, yaw_deg=st.floats(-180, 180),
    receptor=st.sampled_from(["flat", "dome"]), shaded=st.booleans(),
    minutes_on=st.none() | st.floats(0, 600),
    by=st.sampled_from(["meter", "camera"]),
) | st.builds(Reading, point=st.just("hair"), head=st.just(""), lux=st.floats(0, 9),
              output=st.just(0.0), at=MOMENTS)  # fmt: skip


@settings(max_examples=200, deadline=None, derandomize=True, database=None,
          suppress_health_check=list(HealthCheck))  # fmt: skip
@given(readings=st.lists(READINGS, min_size=1, max_size=6))
def test_any_readings_come_back_exactly(readings: list[Reading]) -> None:
    rig = Rig(RIG.room, points=RIG.points, heads=RIG.heads, readings=tuple(readings))
    text = readings_table(rig)
    assert text.startswith("\ufeff" + ",".join(COLUMNS) + "\r\n")
    assert readings_of_table(text.encode(), RIG) == tuple(readings)
