"""The look book goes out, comes in, and nothing is stored that was not seen before."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session
from starlette.testclient import TestClient

from server.store.looks import all_looks
from server.studio.exchange.book import book_document, looks_of_book
from server.web.book_shape import LookBook, book_schema
from tests.web.bringing import bring, damaged_files_change_nothing, keep, told
from tests.web.test_devices import device

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = json.loads((ROOT / "static" / "look-book.schema.json").read_text("utf-8"))


def book(client: TestClient) -> Any:
    return client.get("/library/files/look-book").json()


def test_out_and_into_an_empty_studio_is_the_identity(
    client: TestClient, empty: TestClient
) -> None:
    client.post("/library/3/order", data={"move": "out"})
    client.post("/library/5/order", data={"move": "earlier"})
    client.post("/api/nudge", json={"role": "key", "thirds": 1})
    client.post("/api/levels", json={"levels": {"Key": 61.2, "Fill": 12.34, "Hair": 3}})
    client.post("/api/looks", json={"name": "=1+1, “ü”", "tags": ["a b"], "notes": "two\nlines"})
    out = client.get("/library/files/look-book")
    assert 'filename="look-book.json"' in out.headers["content-disposition"]
    page = bring(empty, out.content)
    assert "needs Key" in page.text
    assert book(empty)["looks"] == []
    assert keep(empty, page).status_code == 200
    assert empty.get("/library/files/look-book").content == out.content
    assert len(book(empty)["looks"]) == 13


def test_the_same_looks_are_left_out_and_an_own_one_is_added(client: TestClient) -> None:
    document = book(client)
    before = told(client)
    page = bring(client, document)
    assert "Nothing will be added" in page.text
    assert "12 will be left out" in page.text
    document["looks"][0]["notes"] = "another note"
    page = bring(client, document)
    assert "another look of this name is here: both stay" in page.text
    assert told(client) == before
    keep(client, page)
    order = client.get("/api/running-order").json()
    assert [look["name"] for look in order][-1] == document["looks"][0]["name"]
    assert len(order) == len(before[1]) + 1


def test_a_name_of_a_gone_head_is_kept_and_marked(client: TestClient) -> None:
    document = book(client)
    client.post("/rig/heads/Hair/delete")
    document["looks"][3]["name"] = "With hair"
    page = bring(client, document)
    assert "needs Hair: kept, and recalled once this rig has it" in page.text
    keep(client, page)
    look = next(k for k in client.get("/api/looks").json() if k["name"] == "With hair")
    refused = client.post("/api/recall", json={"look": look["id"]})
    assert refused.status_code == 409
    assert "needs Hair" in refused.json()["detail"]
    assert "needs Hair" in client.get("/library").text


def test_a_look_aimed_at_a_point_that_is_not_here_is_marked(client: TestClient) -> None:
    document = book(client)
    document["looks"] = document["looks"][:2]
    for look in document["looks"]:
        look["name"] += " anew"
    document["looks"][0]["placements"]["Key"]["aim"] = "left knee"
    page = bring(client, document)
    assert "2 will be added" in page.text
    assert "Key is aimed at left knee, which is no point here" in page.text
    keep(client, page)
    assert client.get("/library").status_code == 200
    assert client.get("/").status_code == 200


def test_taken_in_and_out_again(client: TestClient, empty: TestClient) -> None:
    done = keep(empty, bring(empty, book(client)), order=False)
    assert "12 added from the file" in done.text
    assert empty.get("/api/running-order").json() == []
    token = done.url.query.decode().partition("came=")[2]
    empty.post(f"/library/files/kept/{token}/out")
    assert empty.get("/api/looks").json() == []


def test_what_was_seen_is_what_is_stored(client: TestClient, empty: TestClient) -> None:
    page = bring(empty, book(client))
    empty.put("/api/rig", json=client.get("/api/rig").json())
    again = keep(empty, page)
    assert "changed since you looked" in again.text
    assert empty.get("/api/looks").json() == []
    assert "needs Key" not in again.text
    assert keep(empty, again).status_code == 200
    assert len(empty.get("/api/looks").json()) == 12
    assert keep(empty, again).status_code == 404  # a second tap stores nothing twice
    assert len(empty.get("/api/looks").json()) == 12


def test_a_hand_written_look_gets_its_figures_here(client: TestClient) -> None:
    document = book(client)
    kept = client.get("/api/looks/1").json()
    for name in ("figures", "kept_at", "place"):
        del document["looks"][0][name]
    document["looks"] = [document["looks"][0] | {"name": "By hand"}]
    keep(client, bring(client, document))
    look = client.get("/api/looks").json()[0]
    assert look["lux"] == pytest.approx(kept["lux"])
    assert look["ratio"] == pytest.approx(kept["ratio"])


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (b"", "empty"),
        (b"\xff\xfe\x00", "no look book"),
        (b"[" * 100_000, "no look book"),
        (b"{}", "no look book"),
        (b'{"rig": []}', "no look book"),
        (lambda d: d.update(version=2), "update Thirdstop"),
        (lambda d: d.update(version="1"), "version"),
        (lambda d: d.update(extra=1), "extra"),
        (lambda d: d["looks"][0].pop("lens"), "lens"),
        (lambda d: d["looks"][0].update(name=" "), "name"),
        (lambda d: d["looks"][0].update(name="a\u202eb"), "name"),
        (lambda d: d["looks"][0].update(yaw_deg=181), "yaw_deg"),
        (lambda d: d["looks"][0].update(place=d["looks"][1]["place"]), "place"),
        (lambda d: d["looks"][0].update(kept_at="today"), "kept_at"),
        (lambda d: d["looks"][0].update(tags=["a,b"]), "tags"),
        (lambda d: d["looks"][0]["stops_below_full"].update(Fill="-1"), "Fill"),
        (lambda d: d["looks"][0]["stops_below_full"].update(Fill="1/0"), "Fill"),
        (lambda d: d["looks"][0]["stops_below_full"].update(Fill="1e999999999"), "Fill"),
        (lambda d: d["looks"][0]["stops_below_full"].update(Fill="1075"), "1074"),
        (lambda d: d["looks"][0]["stops_below_full"].update({" Fill": "1"}), "space"),
        (lambda d: d["looks"][0]["placements"]["Fill"].update(rise_m=99), "rise_m"),
        (lambda d: d["looks"][0]["lens"].update(iso=float("nan")), "iso"),
        (lambda d: d["looks"][0]["lens"].update(iso=10**400), "iso"),
        (lambda d: d["looks"][0]["lens"].update(iso="400"), "iso"),
        (lambda d: d["looks"][0]["figures"].update(ratio=-1), "ratio"),
        (lambda d: d["looks"][0].update(notes="\ud800"), "notes"),
    ],
)  # fmt: skip
def test_a_wrong_book_is_refused_whole(client: TestClient, wrong: Any, says: str) -> None:
    document = book(client)
    before = told(client)
    if isinstance(wrong, bytes):
        document = wrong
    else:
        wrong(document)
    answer = bring(client, document)
    assert answer.status_code == 422
    assert says in answer.text
    assert told(client) == before


def test_the_page_of_the_refusal_speaks_and_a_notice_does_too(client: TestClient) -> None:
    answer = client.post(
        "/library/files/look-book", files={"document": ("x", b"{")},
        headers={"HX-Request": "true"},
    )  # fmt: skip
    assert answer.status_code == 422
    assert 'id="notice"' in answer.text
    assert client.post("/library/files/look-book").status_code == 422
    assert client.post(
        "/library/files/look-book", files={"document": ("x", b" " * 9_000_000)}
    ).status_code == 413  # fmt: skip


def test_who_may_only_ask_brings_no_file(client: TestClient) -> None:
    document = client.get("/library/files/look-book").content.replace(b'"Loop"', b'"Loop 2"')
    assistant, second = device(client, "Ana", "ask"), device(client, "Second", "operate")
    refused = bring(assistant, document)
    assert refused.status_code == 403
    assert "may only ask" in refused.text
    assert client.post("/api/only-me", json={"on": True}).status_code == 200
    page = bring(second, document)  # looks are not the light: as in the Library itself
    assert "1 will be added" in page.text
    table = b"taken_at,point,head,illuminance_lux\r\n2026-05-01T10:00:00Z,hair,,2\r\n"
    assert bring(second, table, "/meter/files/readings").status_code == 403
    assert client.get("/api/readings").json() == []


def test_damaged_books(client: TestClient, empty: TestClient) -> None:
    path = "/library/files/look-book"
    data = client.get(path).content
    assert damaged_files_change_nothing(client, empty, path, data) > 50


def test_the_served_schema_is_the_one_of_the_reader(client: TestClient) -> None:
    assert book_schema() == SCHEMA
    assert client.get("/static/look-book.schema.json").json() == SCHEMA


def valid(document: Any) -> bool:
    """Whether a book has the schema's form: by an independent validator where there is one."""
    try:
        import jsonschema_rs
    except ImportError:
        from pydantic import ValidationError

        try:
            LookBook.model_validate(document, strict=True)
        except ValidationError:
            return False
        return True
    return jsonschema_rs.validator_for(SCHEMA).is_valid(document)


