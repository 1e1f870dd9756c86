"""A set of one-light photographs of one room: kept beside the database, shown instead of drawings.

The folder holds `set.json` and a file of float16 light a head. A new frame is written whole before
the list names it, so a crash leaves the set as it was.
"""

import json
import os
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from server.errors import OutOfRange, Refused
from server.preview.alignment import has_moved
from server.preview.photograph import Exposure, Photograph, scene_light
from server.preview.portrait import Offer, Portrait
from server.preview.subject import AMBIENT
from server.studio.document import placement_document, placement_from_document
from server.studio.lamps import gained_since
from server.studio.look import differs
from server.studio.rig import Rig

YAW_WITHIN_DEG = 5.0
"""A face turned farther than this is another picture."""
LIST = "set.json"


@dataclass(frozen=True)
class Shot:
    """One frame of the set: what it was shot of, and how the head stood."""

    head: str
    name: str
    at: str
    yaw_deg: float
    size: tuple[int, int]
    document: dict[str, Any]


class Photographs:
    """The set, and a Provider of it. Methods may be called from any thread."""

    def __init__(self, folder: Path) -> None:
        self._lock = threading.Lock()
        self.read(folder)

    def read(self, folder: Path) -> None:
        """Work with the set in this folder from now on."""
        with self._lock:
            self._folder = folder
            self._document: dict[str, Any] = {"used": False, "shots": {}}
            self.trouble = ""
            try:
                self._document = json.loads((folder / LIST).read_text())
            except FileNotFoundError:
                pass
            except (OSError, ValueError) as error:
                self.trouble = f"the photographs in {folder} cannot be read: {error}"

    # -- what there is -----------------------------------------------------------------------------

    @property
    def used(self) -> bool:
        """Whether the pages show photographs where they can."""
        return bool(self._document["used"])

    def shots(self) -> dict[str, Shot]:
        """Frames by head; the room's own light under the empty name."""
        return {
            head: Shot(head, d["name"], d["at"], d["yaw_deg"], tuple(d["size"]), d)
            for head, d in self._document["shots"].items()
        }

    def moved(self, rig: Rig, head: str) -> bool:
        """Whether a head stands elsewhere than when it was photographed."""
        found = self._document["shots"].get(head)
        if not found or not head:
            return False
        now = next((h.placement for h in rig.heads if h.name == head), None)
        return now is None or differs(placement_from_document(found["placement"], head), now)

    def gained(self, rig: Rig, head: str) -> float:
        """Light of a head now over what it gave when it was photographed, as its lamp log says.
        [1]; 1 for the room's own light and for a head without a frame"""
        found = self._document["shots"].get(head)
        if not found or not head:
            return 1.0
        return gained_since(rig.lamps, head, datetime.fromisoformat(found["at"]))

    # -- changing it -------------------------------------------------------------------------------

    def add(
        self,
        rig: Rig,
        head: str,
        photograph: Photograph,
        asked: Exposure | None,
        *,
        output: float,
        yaw_deg: float,
        at: datetime,
        folder: Path | None = None,
    ) -> None:
        """Take a frame of one head alone (or of the room's own light, head empty) into the set;
        `folder` is that of the room in which it was shot.

        Raises
        ------
        Refused
            The room's own light is missing, the stand-in has moved, or another room was opened.
        OutOfRange
            Exposure unknown, or the frame has another shape than the set.
        """
        exposure = photograph.exposure or asked
        if exposure is None:
            raise OutOfRange(
                f"{photograph.name}: its Exif tags do not tell ExposureTime, FNumber and"
                " ISOSpeedRatings; type them in beside the file"
            )
        shots = self.shots()
        name = f"{photograph.name} ({head or 'the room'})"
        if head and AMBIENT not in shots:
            raise Refused("the room's own light comes first: a frame with all heads dark")
        if others := [s for h, s in shots.items() if h != head]:
            known = others[0]
            if photograph.original[0] * known.size[1] != photograph.original[1] * known.size[0]:
                width, height = photograph.original
                raise OutOfRange(
                    f"{name}: {width} x {height} pixels have another shape than {known.name}"
                    f" ({known.size[0]} x {known.size[1]})"
                )
        light = scene_light(photograph, exposure, rig.meter.c_flat)
        if head:
            reference = next((h for h in shots if h and h != head), None)
            if reference is not None and has_moved(self._light(reference), light):
                raise Refused(
                    f"{name}: the stand-in or the camera has moved since {shots[reference].name};"
                    " shoot it again, or start the set anew"
                )
            light = np.maximum(0.0, light - self._light(AMBIENT)) / output
        self._keep(rig, head, photograph, light, yaw_deg, at, folder)

    def _keep(
        self,
        rig: Rig,
        head: str,
        photograph: Photograph,
        light: np.ndarray,
        yaw_deg: float,
        at: datetime,
        folder: Path | None,
    ) -> None:
        scale = float(light.max()) or 1.0
        stored = (light / scale).astype(np.float16)
        file = f"{sha256(stored.tobytes()).hexdigest()[:16]}.npy"
        shot = {
            "file": file, "scale": scale, "name": photograph.name, "at": at.isoformat(),
            "yaw_deg": yaw_deg, "size": list(photograph.original),
            "placement": placement_document(rig.head(head).placement) if head else None,
        }  # fmt: skip
        with self._lock:
            if folder not in (None, self._folder):  # a frame takes a while to be read
                raise Refused(f"another room was opened meanwhile: {photograph.name} was not taken")
            try:
                self._folder.mkdir(parents=True, exist_ok=True)
                draft = self._folder / f"{file}.new"
                with draft.open("wb") as opened:
                    np.save(opened, stored)
                os.replace(draft, self._folder / file)
            except OSError as error:
                raise Refused(f"the frame could not be kept ({error.strerror})") from None
            shots = {**self._document["shots"], head: shot}
            self._write({**self._document, "shots": shots})

    def use(self, on: bool) -> None:
        """Show the photographs, or the drawings again."""
        if on and len(self._document["shots"]) < 2:
            raise Refused("no photographs yet: the room's own light and one head at least")
        with self._lock:
            self._write({**self._document, "used": on})

    def start_anew(self) -> None:
        """Forget all frames."""
        with self._lock:
            self._write({"used": False, "shots": {}})
            for file in self._folder.glob("*.npy"):
                with suppress(OSError):  # no longer named by the list: only room is lost
                    file.unlink()

    def _write(self, document: dict[str, Any]) -> None:
        draft = self._folder / f"{LIST}.new"
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            draft.write_text(json.dumps(document))
            os.replace(draft, self._folder / LIST)
        except OSError as error:
            raise Refused(f"the set could not be written ({error.strerror})") from None
        self._document = document

    def _light(self, head: str) -> np.ndarray:
        return _loaded(self._folder, self._document["shots"][head])

    # -- showing it --------------------------------------------------------------------------------

    def offer(
        self, rig: Rig, yaw_deg: float, heads: tuple[str, ...], *, urgent: bool = False
    ) -> Offer | None:
        """A photographed portrait, when every head asked for was shot as it stands now."""
        shots = self._document["shots"]
        if not self.used or AMBIENT not in shots:
            return None
        for head in heads:
            if head not in shots or self.moved(rig, head):
                return None
        if abs(shots[AMBIENT]["yaw_deg"] - yaw_deg) > YAW_WITHIN_DEG:
            return None
        wanted = {h: self.gained(rig, h) for h in (AMBIENT, *heads)}
        files = (shots[h]["file"].removesuffix(".npy") for h in wanted)
        gains = (f"{h}:{gain:.4f}" for h, gain in wanted.items() if gain != 1.0)
        version = "p" + sha256("-".join((*files, *gains)).encode()).hexdigest()[:16]
        return Offer("photographed", version, self._loader(wanted, shots[AMBIENT]["yaw_deg"]))

    def portrait(self, rig: Rig) -> Portrait | None:
        """All frames of heads that stand as they did, shown or not; None before there are any."""
        shots = self._document["shots"]
        heads = tuple(h.name for h in rig.heads if h.name in shots and not self.moved(rig, h.name))
        if AMBIENT not in shots or not heads:
            return None
        wanted = {h: self.gained(rig, h) for h in (AMBIENT, *heads)}
        return self._loader(wanted, shots[AMBIENT]["yaw_deg"])()

    def _loader(self, wanted: Mapping[str, float], yaw_deg: float) -> Callable[[], Portrait | None]:
        folder, shots = self._folder, {h: self._document["shots"][h] for h in wanted}

        def load() -> Portrait | None:
            try:
                frames = {
                    h: _loaded(folder, shot) * np.float32(wanted[h]) for h, shot in shots.items()
                }
                return Portrait("photographed", yaw_deg, frames)
            except (OSError, KeyError, ValueError):
                return None  # forgotten or replaced in the meantime

        return load


def _loaded(folder: Path, shot: dict[str, Any]) -> np.ndarray:
    """One frame, as light of its head at full output."""
    stored = np.load(folder / shot["file"], allow_pickle=False)
    light: np.ndarray = stored.astype(np.float32) * np.float32(shot["scale"])
    return light
