"""A face under any outputs: its one-light frames, whoever made them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from server.preview.develop import composite
from server.preview.subject import AMBIENT
from server.studio.rig import Rig


@dataclass(frozen=True, eq=False)
class Portrait:
    """One-light frames of one sitter, by head name, each at full output. [lx]

    `AMBIENT` among the names is the room's own light. `kind` tells how they were made: "drawn"
    from the rig's geometry, or "photographed".
    """

    kind: str
    yaw_deg: float
    frames: Mapping[str, np.ndarray]

    def lit(self, outputs: Mapping[str, float]) -> np.ndarray:
        """Reflectance times illuminance under these outputs, float32 (height, width). [lx]"""
        names = list(self.frames)
        weights = [1.0 if name == AMBIENT else outputs.get(name, 0.0) for name in names]
        return composite([self.frames[name] for name in names], weights)


@dataclass(frozen=True)
class Offer:
    """A portrait that can be had at once. `version` changes whenever a pixel does."""

    kind: str
    version: str
    load: Callable[[], Portrait | None]
    """Reads the frames; None when they went away in the meantime."""


class Provider(Protocol):
    """Whoever can show a sitter under the heads of a rig."""

    def offer(
        self, rig: Rig, yaw_deg: float, heads: tuple[str, ...], *, urgent: bool = False
    ) -> Offer | None:
        """A portrait with frames for these heads, standing as they stand in this rig.

        Answers at once. None when there is none (yet): a provider that can make it, does so in
        the background, what is `urgent` first.
        """
