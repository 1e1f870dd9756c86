"""One-light frames: the stand-in lit by one head alone at full output, and a store of them.

Light adds, so a look is the sum of its frames, each times the output of its head (develop.py).
"""

import hashlib
import logging
import threading
from collections import OrderedDict
from dataclasses import astuple, replace
from pathlib import Path

import numpy as np

from server.preview.grid import drawing_signature, write_array
from server.preview.render import evenly_lit, lit_by, stage_of
from server.preview.scene import Ambient, Light, Scene

_log = logging.getLogger(__name__)
_UNIT_CANDELA = 1000.0  # frames are stored for this peak, without scrims
_UNIT_LUX = 100.0  # and for this ambient light
_WRITES_BETWEEN_CLEARINGS = 50
_LARGEST = float(np.finfo(np.float16).max)


def one_light_frame(scene: Scene, light: Light, folder: Path | None = None) -> np.ndarray:
    """Reflectance times illuminance at full output, float32 (height, width). [lx]

    `folder` keeps the sampled drawing for the next process.
    """
    stage = stage_of(scene, folder)
    return evenly_lit(stage, light.lux) if isinstance(light, Ambient) else lit_by(stage, light)


class FrameCache:
    """Frames by what they depend on; the least lately used leave when `byte_limit` is reached.

    Peak candela and scrims only scale a frame, so a head that gets a scrim needs no new one.
    With a `folder`, frames outlive the process there, the oldest leaving at `disk_limit` bytes.
    Safe to use from several threads.
    """

    def __init__(
        self,
        byte_limit: int = 64_000_000,
        folder: Path | None = None,
        disk_limit: int = 500_000_000,
    ) -> None:
        self.byte_limit = byte_limit
        self.folder = folder
        self.disk_limit = disk_limit
        self._writes = 0
        self._frames: OrderedDict[str, np.ndarray] = OrderedDict()
        self._bytes = 0
        self._lock = threading.Lock()

    def get(self, scene: Scene, light: Light) -> np.ndarray:
        """The frame as float16, rendered now if it is not kept. [lx]"""
        found = self.peek(scene, light)
        if found is not None:
            return found
        unit = one_light_frame(scene, unit_light(light), self.folder)
        return self.keep(scene, light, unit)

    def peek(self, scene: Scene, light: Light) -> np.ndarray | None:
        """The frame if it is kept in memory or on disk; never renders. [lx]"""
        key = frame_key(scene, light)
        with self._lock:
            unit = self._frames.get(key)
            if unit is not None:
                self._frames.move_to_end(key)
        if unit is None:
            unit = self._read(key, (scene.height, scene.width))
            if unit is None:
                return None
            self._remember(key, unit)
        return _scaled(unit, light)

    def keep(self, scene: Scene, light: Light, unit: np.ndarray) -> np.ndarray:
        """Store the frame of `unit_light(light)`; answer it for `light`, as `get` would. [lx]"""
        key = frame_key(scene, light)
        unit = np.minimum(unit, _LARGEST).astype(np.float16)
        self._remember(key, unit)
        if self.folder is not None:
            write_array(self._file(key), unit)
            self._writes += 1
            if self._writes % _WRITES_BETWEEN_CLEARINGS == 1:
                self._clear_oldest()
        return _scaled(unit, light)

    def _remember(self, key: str, unit: np.ndarray) -> None:
        with self._lock:
            old = self._frames.pop(key, None)
            if old is not None:
                self._bytes -= old.nbytes
            self._frames[key] = unit
            self._bytes += unit.nbytes
            while self._bytes > self.byte_limit and len(self._frames) > 1:
                _, oldest = self._frames.popitem(last=False)
                self._bytes -= oldest.nbytes

    def _clear_oldest(self) -> None:
        assert self.folder is not None
        try:
            files = [(file.stat(), file) for file in self.folder.glob("frame-*.npy")]
            total = sum(stat.st_size for stat, _ in files)
            for stat, file in sorted(files, key=lambda pair: pair[0].st_mtime):
                if total <= self.disk_limit:
                    break
                file.unlink(missing_ok=True)
                total -= stat.st_size
        except OSError as problem:
            _log.warning("old frames in %s could not be cleared: %s", self.folder, problem)

    def _file(self, key: str) -> Path:
        assert self.folder is not None
        return self.folder / f"frame-{key}.npy"

    def _read(self, key: str, shape: tuple[int, int]) -> np.ndarray | None:
        if self.folder is None:
            return None
        file = self._file(key)
        try:
            unit = np.load(file, allow_pickle=False)
        except FileNotFoundError:
            return None
        except (ValueError, OSError, EOFError) as problem:
            _log.warning("%s cannot be read (%s); rendering it again", file, problem)
            return None
        if unit.shape != shape or unit.dtype != np.float16:
            _log.warning("%s holds something else; rendering it again", file)
            return None
        return unit


def unit_light(light: Light) -> Light:
    """The same light at the strength that stored frames are made for, without scrims."""
    if isinstance(light, Ambient):
        return Ambient(_UNIT_LUX)
    return replace(light, candela=_UNIT_CANDELA, scrim_stops=0.0)


def frame_key(scene: Scene, light: Light) -> str:
    """Name of the stored frame: equal when, and only when, all that the picture needs is equal."""
    depends_on = (drawing_signature(), *map(_plain, (astuple(scene), astuple(unit_light(light)))))
    return hashlib.sha256(repr(depends_on).encode()).hexdigest()[:24]


def _plain(values: tuple[object, ...]) -> tuple[object, ...]:
    """The same values, with 10, 10.0 and numpy's ten all written alike."""
    return tuple(
        _plain(value)
        if isinstance(value, tuple)
        else value
        if isinstance(value, str)
        else float(value)  # type: ignore[arg-type]
        for value in values
    )


def _scaled(unit: np.ndarray, light: Light) -> np.ndarray:
    if isinstance(light, Ambient):
        factor = light.lux / _UNIT_LUX
    else:
        factor = light.candela / _UNIT_CANDELA * 2.0**-light.scrim_stops
    return np.minimum(unit.astype(np.float32) * np.float32(factor), _LARGEST).astype(np.float16)
