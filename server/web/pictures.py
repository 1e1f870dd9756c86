"""Match a picture: what was dropped in, the points tapped on it, the light that was found."""

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from hashlib import sha256
from typing import TYPE_CHECKING

from server.errors import NotFound, Refused, StudioError
from server.live.now import Now
from server.studio.likeness import SIXTH, Alike, Mixed, Off, mixed_like, most_alike
from server.studio.look import Look
from server.studio.rig import Rig
from server.web.faces import Faces
from server.web.tapping import Tapping, Taps, tapping
from server.web.views import Tile, tile_view
from server.web.words import advice_words, point_words, stops_words

if TYPE_CHECKING:
    from server.preview.photograph import Photograph

KEPT = 6
ENOUGH, LIKEST = 2, 3
TOLD_FROM_STOPS = 0.15
START = Fraction(2)
"""Every head so far below full, where there is no look to start from. [stop]"""


class Pictures:
    """The last pictures that were dropped in, as long as the server runs."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, tuple[Photograph, bytes]] = OrderedDict()

    def take(self, name: str, data: bytes) -> str:
        """Read a picture; its name in addresses. OutOfRange when it cannot be read."""
        try:
            from server.preview.photograph import read_photograph
            from server.preview.tapped import shown
        except ImportError as error:
            raise Refused(f"pictures cannot be read on this machine ({error})") from None
        picture = read_photograph(name, data, finished=True)
        key = sha256(picture.linear.tobytes()).hexdigest()[:12]
        with self._lock:
            self._kept[key] = (picture, shown(picture))
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return key

    def get(self, key: str) -> "tuple[Photograph, bytes]":
        """A picture and its JPEG."""
        with self._lock:
            if key not in self._kept:
                raise NotFound("this picture is not kept any more: drop it in again")
            return self._kept[key]


@dataclass(frozen=True)
class Near:
    """How near a light comes to the picture, and what is off."""

    near: str
    off: str


@dataclass(frozen=True)
class MixView:
    """The light found for the rig as it stands."""

    how: Near
    heads: str
    figures: str


@dataclass(frozen=True)
class MatchView:
    """The page of one picture. `likes` are looks of the library, the likest first."""

    picture: str
    taps: str
    tapping: Tapping
    stand_in: str
    likes: tuple[tuple[Tile, Near], ...] = ()
    mix: MixView | None = None
    why: str = ""


def match_view(
    pictures: Pictures, faces: Faces, now: Now, looks: Sequence[Look], key: str, taps: Taps
) -> MatchView:
    """Where the taps are, and, from two points of the face on, what comes nearest."""
    pictures.get(key)
    view = MatchView(
        picture=key,
        taps=taps.text,
        tapping=tapping(now, taps, f"/match/{key}", f"/match/{key}.jpg"),
        stand_in=now.rig.sitter.stand_in,
    )
    if taps.next and sum(p.name in taps.found for p in now.rig.face_points) < ENOUGH:
        return view
    try:
        likes, mix = found_light(pictures, now, looks, key, taps)
    except StudioError as error:
        return replace(view, why=str(error))
    shown = tuple(
        (tile_view(now, like.look, 0, None, faces), _near(like.rms_stops, like.off))
        for like in likes[:LIKEST]
    )
    return replace(view, likes=shown, mix=_mix_view(now.rig, mix))


def found_light(
    pictures: Pictures, now: Now, looks: Sequence[Look], key: str, taps: Taps
) -> tuple[tuple[Alike, ...], Mixed]:
    """The looks by their likeness, and the mix of this rig that starts at the likest."""
    picture = pictures.get(key)[0]
    from server.preview.tapped import tones_of  # numpy: there is a picture, so it is there

    tones = tones_of(picture, taps.found, now.rig)
    likes = most_alike(now.rig, looks, tones)
    setting = now.record.history.now.setting
    stops: dict[str, Fraction | None] = {h.name: START for h in now.rig.heads}
    if likes:
        stops = {h.name: likes[0].look.stops.get(h.name) for h in now.rig.heads}
    return likes, mixed_like(now.rig, tones, replace(setting, stops=stops, origin=None))


def _mix_view(rig: Rig, mix: Mixed) -> MixView:
    lit = [(h.name, s) for h in rig.heads if (s := mix.setting.of(h)) is not None]
    heads = ", ".join(f"{name} {stops_words(float(3 * s))}" for name, s in lit)
    lens = f", then {advice_words(mix.lens)}" if mix.lens.advice else ""
    return MixView(
        how=_near(mix.rms_stops, mix.off),
        heads=f"{heads} stops below full",
        figures=f"{mix.ratio.told} lit : shadow{lens}",
    )


def _near(rms_stops: float, off: Off) -> Near:
    told = [
        f"{point_words(n)} {v:+.1f}".replace("-", "−") for n, v in off if abs(v) >= TOLD_FROM_STOPS
    ]
    return Near(
        near=f"{rms_stops:.1f} stop off" if rms_stops >= SIXTH else "within a sixth of a stop",
        off=f"{', '.join(told)} stop" if told else "",
    )
