"""A head with measured curves: on the face, in the drawn face, on the plan, in documents."""

import json
from dataclasses import replace
from math import cos, radians, sqrt

import numpy as np
import pytest

from server.errors import OutOfRange
from server.paths import DEMO_DATA
from server.physics.beam import intensity_cd
from server.physics.candela_curve import CandelaCurve
from server.preview.light import at_mark, intensity
from server.preview.subject import keys_of, source_of, subject_of
from server.studio.document import rig_document, rig_from_document
from server.studio.light import light_matrix
from server.studio.photometry import MeasuredBeam, beam_of_file, with_beam
from server.studio.rig import Rig
from server.web.contract import RigDocument
from server.web.plan import plans
from tests.physics.lm63_files import ROUND, written


@pytest.fixture(scope="module")
def rig() -> Rig:
    return rig_from_document(json.loads((DEMO_DATA / "rig.json").read_text("utf-8")))


def measured(rig: Rig, name: str, *beams: MeasuredBeam, **placed: object) -> Rig:
    """The rig with one head measured, and perhaps standing elsewhere."""
    head = rig.head(name)
    place = replace(head.placement, **placed)
    other = replace(head, photometry=beams, placement=place)
    return replace(rig, readings=(), heads=tuple(other if h is head else h for h in rig.heads))


def test_lux_at_the_mark_and_beside_it_by_hand(rig: Rig) -> None:
    """9000 cd at 3 m: 1000 lx at the mark. Seen from a lens at 3 m straight ahead, a point 0.45 m
    beside the mark is arctan(0.15) = 8.53 degrees off the axis: 9000 - 450 x 8.53 = 5161 cd, at
    3.0336 m, 561 lx facing the lens."""
    beam = beam_of_file(ROUND)
    one = measured(rig, "Key", beam, azimuth_deg=0.0, distance_m=3.0, rise_m=0.0, scrims=())
    at = replace(one.points[0], on="room", x=0.45, y=0.0, z=0.0,
                 nx=-0.45 / sqrt(9.2025), ny=0.0, nz=3 / sqrt(9.2025), receptor="flat")  # fmt: skip
    one = replace(one, points=(at, *one.points[1:]))
    matrix = light_matrix(one, 0.0)
    assert matrix.mark["Key"] == pytest.approx(1000.0)
    assert matrix.at[at.name]["Key"] == pytest.approx(5161.0 / 9.2025, rel=1e-3)


def test_a_curve_sampled_from_a_beam_lights_as_the_beam_does(rig: Rig) -> None:
    """Two ways to one light: beam rows, and the same beam written as a file of half degrees."""
    head = rig.head("Key")
    angles = [i / 2 for i in range(181)]
    text = written([[intensity_cd(head.beam_now, a) for a in angles]], angles, [0.0])
    as_file = measured(rig, "Key", beam_of_file(text))
    plain = replace(rig, readings=())
    for point, row in light_matrix(plain, 20.0).at.items():
        assert light_matrix(as_file, 20.0).at[point]["Key"] == pytest.approx(row["Key"], rel=0.005)
    assert as_file.head("Key").beam_now.beam_deg == pytest.approx(head.beam_now.beam_deg, abs=0.1)
    drawn = dict(subject_of(as_file, 20.0, ("Key",)).lights)["Key"]
    assert at_mark(drawn) == pytest.approx(light_matrix(as_file, 20.0).mark["Key"], rel=1e-4)


def test_the_drawn_face_takes_the_curve(rig: Rig) -> None:
    """What the drawing reckons off the axis is what the curve says there."""
    one = measured(rig, "Key", beam_of_file(ROUND))
    source = source_of(one.head("Key"), {p.name: p.place(0.0) for p in one.points})
    for off in (0.0, 5.0, 15.0, 50.0, 89.0, 120.0):
        cosine = np.array([cos(radians(off))])
        expected = one.head("Key").intensity_cd(off)
        assert intensity(source, cosine)[0] == pytest.approx(expected, rel=1e-5)
    keys = keys_of(one, 0.0, {h.name: 1.0 for h in one.heads})
    assert keys is not None
    assert keys.name != keys_of(rig, 0.0, {h.name: 1.0 for h in rig.heads}).name
    lit = ("Key",)
    assert subject_of(one, 0.0, lit).key != subject_of(rig, 0.0, lit).key


def test_the_cones_of_the_plan_are_the_measured_angles(rig: Rig) -> None:
    """Beam 20 degrees: the cone's half width over its length is tan 10 degrees = 0.1763."""
    one = measured(rig, "Key", beam_of_file(ROUND), azimuth_deg=0.0, distance_m=2.0, rise_m=0.0)
    above = plans(one, 0.0)[0]
    cone = next(h for h in above.heads if h.name == "Key").cone
    (x, y), (x1, y1), (x2, y2) = (tuple(map(float, p.split())) for p in cone.strip("MZ").split("L"))
    wide, long = (
        sqrt((x2 - x1) ** 2 + (y2 - y1) ** 2) / 2,
        sqrt(((x1 + x2) / 2 - x) ** 2 + ((y1 + y2) / 2 - y) ** 2),
    )
    assert wide / long == pytest.approx(0.1763, abs=1e-3)


def test_one_file_holds_at_every_focus_two_are_interpolated(rig: Rig) -> None:
    spot = beam_of_file(ROUND, 0.0)
    flood = MeasuredBeam(1.0, CandelaCurve((0.0, 30.0, 60.0), (1000.0, 500.0, 0.0)))
    for focus in (0.0, 0.4, 1.0):
        assert measured(rig, "Key", spot, focus=focus).head("Key").beam_now == spot.curve
    both = measured(rig, "Key", spot, flood, focus=0.5).head("Key").beam_now
    # 9000 and 1000 cd: 3000 in the middle of the logarithm; beams 20 and 60 degrees: 40
    assert both.candela == pytest.approx(3000.0)
    assert both.beam_deg == pytest.approx(40.0)
    assert with_beam((spot, flood), replace(spot, name="other"))[0].name == "other"
    assert with_beam((flood,), spot) == (spot, flood)


def test_a_document_goes_out_and_comes_in_again(rig: Rig) -> None:
    spot = beam_of_file(ROUND, 0.0)
    assert (spot.name, spot.watts) == ("a bench lamp with a lens", 575.0)
    flood = MeasuredBeam(1.0, CandelaCurve((0.0, 30.0, 61.5), (1000.0, 500.0, 0.0)))
    one = measured(rig, "Key", spot, flood)
    document = json.loads(json.dumps(rig_document(one)))
    again = rig_from_document(RigDocument.model_validate(document).model_dump())
    assert again == one
    assert json.loads(json.dumps(rig_document(again))) == document


@pytest.mark.parametrize(
    ("beam", "said"),
    [
        ({"focus": 2.0}, "focus"),
        ({"name": "x" * 81}, "name"),
        ({"watts": -1.0}, "watts"),
        ({"candelas": [1.0, 9000.0, 0.0]}, "along 0 degrees"),
        ({"angles_deg": [0.0, 5.0]}, "as many"),
    ],
)
def test_a_document_that_cannot_be_is_refused(rig: Rig, beam: dict[str, object], said: str) -> None:
    good = {"focus": 0.5, "angles_deg": [0.0, 5.0, 9.0], "candelas": [9.0, 4.0, 0.0]}
    document = rig_document(rig)
    document["heads"][0]["photometry"] = [good | beam]
    with pytest.raises(OutOfRange, match=said):
        rig_from_document(document)
    document["heads"][0]["photometry"] = [good, good]
    with pytest.raises(OutOfRange, match="rise in focus"):
        rig_from_document(document)
