"""Sound to the features of the acoustic model: the logarithm of the power in bands of hearing.

48 bands evenly apart on the mel scale (S. S. Stevens, J. Volkmann and E. B. Newman 1937; the
formula is D. O'Shaughnessy's of 1987) from 180 to 3,750 Hz, every 10 ms over windows of 25 ms, set
against the mean power of the stretch, so that how loud a recording is does not count.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

RATE = 8000
STEP = 80  # samples from frame to frame
WINDOW = 200
SPECTRUM = 256
BANDS = 48
LOW, HIGH = 180.0, 3750.0


@functools.lru_cache(maxsize=64)
def mel_matrix(stretch: float = 1.0) -> np.ndarray:
    """Return the weights (band, frequency) of each band; ``stretch`` moves all borders, as another
    length of the vocal tract would.
    """
    import numpy as np

    def mel(hertz: float) -> float:
        return float(2595 * np.log10(1 + hertz / 700))

    borders = 700 * (10 ** (np.linspace(mel(LOW), mel(HIGH), BANDS + 2) / 2595) - 1) * stretch
    frequency = np.arange(SPECTRUM // 2 + 1) * RATE / SPECTRUM
    low, middle, high = borders[:-2, None], borders[1:-1, None], borders[2:, None]
    rising = (frequency - low) / (middle - low)
    falling = (high - frequency) / (high - middle)
    weights = np.maximum(0, np.minimum(rising, falling))
    weights /= weights.sum(axis=1, keepdims=True) + 1e-6
    return weights.astype(np.float32)


def features(sound: np.ndarray) -> np.ndarray:
    """Return the features (band, frame) of a stretch of sound at 8 kHz: a frame for each 10 ms, and
    one more.
    """
    import numpy as np

    frames = len(sound) // STEP + 1
    half = SPECTRUM // 2
    padded = np.concatenate([np.zeros(half), sound, np.zeros(half)]).astype(np.float32)
    cut = np.lib.stride_tricks.sliding_window_view(padded, SPECTRUM)[::STEP][:frames]
    window = np.zeros(SPECTRUM, dtype=np.float32)
    edge = (SPECTRUM - WINDOW) // 2
    window[edge : edge + WINDOW] = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)
    power = np.abs(np.fft.rfft(cut * window, axis=1)) ** 2
    return normalised(mel_matrix() @ power.T.astype(np.float32))


def normalised(power: np.ndarray) -> np.ndarray:
    """Return the logarithm of the power in bands, against its mean."""
    import numpy as np

    found: np.ndarray = (np.log(power / (power.mean() + 1e-12) + 1e-3) + 2) / 2
    return found.astype(np.float32)


def contrast(sound: np.ndarray) -> float:
    """Return by how many decibels the loud moments of a stretch of sound at 8 kHz are above its
    quiet ones: the tenth part on either side of its frames of 20 ms.
    """
    import numpy as np

    size = RATE // 50
    if len(sound) < size:
        return 0.0
    power = (sound[: len(sound) // size * size].astype(np.float64).reshape(-1, size) ** 2).mean(1)
    quiet, loud = np.percentile(10 * np.log10(power + 1e-10), [10, 90])
    return float(loud - quiet)
