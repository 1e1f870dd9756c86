"""The lighting pattern's name, as photographers are taught to see it in the nose shadow."""

from dataclasses import dataclass

from server.studio.head import NAME_LENGTH

PATTERNS = ("butterfly", "loop", "Rembrandt", "split", "rim", "flat")
SIDES = ("broad", "short")


@dataclass(frozen=True)
class Pattern:
    """A pattern by name, which side of a turned face it lights, and how sure the name is."""

    name: str
    """One of PATTERNS, or none."""
    side: str = ""
    """broad, short, or empty."""
    between: tuple[str, str] | None = None
    """The two names it lies between, when it is near a boundary."""

    @property
    def label(self) -> str:
        """`Rembrandt, short`, or `between loop and Rembrandt`; empty when it could not be read."""
        if self.between:
            name = f"between {self.between[0]} and {self.between[1]}"
        else:
            name = "no key light" if self.name == "none" else self.name
        return f"{name}, {self.side}" if self.side else name

    @property
    def words(self) -> frozenset[str]:
        """What it is found by: its name, the other name when it lies between two, its side."""
        return frozenset({self.name, *(self.between or ()), self.side} & {*PATTERNS, *SIDES})


def kept_name(pattern: Pattern | None, ratio_label: str, f_stop_label: str) -> str:
    """A look's name from its light: `Rembrandt, short · 4:1 · f/5.6`; empty when it has none."""
    if pattern is None or not pattern.words:
        return ""
    name = "–".join(pattern.between) if pattern.between else pattern.name
    side = f", {pattern.side}" if pattern.side else ""
    text = " · ".join(
        t for t in (name[:1].upper() + name[1:] + side, ratio_label, f_stop_label) if t
    )
    return text if len(text) <= NAME_LENGTH else ""
