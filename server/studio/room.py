"""The room with its circuits, the sitter, and the points where light is read."""

from dataclasses import dataclass

from server.errors import OutOfRange
from server.physics.exposure import C_DOME, C_FLAT
from server.physics.geometry import Vector, length, turned
from server.physics.load import planning_limit_amps
from server.physics.photometry import dome_response, flat_response
from server.studio.head import name_of, number
from server.studio.tape import UNITS

PHASES = ("L1", "L2", "L3")


@dataclass(frozen=True)
class Circuit:
    """One breaker and what hangs on it besides the heads."""

    name: str
    breaker_amps: float
    other_amps: float = 0.0
    phase: str = ""
    """Of a three-phase supply: L1, L2 or L3; empty in a room of one phase."""

    def __post_init__(self) -> None:
        if self.phase not in ("", *PHASES):
            raise OutOfRange(
                f"circuit {self.name}: phase must be {', '.join(PHASES)} or nothing, got"
                f" {self.phase!r:.20}"
            )
        object.__setattr__(self, "name", name_of("circuit name", self.name))
        number(f"circuit {self.name}: breaker_amps", self.breaker_amps, 0, 1000, above=True)
        number(f"circuit {self.name}: other_amps", self.other_amps, 0, 1000)


SIGNAL_LOSS = ("not tested", "holds", "goes dark", "fades")
"""What a dimmer may do when its signal stops; it is tested once, with nobody under the light."""
HABITS = {
    "not tested": "the dimmer does what nobody has tested yet",
    "holds": "the dimmer holds its last light",
    "goes dark": "the dimmer goes dark",
    "fades": "the dimmer fades out",
}
"""What that means for the sitter, as the warning says it."""


@dataclass(frozen=True)
class Room:
    """A place with circuits, a mains voltage and ambient light, and the habit of its dimmer.

    `units` is what its tape measure shows: metres, or feet and inches.
    """

    name: str
    mains_volts: float = 230.0
    continuous_factor: float = 0.8
    ambient_lux: float = 0.0
    circuits: tuple[Circuit, ...] = ()
    signal_loss: str = SIGNAL_LOSS[0]
    units: str = UNITS[0]
    ceiling_m: float | None = None
    """Floor to ceiling, None when nobody has told. [m]"""

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", name_of("room name", self.name))
        number("mains_volts", self.mains_volts, 50, 500)
        number("continuous_factor", self.continuous_factor, 0, 1, above=True)
        number("ambient_lux", self.ambient_lux, 0, 100_000)
        if self.ceiling_m is not None:
            number("ceiling_m", self.ceiling_m, 1.5, 50)
        if self.signal_loss not in SIGNAL_LOSS:
            raise OutOfRange(
                f"signal_loss must be one of {', '.join(SIGNAL_LOSS)}, got {self.signal_loss!r:.40}"
            )
        if self.units not in UNITS:
            raise OutOfRange(f"units must be one of {', '.join(UNITS)}, got {self.units!r:.40}")
        names = [c.name for c in self.circuits]
        if len(set(names)) < len(names):
            raise OutOfRange(f"circuits need names of their own, got {', '.join(names):.200}")

    def limit_amps(self, circuit: Circuit) -> float:
        """Planning limit of a circuit: not the law, local code decides. [A]"""
        return planning_limit_amps(circuit.breaker_amps, self.continuous_factor)


WAYS = ("dim", "lens", "iso", "shutter", "distance", "scrim", "focus")
STAND_INS = ("one", "two", "three")


@dataclass(frozen=True)
class Sitter:
    """The person portrayed, as far as light is concerned; `stand_in` is who is drawn for them."""

    yaw_deg: float = 0.0
    white_over_lit_stops: float = 0.7
    stand_in: str = STAND_INS[0]
    colour: bool = False
    """Whether the sitting is in colour: in black and white nothing is said of lamps' colours."""
    never: tuple[str, ...] = ()
    """Ways that are never offered."""

    def __post_init__(self) -> None:
        number("yaw_deg", self.yaw_deg, -180, 180)
        if self.stand_in not in STAND_INS:
            raise OutOfRange(
                f"stand_in must be one of {', '.join(STAND_INS)}, got {self.stand_in!r:.40}"
            )
        number("white_over_lit_stops", self.white_over_lit_stops, 0, 6)
        if not isinstance(self.colour, bool):
            raise OutOfRange(f"colour must be true or false, got {self.colour!r:.40}")
        object.__setattr__(self, "never", tuple(self.never))
        for kind in self.never:
            if kind not in WAYS:
                raise OutOfRange(f"never must be among {', '.join(WAYS)}, got {kind!r:.40}")


@dataclass(frozen=True)
class Meter:
    """Calibration constants of the incident meter: flat and dome receptor. [lx s]"""

    c_flat: float = C_FLAT
    c_dome: float = C_DOME

    def __post_init__(self) -> None:
        number("c_flat", self.c_flat, 100, 1000)
        number("c_dome", self.c_dome, 100, 1000)


@dataclass(frozen=True)
class Point:
    """A named metering point with position [m] and normal, on the face or in the room."""

    name: str
    on: str
    x: float
    y: float
    z: float
    nx: float
    ny: float
    nz: float
    receptor: str = "flat"

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", name_of("point name", self.name))
        if self.on not in ("face", "room"):
            raise OutOfRange(f"point {self.name}: on must be face or room, got {self.on!r:.40}")
        if self.receptor not in ("flat", "dome"):
            raise OutOfRange(
                f"point {self.name}: receptor must be flat or dome, got {self.receptor!r:.40}"
            )
        for axis in (self.x, self.y, self.z):
            number(f"point {self.name}: x, y, z", axis, -100, 100)
        for axis in (self.nx, self.ny, self.nz):
            number(f"point {self.name}: nx, ny, nz", axis, -1000, 1000)
        if length((self.nx, self.ny, self.nz)) == 0:
            raise OutOfRange(f"point {self.name}: the normal nx, ny, nz needs a length")

    def place(self, yaw_deg: float) -> tuple[Vector, Vector]:
        """Position [m] and normal in room coordinates, after the sitter turned."""
        position, normal = (self.x, self.y, self.z), (self.nx, self.ny, self.nz)
        if self.on == "room":
            return position, normal
        return turned(position, yaw_deg), turned(normal, yaw_deg)

    def response(self, cosine: float) -> float:
        """What its receptor makes of a ray. [1]"""
        return flat_response(cosine) if self.receptor == "flat" else dome_response(cosine)


# The crown of the head lies on the axis the sitter turns about, so `hair` may stay on "room":
# it is no side of the face and must never be taken for the lit or the shadow side.
USUAL_POINTS = (
    Point("cheek right", "face", 0.06, -0.04, 0.02, 0.77, 0.0, 0.64),
    Point("cheek left", "face", -0.06, -0.04, 0.02, -0.77, 0.0, 0.64),
    Point("forehead", "face", 0.0, 0.06, 0.09, 0.0, 0.2, 0.98),
    Point("hair", "room", 0.0, 0.14, 0.0, 0.0, 1.0, 0.0),
    Point("background", "room", 0.0, 0.0, -1.5, 0.0, 0.0, 1.0),
)
