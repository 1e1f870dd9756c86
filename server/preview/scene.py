"""What is drawn and what lights it: plain frozen values that travel to a worker process."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from server.errors import OutOfRange


@dataclass(frozen=True)
class StandIn:
    """A drawn sitter. Measures are factors on a middle head; reflectances are 0 to 1."""

    name: str
    description: str
    face_width: float = 1.0
    jaw_width: float = 1.0
    brow_ridge: float = 0.5  # 0 smooth, 1 heavy
    lip_fullness: float = 1.0
    nose_width: float = 1.0
    neck_width: float = 1.0
    hair_length: float = 0.0  # 0 short, ears free; 1 down to the jaw
    hair_volume: float = 1.0
    parting: float = 1.0  # 0 both sides alike; 1 parted at camera left and swept across
    curl: float = 0.0  # 0 straight strands, 1 close curls
    skin_reflectance: float = 0.34
    hair_reflectance: float = 0.06
    garment_reflectance: float = 0.08


_ALL = (
    StandIn("one", "narrower face, short hair, middle skin"),
    StandIn(
        "two",
        "narrower face, fuller hair, lighter skin",
        face_width=0.98,
        jaw_width=0.93,
        brow_ridge=0.2,
        lip_fullness=1.12,
        nose_width=0.94,
        neck_width=0.93,
        hair_length=1.0,
        skin_reflectance=0.42,
        hair_reflectance=0.08,
    ),
    StandIn(
        "three",
        "broader face, short curled hair, darker skin",
        face_width=1.05,
        jaw_width=1.05,
        brow_ridge=0.6,
        lip_fullness=1.15,
        nose_width=1.14,
        neck_width=1.04,
        hair_volume=0.75,
        parting=0.0,
        curl=1.0,
        skin_reflectance=0.14,
        hair_reflectance=0.035,
        garment_reflectance=0.045,
    ),
)
STAND_INS: Mapping[str, StandIn] = MappingProxyType({each.name: each for each in _ALL})


@dataclass(frozen=True)
class Scene:
    """The sitter, how the face is turned, what is behind, and the size of the picture.

    `yaw_deg` turns the nose to camera right when positive. `bounce` is the light that comes back
    from the room, as a fraction of what the head gives at the mark. `gloss` is the sheen of skin
    and hair and the catchlight in the eyes.
    """

    stand_in: str
    yaw_deg: float
    background_distance_m: float = 1.5
    background_reflectance: float = 0.3
    width: int = 320
    height: int = 400
    supersample: int = 2
    bounce: float = 0.012
    gloss: bool = True

    def __post_init__(self) -> None:
        if self.stand_in not in STAND_INS:
            names = ", ".join(STAND_INS)
            raise OutOfRange(f"stand_in: there is no {self.stand_in!r}; choose one of {names}")
        _within("yaw_deg", self.yaw_deg, -180.0, 180.0)
        _within("background_distance_m", self.background_distance_m, 0.4, 50.0)
        _within("background_reflectance", self.background_reflectance, 0.0, 1.0)
        _within("width", self.width, 16, 2000)
        _within("height", self.height, 16, 2000)
        _within("supersample", self.supersample, 1, 4)
        _within("bounce", self.bounce, 0.0, 1.0)


@dataclass(frozen=True)
class Source:
    """One head at full output: where its lens is, where it points, and its beam (design: light).

    `curve`, where the head was measured, is its light as a share of the peak by the angle off the
    axis [deg], and stands in place of the two angles.
    """

    position_m: tuple[float, float, float]
    aim_m: tuple[float, float, float]
    diameter_m: float
    candela: float
    beam_deg: float
    field_deg: float
    scrim_stops: float = 0.0
    curve: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        for i, axis in enumerate("xyz"):
            _within(f"position_m {axis}", self.position_m[i], -100.0, 100.0)
            _within(f"aim_m {axis}", self.aim_m[i], -100.0, 100.0)
        if self.position_m == self.aim_m:
            raise OutOfRange("aim_m is the head's own position: aim it at another point")
        _within("diameter_m", self.diameter_m, 0.001, 10.0)
        _within("candela", self.candela, 0.0, 1e8)
        _within("scrim_stops", self.scrim_stops, 0.0, 20.0)
        if self.curve:
            return
        _within("beam_deg", self.beam_deg, 0.1, 359.0)
        _within("field_deg", self.field_deg, 0.1, 360.0)
        if self.field_deg <= self.beam_deg:
            raise OutOfRange(
                f"field_deg {self.field_deg:g} must be larger than beam_deg {self.beam_deg:g}"
            )


@dataclass(frozen=True)
class Ambient:
    """Even light from all around, such as a room's own. [lx]"""

    lux: float

    def __post_init__(self) -> None:
        _within("ambient lux", self.lux, 0.0, 1e6)


Light = Source | Ambient


def _within(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:  # also catches nan
        raise OutOfRange(f"{name} must be between {low:g} and {high:g}, got {value:g}")
