"""The lighting plan against the geometry it draws: azimuth from the camera line, straight throws.

Worked by hand: 2.2 m at 45 degrees camera right, 1.5 m up: h = sqrt(2.2**2 - 1.5**2) = 1.609 m, so
x = z = 1.138 m.
"""

import re
from dataclasses import replace
from math import atan2, degrees, hypot

import pytest
from starlette.testclient import TestClient

from server.studio.document import rig_from_document
from server.studio.setting import exact_stops
from server.web.plan import plans

RIG = rig_from_document(
    {
        "room": {"name": "Test"},
        "heads": [
            {"name": "Key", "role": "key",
             "beam": [{"focus": 0.5, "candela": 9000, "beam_deg": 30, "field_deg": 44}],
             "placement": {"azimuth_deg": 45, "distance_m": 2.2, "rise_m": 1.5}},
            {"name": "Rim", "role": "rim", "address": 2,
             "placement": {"azimuth_deg": -150, "distance_m": 2.0, "rise_m": 0.0}},
        ],
    }
)  # fmt: skip


def head(plan, name: str):
    return next(h for h in plan.heads if h.name == name)


def test_heads_stand_where_the_geometry_puts_them() -> None:
    above, side = plans(RIG, 0.0)
    key = head(above, "Key")
    assert (float(key.x), float(key.y)) == pytest.approx((113.8, 113.8), abs=0.1)
    assert (float(head(side, "Key").x), float(head(side, "Key").y)) == pytest.approx(
        (113.8, -150.0), abs=0.1
    )
    rim = head(above, "Rim")  # behind the sitter, camera left: up and to the left on the plan
    assert (float(rim.x), float(rim.y)) == pytest.approx((-100.0, -173.2), abs=0.1)


def test_cones_open_by_the_beam_and_end_at_the_sitter() -> None:
    key = head(plans(RIG, 0.0)[0], "Key")
    points = [tuple(map(float, p)) for p in re.findall(r"[ML]([-\d.]+) ([-\d.]+)", key.cone)]
    ways = [degrees(atan2(y - points[0][1], x - points[0][0])) for x, y in points[1:]]
    assert abs(ways[0] - ways[1]) == pytest.approx(30.0, abs=0.2)
    middle = [sum(p[i] for p in points[1:]) / 2 for i in (0, 1)]
    assert hypot(*middle) == pytest.approx(0, abs=0.5)


def test_the_more_light_the_larger_the_box() -> None:
    sizes = [
        float(head(plans(RIG, 0.0, {"Key": stops, "Rim": None})[0], "Key").size)
        for stops in (None, exact_stops(0.1), exact_stops(0.5), exact_stops(1.0))
    ]
    assert sizes == sorted(set(sizes))


def test_points_are_drawn_where_they_are_and_turn_with_the_face() -> None:
    """The background hangs 1.5 m behind the mark; the cheek at (6, 2) cm turned by 90 degrees to
    camera right stands at (2, -6)."""
    drawn = {p.name: (float(p.x), float(p.y)) for p in plans(RIG, 90.0)[0].points}
    assert drawn["background"] == pytest.approx((0, -150), abs=0.05)
    assert drawn["cheek right"] == pytest.approx((2, -6), abs=0.05)


def test_only_the_head_that_is_moved_can_be_taken_hold_of() -> None:
    for plan in plans(RIG, 0.0, moving="Rim"):
        assert [h.name for h in plan.heads if h.grip] == ["Rim"]
        assert plan.heads[-1].name == "Rim"  # drawn last, on top of its neighbours
        width, height = map(float, plan.box.split()[2:])
        assert 2 * float(plan.heads[-1].grip) > 0.1 * max(width, height)


