"""The shapes of the JSON contract: what may be sent, with examples for the API page."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Fade = Annotated[float, Field(ge=0, le=60, description="seconds")]


class Strict(BaseModel):
    """Unknown fields are errors: a misspelt one must not be swallowed."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, strict=False)


class CircuitDocument(Strict):
    name: str
    breaker_amps: float
    other_amps: float = 0.0
    phase: Literal["", "L1", "L2", "L3"] = ""


class RoomDocument(Strict):
    name: str
    mains_volts: float = 230.0
    continuous_factor: float = 0.8
    ambient_lux: float = 0.0
    circuits: list[CircuitDocument] = []
    signal_loss: Literal["not tested", "holds", "goes dark", "fades"] = "not tested"
    units: Literal["m", "ft"] = "m"
    ceiling_m: float | None = None


class SitterDocument(Strict):
    yaw_deg: float = 0.0
    white_over_lit_stops: float = 0.7
    stand_in: str = "one"
    colour: bool = False
    never: list[str] = Field(default=[], max_length=7)


class PointDocument(Strict):
    name: str
    on: Literal["face", "room"]
    x: float
    y: float
    z: float
    nx: float
    ny: float
    nz: float
    receptor: Literal["flat", "dome"] = "flat"


class LensDocument(Strict):
    iso: float = 400.0
    shutter_s: float = 0.008
    f_number: float = 5.6


class MeterDocument(Strict):
    c_flat: float = 250.0
    c_dome: float = 320.0


class BeamDocument(Strict):
    focus: float
    candela: float
    beam_deg: float
    field_deg: float


class MeasuredDocument(Strict):
    """What a photometric file gave: candela by the angle off the axis."""

    focus: float
    name: str = ""
    watts: float = 0.0
    angles_deg: list[float] = Field(min_length=2, max_length=721, examples=[[0, 10, 20, 90]])
    candelas: list[float] = Field(min_length=2, max_length=721, examples=[[9000, 4500, 900, 0]])


class PlacementDocument(Strict):
    azimuth_deg: float = 45.0
    distance_m: float = 2.0
    rise_m: float = 0.6
    focus: float = 0.5
    scrims: list[float] = []
    aim: str | Annotated[list[float], Field(min_length=3, max_length=3)] = "mark"


class PastCurveDocument(Strict):
    curve: str = "linear"
    curve_points: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = []
    steady_from: float = 0.0


class HeadDocument(Strict):
    name: str
    role: str
    universe: int = 1
    address: int = 1
    bits: int = 8
    circuit: str = ""
    watts: float = 200.0
    power_factor: float = 1.0
    lamp: str = "led"
    cct_kelvin: float = 5600.0
    curve: str = "linear"
    curve_points: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = []
    beam: list[BeamDocument] = Field(
        default=[BeamDocument(focus=0.5, candela=20000, beam_deg=25, field_deg=40)], min_length=1
    )
    placement: PlacementDocument = PlacementDocument()
    lens_diameter_m: float = 0.2
    steady_from: float = 0.0
    touched_at: str | None = None
    bands_below: float = 0.0
    out: bool = False
    photometry: list[MeasuredDocument] = Field(default=[], max_length=8)
    curve_before: PastCurveDocument | None = None


class ReadingDocument(Strict):
    point: str
    head: str = ""
    lux: float
    output: float = 0.0
    at: str
    placement: PlacementDocument | None = None
    yaw_deg: float = 0.0
    receptor: Literal["flat", "dome"] = "flat"
    shaded: bool = False
    minutes_on: float | None = None
    by: Literal["meter", "camera"] = "meter"


class LampDocument(Strict):
    """A line of the lamp log: how the head reads since, once it was read."""

    head: str
    at: str
    hours: float = 0.0
    counted: float = 0.0
    note: str = ""
    stops: float | None = None
    point: str = ""
    held: list[tuple[int, str]] = []
    same_lamp: bool = False


RIG_EXAMPLE: dict[str, Any] = {
    "room": {"name": "Boathouse", "mains_volts": 120,
             "circuits": [{"name": "A", "breaker_amps": 20}]},
    "lens": {"iso": 400, "shutter_s": 0.008, "f_number": 5.6},
    "heads": [{"name": "Key", "role": "key", "address": 1, "circuit": "A", "watts": 210,
               "curve": "square",
               "beam": [{"focus": 0, "candela": 90000, "beam_deg": 10, "field_deg": 18},
                        {"focus": 1, "candela": 9000, "beam_deg": 50, "field_deg": 65}],
               "placement": {"azimuth_deg": 45, "distance_m": 2.4, "rise_m": 1.2, "focus": 0.7}}],
}  # fmt: skip


ROOMS_EXAMPLE: list[dict[str, Any]] = [
    {"id": 1, "name": "Boathouse", "open": True, "heads": ["Key", "Fill", "Hair"], "circuits": 3,
     "looks": 12, "archived": False},
    {"id": 2, "name": "Old mill", "open": False, "heads": ["Key", "Fill"], "circuits": 1,
     "looks": 0, "archived": False},
]  # fmt: skip


class RigDocument(Strict):
    model_config = ConfigDict(
        extra="forbid", allow_inf_nan=False, json_schema_extra={"examples": [RIG_EXAMPLE]}
    )
    room: RoomDocument
    sitter: SitterDocument = SitterDocument()
    points: list[PointDocument] = Field(default=[], max_length=64)
    lens: LensDocument = LensDocument()
    meter: MeterDocument = MeterDocument()
    heads: list[HeadDocument] = Field(max_length=512)
    readings: list[ReadingDocument] = Field(default=[], max_length=5000)
    lamps: list[LampDocument] = Field(default=[], max_length=2000)


class Levels(Strict):
    levels: dict[str, float] = Field(examples=[{"Key": 80.0}])
    fade_s: Fade = 0.0


class Nudge(Strict):
    role: str | None = Field(default=None, examples=["key"])
    head: str | None = None
    thirds: int = Field(default=1, ge=-9, le=9, strict=True)
    keep: Literal["nothing", "exposure", "ratio"] = "nothing"
    fade_s: Fade | None = None


class RatioWish(Strict):
    target: float = Field(examples=[4.0])
    hold: Literal["lens"] | None = None
    move: Literal["key", "fill"] | None = None
    fade_s: Fade | None = None


class Recall(Strict):
    look: int = Field(examples=[1])
    fade_s: Fade | None = None
    anyway: bool = Field(default=False, description="even if it would pass a breaker's rating")


class Mix(Strict):
    look: int = Field(examples=[1])
    part: float = Field(default=0.5, ge=0, le=1)
    fade_s: Fade | None = None


class NewLook(Strict):
    name: str | None = None
    tags: list[str] = []
    notes: str = ""


class LookChange(Strict):
    name: str | None = None
    tags: list[str] | None = None
    notes: str | None = None


class Order(Strict):
    looks: list[int] = Field(max_length=500, examples=[[1, 2, 3]])


class Move(Strict):
    fade_s: Fade | None = None


class Compare(Strict):
    hold: bool
