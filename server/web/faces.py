"""Faces for the pages: a picture of every light, worked out in the background, never waited for.

What draws (numpy, Pillow) is imported by a thread of its own when a page first asks for a face: the
server starts without it, and lives without it when it is not to be had.
"""

import hashlib
import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Engine as Database

from server.errors import OutOfRange, Refused
from server.studio.look import Look
from server.studio.pattern import Pattern
from server.studio.rig import Rig
from server.studio.spot import Spot
from server.web.lights import Light, light_of_look
from server.web.pattern_book import PatternBook

if TYPE_CHECKING:
    from server.preview.drawing import Drawing
    from server.preview.photographs import Photographs
    from server.preview.portrait import Offer, Portrait, Provider

_log = logging.getLogger(__name__)
_PICTURES_KEPT = 300
_PLANES_KEPT = 6
_LOOKS_KEPT = 300
WAITING = "being drawn"


@dataclass(frozen=True)
class Face:
    """What there is to show of a light. Without a `version` there is no picture, and `why` says
    what is the matter."""

    light: Light
    version: str
    kind: str
    pattern: Pattern | None
    why: str


class Faces:
    """Every face of the pages. Its methods answer at once and may be called from any thread.

    `providers` are asked in order for the frames of a rig as it stands; the drawing is asked last.
    `tell` is called after whatever became new.
    """

    def __init__(
        self,
        folder: Path | None,
        database: Database,
        tell: Callable[[], None],
        photographs: Path = Path("photographs"),
    ) -> None:
        self.providers: list[Provider] = []
        self.news = 0
        """Grows with every new face and pattern."""
        self._folder = folder
        self._photographs_folder = photographs
        self._photographs: Photographs | None = None
        self._tell = tell
        self._book = PatternBook(database)
        self._lock = threading.Lock()
        self._begun = self._closed = False
        self._loading: threading.Thread | None = None
        self._drawing: Drawing | None = None
        self._trouble = ""
        self._looks: OrderedDict[int, tuple[Look, Rig, Light]] = OrderedDict()
        self._pictures: OrderedDict[str, bytes] = OrderedDict()
        self._planes: OrderedDict[str, bytes] = OrderedDict()

    def close(self) -> None:
        """Stop drawing."""
        with self._lock:
            self._begun = self._closed = True
        if self._loading:
            self._loading.join(timeout=10)
        drawing, self._drawing = self._drawing, None
        if drawing:
            drawing.close()

    # -- what there is to show -----------------------------------------------------------------

    def of_look(self, rig: Rig, look: Look) -> Face:
        """The face of a look as far as it is known; what is missing is made soon."""
        light = self.light_of_look(rig, look)
        if look.missing_heads(rig):  # a face without them would tell another light
            return Face(light, "", "", None, "")
        return self.of(light, look_id=look.look_id)

    def of(self, light: Light, *, urgent: bool = False, look_id: int | None = None) -> Face:
        """The face of a light as far as it is known; what is missing is made soon."""
        self._begin()
        offer, why = self._offer(light, light.lit, urgent)
        version = _version(offer, light) if offer else ""
        return Face(light, version, offer.kind if offer else "", self.pattern(light, look_id), why)

    def pattern(self, light: Light, look_id: int | None = None) -> Pattern | None:
        """The pattern of a light, None while it is not known. Never waits."""
        drawing = self._drawing
        return self._book.pattern(light, drawing.ask_pattern, look_id) if drawing else None

    def ask_pattern(self, rig: Rig, look: Look) -> None:
        """Read a look's pattern, soon, so that it can be found by it."""
        self._begin()
        self.pattern(light_of_look(rig, look), look.look_id)

    def recent_looks(self, most: int) -> list[Look]:
        """The looks that pages showed last."""
        with self._lock:
            return [look for look, _, _ in list(self._looks.values())[-most:]]

    def photographs(self) -> "Photographs":
        """The set of one-light photographs, shown before anything drawn. Refused without faces."""
        if self._folder is None:
            raise Refused("faces are switched off, so there is nothing to show photographs in")
        from server.preview.photographs import Photographs

        with self._lock:
            if self._photographs is None:
                self._photographs = Photographs(self._photographs_folder)
                self.providers.append(self._photographs)
            return self._photographs

    def in_room(self, photographs: Path) -> None:
        """Another room was opened: photographs are of the room they were taken in."""
        with self._lock:
            self._photographs_folder = photographs
            if self._photographs is not None:
                self._photographs.read(photographs)
        self._changed()

    def renew(self) -> None:
        """What the providers have is new: show it."""
        self._changed()

    def progress(self) -> tuple[int, int]:
        """Faces that can be seen, and faces that pages asked for."""
        return self._drawing.progress() if self._drawing else (0, 0)

    # -- pictures ------------------------------------------------------------------------------

    def picture(self, light: Light, *, zones: bool = False) -> tuple[str, bytes] | None:
        """Version and JPEG of a face, None while there is none."""
        found = self._found(light)
        if found is None:
            return None
        version = found[0] + ("-zones" if zones else "")
        made = self._pictures.get(version)
        if made is None:
            from server.preview.picture import Exposure, face

            portrait = found[1].load()
            if portrait is None:
                return None
            made = face(portrait, Exposure(light.outputs, light.mid_grey_lux), zones=zones)
            self._keep(self._pictures, version, made, _PICTURES_KEPT)
        return version, made

    def split_picture(self, left: Light, right: Light) -> tuple[str, bytes] | None:
        """Version and JPEG of a face with one light at camera left, another at camera right."""
        from server.preview.picture import Exposure, split_face

        versions: list[str] = []
        sides: list[tuple[Portrait, Exposure]] = []
        for light in (left, right):
            found = self._found(light)
            portrait = found[1].load() if found else None
            if found is None or portrait is None:
                return None
            versions.append(found[0])
            sides.append((portrait, Exposure(light.outputs, light.mid_grey_lux)))
        return "-".join(versions), split_face(sides[0], sides[1])

    def spot(self, light: Light, x: float, y: float) -> Spot | None:
        """Every head's light at a place of the picture, x to the right and y down, 0..1 each.
        None while there is no picture that every head has its share in."""
        self._begin()
        offer, _ = self._offer(light, tuple(light.outputs), urgent=True)
        portrait = offer.load() if offer else None
        if portrait is None:
            return None
        from server.preview.spots import spot_at

        return spot_at(portrait, x, y)

    def planes_version(self, light: Light) -> str:
        """Name of the planes with which a browser can light this sitter by any head; empty while
        there are none."""
        offer, _ = self._offer(light, tuple(light.outputs), urgent=True)
        return offer.version if offer else ""

    def planes(self, light: Light, version: str) -> bytes | None:
        """The planes of that name, None when they are of another rig or gone."""
        made = self._planes.get(version)
        if made is None:
            from server.preview.planes import planes_file

            offer, _ = self._offer(light, tuple(light.outputs), urgent=True)
            portrait = offer.load() if offer and offer.version == version else None
            if portrait is None:
                return None
            made = planes_file(portrait)
            self._keep(self._planes, version, made, _PLANES_KEPT)
        return made

    def _found(self, light: Light) -> "tuple[str, Offer] | None":
        self._begin()
        offer, _ = self._offer(light, light.lit, urgent=False)
        return (_version(offer, light), offer) if offer else None

    def _offer(
        self, light: Light, heads: tuple[str, ...], urgent: bool
    ) -> "tuple[Offer | None, str]":
        drawing = self._drawing
        try:
            for provider in (*self.providers, *([drawing] if drawing else [])):
                offer = provider.offer(light.rig, light.yaw_deg, heads, urgent=urgent)
                if offer:
                    return offer, ""
        except OutOfRange as error:  # a head that the drawing cannot take
            return None, str(error)
        if drawing is None:
            return None, self._trouble or (WAITING if self._folder else "")
        return None, drawing.problem(light.rig, light.yaw_deg, heads) or WAITING

    def light_of_look(self, rig: Rig, look: Look) -> Light:
        """What a look is on the rig as it is now, its heads where they stood. Remembered."""
        with self._lock:
            known = self._looks.get(look.look_id)
        light = known[2] if known and known[1] is rig else light_of_look(rig, look)
        with self._lock:
            self._looks[look.look_id] = (look, rig, light)
            self._looks.move_to_end(look.look_id)
            while len(self._looks) > _LOOKS_KEPT:
                self._looks.popitem(last=False)
        return light

    def _keep(self, store: OrderedDict[str, bytes], name: str, made: bytes, most: int) -> None:
        with self._lock:
            store[name] = made
            while len(store) > most:
                store.popitem(last=False)

    # -- the drawing, begun when first asked for -----------------------------------------------

    def _begin(self) -> None:
        with self._lock:
            if self._begun or self._folder is None:
                return
            self._begun = True
            self._loading = threading.Thread(
                target=self._load, args=(self._folder,), name="faces", daemon=True
            )
            self._loading.start()

    def _load(self, folder: Path) -> None:
        try:
            from server.preview.drawing import Drawing

            self._book.open()
            self.photographs()
            self._drawing = Drawing(folder, self._changed, self._book.read)
        except Exception as error:  # without numpy, say: the pages live on without faces
            _log.warning("faces cannot be drawn: %s", error)
            self._trouble = f"faces cannot be drawn: {error}"
        self._changed()

    def _changed(self) -> None:
        self.news += 1
        if not self._closed:
            self._tell()


def _version(offer: "Offer", light: Light) -> str:
    told = (offer.version, sorted(light.outputs.items()), light.mid_grey_lux)
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]
