"""Whether the stand-in stayed where they were, between frames lit from different sides."""

import numpy as np

MOVED_PIXELS = 4.0
"""Of 320 across: about a centimetre at the face."""
SURE = 0.06
"""How high the peak of the correlation must stand out to be believed."""


def shift_between(a: np.ndarray, b: np.ndarray) -> tuple[float, float, float]:
    """How far b is from a: (down, across) in pixels, and how sure that is, 0..1.

    Phase correlation of the edges of the logarithm of light: edges lie where the figure is,
    whichever head lights it; the logarithm makes dim ones count.

    References
    ----------
    C. D. Kuglin, D. C. Hines, "The phase correlation image alignment method", 1975.
    """
    spectra = [np.fft.rfft2(_edges(frame)) for frame in (a, b)]
    cross = spectra[1] * np.conj(spectra[0])
    surface = np.fft.irfft2(cross / np.maximum(np.abs(cross), 1e-9), a.shape)
    row, column = np.unravel_index(int(surface.argmax()), surface.shape)
    height, width = a.shape
    down = float(row if row <= height / 2 else row - height)
    across = float(column if column <= width / 2 else column - width)
    return down, across, float(surface.max())


def _edges(frame: np.ndarray) -> np.ndarray:
    floor = max(1e-9, 0.01 * float(np.percentile(frame, 99)))
    log = np.log(np.maximum(frame, floor))
    down, across = np.gradient(log)
    edges = np.hypot(down, across)
    window = np.outer(np.hanning(frame.shape[0]), np.hanning(frame.shape[1]))
    result: np.ndarray = (edges - edges.mean()) * window
    return result


def has_moved(reference: np.ndarray, frame: np.ndarray) -> bool:
    """Whether the figure in a frame stands elsewhere than in the reference."""
    down, across, sure = shift_between(reference, frame)
    return sure >= SURE and float(np.hypot(down, across)) > MOVED_PIXELS
