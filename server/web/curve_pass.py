"""A curve pass as the address of its page tells it: a reload, a restart and the browser's back key
lose nothing of it."""

from dataclasses import dataclass, replace
from urllib.parse import parse_qsl, urlencode

from server.errors import OutOfRange, Refused
from server.live.now import Now
from server.physics.signal import signal_for
from server.studio.curve_in import USUAL_LEVELS, LevelReading
from server.studio.head import Head
from server.studio.metering import is_alone
from server.studio.setting import signal
from server.web.forms import number


@dataclass(frozen=True)
class Pass:
    """What was read so far, and where."""

    point: str = ""
    room_lux: float | None = None
    readings: tuple[LevelReading, ...] = ()
    steady_from: float = 0.0
    level: float | None = None
    room_id: str = ""
    """The room the head is in: another may have one that is called the same."""

    @classmethod
    def of(cls, query: str) -> "Pass":
        """The pass that an address tells. OutOfRange when it is none of ours."""
        told = dict(parse_qsl(query[:4000]))
        readings = []
        for part in told.get("read", "").split(";"):
            if part:
                at, _, lux = part.partition(":")
                readings.append(LevelReading(number({"level": at}, "level"),
                                             number({"lux": lux}, "lux")))  # fmt: skip
        room = LevelReading(1.0, number(told, "room")).lux if told.get("room") else None
        level = number(told, "level") if told.get("level") else None
        if level is not None:
            LevelReading(level, 0.0)
        steady = number(told, "steady") if told.get("steady") else 0.0
        if not 0 <= steady <= 1:
            raise OutOfRange(f"steady must lie in 0..1, got {steady:g}")
        return cls(
            told.get("point", "")[:60], room, tuple(readings), steady, level,
            told.get("in", "")[:20],
        )  # fmt: skip

    @property
    def query(self) -> str:
        """The address that tells it."""
        told = {"point": self.point}
        if self.room_id:
            told["in"] = self.room_id
        if self.room_lux is not None:
            told["room"] = f"{self.room_lux:.6g}"
        if self.readings:
            told["read"] = ";".join(f"{r.level:.6g}:{r.lux:.6g}" for r in self.readings)
        if self.steady_from:
            told["steady"] = f"{self.steady_from:.6g}"
        if self.level is not None:
            told["level"] = f"{self.level:.6g}"
        return urlencode(told)

    @property
    def next_level(self) -> float | None:
        """The level to read next; None while the room's own light is asked for, and at the end."""
        if self.room_lux is None:
            return None
        if self.level is not None:
            return self.level
        read = {r.level for r in self.readings}
        return next((level for level in USUAL_LEVELS if level not in read), None)

    def with_reading(self, level: float, lux: float) -> "Pass":
        """One reading more, and on to the next level."""
        return replace(self, readings=(*self.readings, LevelReading(level, lux)), level=None)


def head_of_pass(now: Now, name: str, passing: Pass) -> Head:
    """The head that is read. Refused when another room was opened since."""
    if passing.room_id and passing.room_id != str(now.record.room_id):
        raise Refused(
            f"{now.rig.room.name} was opened meanwhile, these readings are of another room:"
            " open that one again to go on, or the head's page to begin anew"
        )
    return now.rig.head(name)


def is_lit(now: Now, head: Head, level: float) -> bool:
    """Whether the head is lit alone at this level, to the byte."""
    setting = now.record.history.now.setting
    return is_alone(now.rig, setting, head.name) and (
        signal(head, setting.output(head)) == signal_for(level, head.bits)
    )
