"""Outputs without a data line: practice, and a board whose numbers are set by hand."""

from server.live.output import Frame, OutputStatus, Timeline


class NullOutput:
    """A `LightOutput` that sends nothing: kind "none" (practise) or "by hand".

    "By hand" means the board shows each head's number and a person turns it up on the desk; the
    software has no line to the lamps, so `live` is false there too.
    """

    def __init__(self, kind: str = "none") -> None:
        if kind not in ("none", "by hand"):
            raise ValueError(f"an output without a line is 'none' or 'by hand', got {kind!r}")
        self._kind = kind

    def play(self, timeline: Timeline) -> None:
        """Accept the timeline and send nothing."""

    def shown(self) -> Frame:
        """No line, so nothing is known."""
        return {}

    def status(self) -> OutputStatus:
        """Say that nothing is sent; ``live`` is always false."""
        return OutputStatus(kind=self._kind, live=False)

    def stop(self, *, terminate: bool = True) -> None:
        """Nothing to end."""


class ByHandWire:
    """A `Wire` that sends nothing, so that "by hand" can stand beside a line that does."""

    kind = "by hand"
    error = ""

    def send(self, universe: int, slots: bytes) -> None:
        """A person sets the desk; nothing to send."""

    def terminate(self, universe: int, slots: bytes) -> None:
        """Nothing to end."""

    def close(self) -> None:
        """Nothing to close."""