def test_schema_and_reader_agree(client: TestClient) -> None:
    document = book(client)
    assert valid(document)
    for change in (
        lambda d: d.pop("format"),
        lambda d: d.update(version=2),
        lambda d: d.update(more=1),
        lambda d: d["looks"][0].pop("stops_below_full"),
        lambda d: d["looks"][0]["lens"].update(iso="400"),
        lambda d: d["looks"][0].update(place=0),
        lambda d: d["looks"][0]["placements"]["Fill"].update(tilt_deg=3),
        lambda d: d["looks"][0]["stops_below_full"].update(Fill="a third"),
    ):
        wrong = copy.deepcopy(document)
        change(wrong)
        assert not valid(wrong)
        assert bring(client, wrong).status_code == 422


NAMES = st.text(st.characters(min_codepoint=33, max_codepoint=0x2FF, categories=["L", "N", "P"]),
                min_size=1, max_size=40)  # fmt: skip
PLACEMENT = st.builds(
    dict, azimuth_deg=st.floats(-180, 180), distance_m=st.floats(2, 100), rise_m=st.floats(-1, 1),
    focus=st.floats(0, 1), scrims=st.lists(st.floats(0, 6), max_size=6),
    aim=st.one_of(st.just("mark"), st.lists(st.floats(-9, 9), min_size=3, max_size=3)),
)  # fmt: skip
LOOK = st.builds(
    dict, name=NAMES, tags=st.lists(NAMES.map(lambda n: n.lower().replace(",", "")[:30])
                                    .filter(bool), max_size=12, unique=True),
    notes=st.text(st.characters(exclude_categories=["C"]), max_size=50).map(str.strip),
    place=st.none(), kept_at=st.datetimes().map(lambda d: d.isoformat() + "+00:00"),
    stops_below_full=st.dictionaries(
        NAMES, st.one_of(st.none(), st.fractions(0, 1074).map(str)), max_size=4),
    placements=st.dictionaries(NAMES, PLACEMENT, max_size=4),
    lens=st.builds(dict, iso=st.floats(1, 1e6), shutter_s=st.floats(1e-5, 3600),
                   f_number=st.floats(0.5, 128)),
    yaw_deg=st.floats(-180, 180),
    figures=st.builds(dict, lux=st.dictionaries(NAMES, st.floats(0, 1e6), max_size=3),
                      ratio=st.none() | st.floats(0.01, 1e6), f_number=st.none() | st.floats(1, 9)),
)  # fmt: skip


@settings(max_examples=60, deadline=None, derandomize=True, database=None,
          suppress_health_check=list(HealthCheck))  # fmt: skip
@given(looks=st.lists(LOOK, max_size=4), running=st.permutations([1, 2, 3, 4]))
def test_any_book_comes_back_as_it_went(looks: list[Any], running: list[int]) -> None:
    places = sorted(running[: len(looks)])
    for look, place in zip(looks, running, strict=False):
        look["place"] = places.index(place) + 1
    document = {"format": "thirdstop look book", "version": 1, "looks": looks}
    assert valid(document)
    read = looks_of_book(LookBook.model_validate(document, strict=True).model_dump())
    assert book_document(read) == document


def test_every_look_of_the_store_is_in_the_book(client: TestClient) -> None:
    client.post("/library/2/delete")
    with Session(client.app.state.desk.database) as session:
        names = [look.name for look in all_looks(session)]
    assert [look["name"] for look in book(client)["looks"]] == names
    assert len(names) == 11
