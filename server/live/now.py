"""The immutable moment: everything that is lit, in one value that every page is drawn from."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property

from server.live.fade import Fade
from server.live.output import OutputStatus
from server.studio.figures import Figures, figures, outputs_of
from server.studio.history import LiveRecord
from server.studio.light import LightMatrix
from server.studio.load import CircuitLoad, circuit_loads
from server.studio.rig import Rig
from server.studio.setting import Setting

EPOCH = datetime.fromtimestamp(0, UTC)


@dataclass(frozen=True)
class Now:
    """What is lit, where the light is going, and who changed it last."""

    rig: Rig
    matrix: LightMatrix
    record: LiveRecord
    fade: Fade
    fading: bool
    comparing: bool
    output: OutputStatus
    text: str = ""
    actor: str = ""
    unsaved: str = ""
    """Why the last change could not be stored, empty when it was."""
    at: datetime = EPOCH
    """When this was so, by the wall clock."""

    @property
    def revision(self) -> int:
        """Counts every change."""
        return self.record.revision

    @property
    def setting(self) -> Setting:
        """Where the light is going; while comparing, the good frame."""
        if self.comparing and self.record.good is not None:
            return self.record.good
        return self.record.history.now.setting

    @cached_property
    def rig_now(self) -> Rig:
        """The rig as a document would tell it now, with the set lens and the sitter's turn."""
        setting = self.record.history.now.setting
        sitter = replace(self.rig.sitter, yaw_deg=setting.yaw_deg)
        return replace(self.rig, lens=setting.lens, sitter=sitter)

    @property
    def can_restore(self) -> bool:
        """Whether the light was taken down and is down still."""
        setting = self.record.history.now.setting
        return self.record.dark_from is not None and all(
            setting.of(h) is None for h in self.rig.heads
        )

    def minutes_on(self, head: str) -> float:
        """How long a head has been on, 0 when it is cold. [min]"""
        warmth = self.record.warm.get(head)
        return warmth.minutes_at(self.at) if warmth else 0.0

    @cached_property
    def figures(self) -> Figures:
        """Light per point, ratio, lens and heads."""
        return figures(self.rig, self.matrix, self.setting, self.record.good)

    @cached_property
    def circuits(self) -> tuple[CircuitLoad, ...]:
        """Amps per circuit at full and now."""
        return circuit_loads(self.rig, outputs_of(self.rig, self.setting))
