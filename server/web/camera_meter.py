"""The camera as the meter, in words: what the photographs tell, and how well the meter agrees."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from server.errors import Refused, StudioError
from server.live.now import Now
from server.studio.by_camera import ByCamera, Pair, by_camera
from server.studio.head import Placement
from server.studio.rig import Rig
from server.web.rooms import counted
from server.web.tapping import Tapping, Taps, tapping
from server.web.words import point_words

if TYPE_CHECKING:
    from server.preview.photographs import Photographs
    from server.preview.portrait import Portrait

BASE = "/photographs/camera"
AGREE_STOPS = 1 / 6


@dataclass(frozen=True)
class PointView:
    """What the camera says of each head at one point."""

    name: str
    heads: str


@dataclass(frozen=True)
class CameraView:
    """The page."""

    taps: str
    tapping: Tapping
    points: tuple[PointView, ...] = ()
    summary: str = ""
    agreement: str = ""
    unknown: str = ""
    new: int = 0
    why: str = ""


def portrait_of(photographs: "Photographs", rig: Rig) -> "Portrait":
    """The frames of the heads as they stand. Refused before there are any."""
    portrait = photographs.portrait(rig)
    if portrait is None:
        raise Refused(
            "there are no photographs of the heads as they stand:"
            " shoot the room's own light and one head at least"
        )
    return portrait


def told_by_camera(
    portrait: "Portrait", rig: Rig, taps: Taps
) -> tuple[ByCamera, dict[str, Placement]]:
    """All pairs of the tapped points, and how the heads stand that were photographed."""
    from server.preview.spots import spot_at  # numpy: there is a portrait, so it is there

    spots = {name: spot_at(portrait, x, y).heads for name, (x, y) in taps.found.items()}
    stood = {h.name: h.placement for h in rig.heads if h.name in portrait.frames}
    return by_camera(rig, spots, stood), stood


def camera_view(photographs: "Photographs", now: Now, taps: Taps) -> CameraView:
    """Where the taps are, and what they tell."""
    rig = now.rig_now
    portrait = portrait_of(photographs, rig)
    view = CameraView(taps.text, tapping(now, taps, BASE, f"{BASE}.jpg"))
    if not taps.found:
        return view
    try:
        told, _ = told_by_camera(portrait, rig, taps)
    except StudioError as error:
        return CameraView(view.taps, view.tapping, why=str(error))
    by_point: dict[str, list[str]] = {}
    for pair in told.pairs:
        by_point.setdefault(pair.point, []).append(_pair_words(pair))
    return CameraView(
        taps=view.taps,
        tapping=view.tapping,
        points=tuple(PointView(point_words(n), ", ".join(heads)) for n, heads in by_point.items()),
        summary=_summary(told),
        agreement=_agreement(told),
        unknown=", ".join(point_words(name) for name in told.unknown),
        new=len(told.new),
    )  # fmt: skip


def _pair_words(pair: Pair) -> str:
    off = pair.off_stops
    beside = "" if off is None else f" ({off:+.1f} against the meter)".replace("-", "−")
    return f"{pair.head} {pair.camera_lux:.0f} lx{beside}"


def _summary(told: ByCamera) -> str:
    if not told.pairs:
        return ""
    metered = counted(sum(p.meter_lux is not None for p in told.pairs), "pair")
    more = sum(p.meter_lux is None for p in told.pairs)
    kept = sum(p.kept and p.meter_lux is None for p in told.pairs)
    taken = f", {kept} of them taken as readings" if kept else ""
    return f"{metered} metered, {more} more told by the camera{taken}"


def _agreement(told: ByCamera) -> str:
    offs = [(abs(p.off_stops), p) for p in told.agreement if p.off_stops is not None]
    if not offs:
        return ""
    worst, pair = max(offs, key=lambda o: o[0])
    if worst <= AGREE_STOPS:
        return f"camera and meter agree within {max(worst, 0.05):.1f} stop over {len(offs)} pairs"
    return (
        f"camera and meter are up to {worst:.1f} stop apart"
        f" ({pair.head} at {point_words(pair.point)}): tap again beside sheen and shadow edges,"
        " or read that pair once more"
    )