def test_words_stand_clear_of_each_other_and_of_the_heads(client: TestClient) -> None:
    """A letter is taken as half as wide as the line is high (common practice for sans type). Words
    are 12 px or more where the longer side of the sheet is 340 px long, of a whole plan 510 px."""
    now = client.app.state.desk.engine.now()
    crowd = replace(now.rig, heads=tuple(
        replace(h, name=f"{h.name} {n}", address=2 * (9 * n + i) + 1,
                placement=replace(h.placement, azimuth_deg=5.0 * n))
        for n in range(7) for i, h in enumerate(now.rig.heads)
    ))  # fmt: skip
    for rig, moving in ((now.rig, ""), (now.rig, "Key"), (crowd, "")):
        for plan in plans(rig, 0.0, now.setting.stops if rig is now.rig else None, moving=moving):
            left, _, wide, high = map(float, plan.box.split())
            line, boxes = float(plan.line), []
            for each in plan.heads:
                width = 0.5 * line * max(map(len, each.lines), default=0)
                x = float(each.label_x) - {"start": 0, "middle": 0.5, "end": 1}[each.anchor] * width
                y = float(each.label_y) - 0.8 * line
                boxes.append((x, x + width, y, y + line * len(each.lines), each.name))
                assert left <= x
                assert x + width <= left + wide
            boxes = [box for box in boxes if box[2] < box[3]]
            assert len(boxes) == len(plan.heads) or "left out for want of room" in plan.unnamed
            for a in boxes:
                for b in boxes:
                    apart = a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2]
                    assert a is b or apart, (a, b)
                for head in plan.heads:
                    over = a[0] < float(head.x) < a[1] and a[2] < float(head.y) < a[3]
                    assert not over, (a, head.name)
            assert float(plan.type_size) * (340 if moving else 510) / max(wide, high) >= 12


def test_a_small_move_does_not_shift_the_sheet() -> None:
    moved = RIG.standing({"Key": replace(RIG.head("Key").placement, distance_m=2.22)})
    for before, after in zip(plans(RIG, 0.0), plans(moved, 0.0), strict=True):
        assert before.box == after.box


def test_every_head_lies_inside_the_drawing_and_is_told_in_words() -> None:
    for plan in plans(RIG, 20.0, {"Key": exact_stops(0.5), "Rim": None}):
        x, y, width, height = map(float, plan.box.split())
        for each in plan.heads:
            assert x < float(each.x) < x + width
            assert y < float(each.y) < y + height
        assert "Key 2.20 m ▼1" in plan.text
        assert "Rim 2.00 m dark" in plan.text
        assert head(plan, "Rim").cone == ""


def test_the_tape_of_the_room_is_kept_and_used_everywhere(client: TestClient) -> None:
    """2.2 m are 86.6 in, on a tape with quarters 7 ft 2½ in (an inch is 25.4 mm)."""
    assert "Key 2.20 m" in client.get("/rig/plan").text
    assert "7 ft 2½ in, 45° camera right" not in client.get("/rig").text
    client.post("/rig/units", data={"units": "ft", "back": "/rig/plan"})
    assert client.get("/api/rig").json()["room"]["units"] == "ft"
    for path in ("/rig/plan", "/library/3/plan", "/rig/plan?units=ft"):
        assert "Key 7 ft 2½ in" in client.get(path).text
    assert "7 ft 2½ in, 45° camera right" in client.get("/rig").text
    client.post("/api/recall", json={"look": 4, "fade_s": 0})
    ways = client.get("/api/ways?head=Key&thirds=-3").json()["ways"]
    assert any(re.match(r"Key to \d+ ft [\d¼½¾]+ in", way["text"]) for way in ways)
    assert "Key 2.20 m" in client.get("/rig/plan?units=m").text
    assert client.post("/rig/units", data={"units": "ell"}).status_code == 422
    before = client.get("/api/rig").json()
    assert client.put("/api/rig", json=before).status_code == 200
    del before["room"]["units"]  # rigs of before units were kept
    client.put("/api/rig", json=before)
    assert client.get("/api/rig").json()["room"]["units"] == "m"


@pytest.mark.parametrize("path", ["/rig/plan", "/rig/plan?units=ft", "/library/3/plan", "/rig"])
def test_the_pages_show_it(client: TestClient, path: str) -> None:
    page = client.get(path)
    assert page.status_code == 200
    assert 'aria-label="From above: ' in page.text
    assert "Key" in page.text


def test_a_mistake_of_ours_is_told_on_a_dark_page(client: TestClient) -> None:
    desk = client.app.state.desk
    engine, desk.engine = desk.engine, None
    answer = TestClient(client.app, raise_server_exceptions=False).get("/board")
    desk.engine = engine
    assert answer.status_code == 500
    assert "mistake in Thirdstop" in answer.text
    assert "stylesheet" in answer.text
