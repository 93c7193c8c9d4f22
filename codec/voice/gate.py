"""Where a recording has sound: a keyed radio is silent, or hisses evenly, in between.

A stretch begins where the level rises well above the floor and ends where it has been near the
floor for a while; the floor is the level of the quietest tenth of the last half minute.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from codec.voice.features import RATE

if TYPE_CHECKING:
    import numpy as np

FRAME = 160  # samples: 20 ms
OPENS, CLOSES = 6.0, 3.0  # decibels above the floor
HANGS = 35  # frames near the floor after which a stretch has ended
MARGIN = 12  # frames kept before and after a stretch
SHORTEST = 8  # frames; what is shorter is a click
LONGEST = 1000  # frames; what is longer is cut where it is quietest
SOFTLY = 12  # frames near the floor after which what was said may be heard already
LONGEST_STRETCH = (LONGEST + 2 * MARGIN) * FRAME / RATE  # seconds
QUIET = -60.0  # decibels of full scale: no floor is lower
REMEMBERED = 1500  # frames
FLOOR = 10  # percent of these are quieter than the floor


def settings() -> dict[str, float]:
    """Return what another gate needs to do as this one does: a frame in seconds, levels in
    decibels, all else in frames.
    """
    second = FRAME / RATE
    return {
        "frame": second,
        "opens": OPENS,
        "closes": CLOSES,
        "hangs": HANGS,
        "softly": SOFTLY,
        "margin": MARGIN,
        "shortest": SHORTEST,
        "longest": LONGEST,
        "quiet": QUIET,
        "remembered": REMEMBERED,
        "floor": FLOOR,
    }


def stretches(blocks: Iterable[np.ndarray]) -> Iterator[tuple[float, np.ndarray]]:
    """Yield the stretches of sound in blocks at 8 kHz: when each begins, in seconds, and its
    sound.
    """
    for start, sound, over in soft_stretches(blocks):
        if over:
            yield start, sound


def soft_stretches(blocks: Iterable[np.ndarray]) -> Iterator[tuple[float, np.ndarray, bool]]:
    """Yield what ``stretches`` does as soon as it may be over, and what is said then again when it
    is.
    """
    import numpy as np

    gate = _Gate()
    rest = np.zeros(0, np.float32)
    for block in blocks:
        sound = np.concatenate([rest, block])
        count = len(sound) // FRAME
        rest = sound[count * FRAME :]
        if count:
            yield from gate.take(sound[: count * FRAME].reshape(count, FRAME))
    yield from gate.ended()


class _Gate:
    def __init__(self) -> None:
        import numpy as np

        self.kept = np.zeros((0, FRAME), np.float32)  # what is in hand, from frame ``first`` on
        self.levels = np.zeros(0)  # of what is in hand
        self.past = np.zeros(0)
        self.first = 0
        self.begin = -1  # the frame at which a stretch began, -1 between stretches
        self.near = 0  # how many frames the level has been near the floor

    def take(self, frames: np.ndarray) -> Iterator[tuple[float, np.ndarray, bool]]:
        """Yield the stretches that end, or may have ended, in some more frames, and whether they
        have.
        """
        import numpy as np

        power = (frames.astype(np.float64) ** 2).mean(axis=1)
        level = 10 * np.log10(power + 1e-10)
        self.past = np.concatenate([self.past, level])[-REMEMBERED:]
        floor = max(QUIET, float(np.percentile(self.past, FLOOR)))
        before = self.levels[-2:]
        smooth = np.convolve(np.concatenate([before, level]), np.ones(3) / 3, "full")
        smooth = smooth[len(before) : len(before) + len(level)] * _fuller(len(before), len(level))
        start = self.first + len(self.kept)
        self.kept = np.concatenate([self.kept, frames])
        self.levels = np.concatenate([self.levels, level])
        for number, now in enumerate(smooth.tolist(), start=start):
            if self.begin < 0:
                if now > floor + OPENS:
                    self.begin, self.near = number, 0
                continue
            self.near = self.near + 1 if now < floor + CLOSES else 0
            if self.near == SOFTLY:
                yield from self._told(number - self.near + 1, over=False)
            if self.near >= HANGS:
                yield from self._closed(number - self.near + 1)
            elif number - self.begin >= LONGEST:
                yield from self._cut(number)
        if self.begin < 0:
            self._forget(start + len(frames) - MARGIN)

    def ended(self) -> Iterator[tuple[float, np.ndarray, bool]]:
        """Yield the stretch that the recording ends in."""
        if self.begin >= 0:
            yield from self._closed(self.first + len(self.kept))

    def _told(self, end: int, *, over: bool) -> Iterator[tuple[float, np.ndarray, bool]]:
        if end - self.begin >= SHORTEST:
            low = max(self.first, self.begin - MARGIN)
            sound = self.kept[low - self.first : end + MARGIN - self.first]
            yield low * FRAME / RATE, sound.reshape(-1), over

    def _closed(self, end: int) -> Iterator[tuple[float, np.ndarray, bool]]:
        yield from self._told(end, over=True)
        self.begin, self.near = -1, 0
        self._forget(end)

    def _cut(self, number: int) -> Iterator[tuple[float, np.ndarray, bool]]:
        """End a stretch that is too long at its quietest moment of late, and begin another."""
        late = self.levels[number - self.first - LONGEST // 3 : number - self.first]
        place = number - LONGEST // 3 + int(late.argmin())
        yield from self._closed(place)
        self.begin = place

    def _forget(self, frame: int) -> None:
        gone = max(0, frame - self.first)
        self.kept, self.levels = self.kept[gone:], self.levels[gone:]
        self.first += gone


def _fuller(before: int, count: int) -> np.ndarray:
    """Return what mends the mean of three frames where fewer came before."""
    import numpy as np

    known = np.minimum(3, np.arange(count) + 1 + before)
    found: np.ndarray = 3 / known
    return found
