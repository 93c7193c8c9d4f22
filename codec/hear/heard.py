"""What was heard, word by word: how likely each word is for each symbol that may have been said."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import numpy as np


class AskedPart(NamedTuple):
    """What an answer covers: all after the first ``after``, all before the next ``before``;
    neither: all of it. Both are symbols.
    """

    after: str = ""
    before: str = ""


WHOLE = AskedPart()


class HeardWord(NamedTuple):
    """One heard word: its likelihood for each symbol said, for a word nobody said, and its label.

    ``symbol`` is the one it is written as, "" if it is none.
    """

    likelihood: np.ndarray
    stray: float
    label: str
    symbol: str = ""


class HeardSlot(NamedTuple):
    """A place where a recogniser may have heard a word: the likelihood of each symbol, and that of
    no symbol.
    """

    likelihood: np.ndarray
    passed: float


class HeardReport(NamedTuple):
    """One hearing: every way to cut what was heard into words (each equally likely), the part it
    covers, and what else was said; ``radio`` is how likely each regime of the channel was, () for
    what is known beforehand.

    Where a recogniser told its doubts there are no ways: ``slots`` has its places, gaps and slots
    in turn, and ``score``, where there is one, log P(sound | string) of strings.
    """

    ways: list[list[HeardWord]]
    part: AskedPart = WHOLE
    text: str = ""
    events: tuple[str, ...] = ()
    radio: tuple[float, ...] = ()
    slots: tuple[HeardSlot, ...] = ()
    score: Callable[[Sequence[str]], Sequence[float | None]] | None = None
