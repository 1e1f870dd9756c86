"""Which side, as it is said in the studio: the camera's, never the sitter's or nobody's."""

import re


def point_words(name: str) -> str:
    """A point as one says it in the studio: `cheek left` is `cheek camera left`."""
    return re.sub(r"(?<!camera )\b(left|right)\b", r"camera \1", name)
