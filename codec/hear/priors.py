"""What is expected before anything is heard: for each field a share for each level.

From the last accepted readings where the book says how a field wanders or holds; from the usual value and its spread, or its share,
otherwise; flat where the book says nothing. A small share (``surprise`` of ``[hearing]``) is always flat: the world may have changed, and
nothing within a field's range is impossible.

What wanders is near the last value moved by the drift, within wander · √laps. With a spread and no drift it falls back towards the usual
value (``persistence``), so that after many laps it is expected as in the first report of a run.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from codec.reading import Reading
from grammar.errors import CodeError
from grammar.fields import ENUMERABLE, FieldBase, Quantity, Wrapped

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book

Shares = dict[str, "np.ndarray"]
Last = Mapping[str, Any]


@dataclass(frozen=True)
class Prior:
    """What the last laps were: ``last`` maps a field to its value in the newest reading that has it, ``laps`` to how many laps ago that
    was.

    ``flat`` leaves out whatever the book expects. An empty prior is the first report of a run.
    """

    last: Last = field(default_factory=dict)
    laps: Mapping[str, int] = field(default_factory=dict)
    flat: bool = False

    @staticmethod
    def of(prior: PriorLike, elapsed: int = 1) -> Prior:
        """Return the prior for None (the book's own), values, a reading, or readings from the oldest to the newest, a lap apart."""
        if isinstance(prior, Prior):
            return prior
        if prior is None:
            return Prior()
        readings = [prior] if isinstance(prior, Reading | Mapping) else list(prior)
        last: dict[str, Any] = {}
        laps: dict[str, int] = {}
        for ago, reading in enumerate(readings[::-1]):
            values: Mapping[str, Any] = reading.values if isinstance(reading, Reading) else reading
            for name, value in values.items():
                if name not in last:
                    last[name], laps[name] = value, ago + elapsed
        return Prior(last, laps)

    def centre(self, one: FieldBase) -> Decimal | None:
        """Return where a field that is counted is expected, None where nothing tells."""
        if not isinstance(one, Quantity | Wrapped) or one.name not in self.last:
            return None
        number, laps = one.number(self.last[one.name]), self.laps.get(one.name, 1)
        if isinstance(one, Quantity) and one.usual is not None and one.persistence < 1:
            return one.usual + (number - one.usual) * Decimal(one.persistence**laps)
        return number + one.drift * laps

    def width(self, one: Quantity | Wrapped) -> float | None:
        """Return the standard deviation about the centre; None where the last value tells nothing."""
        if one.wander is None:
            return None
        laps, wander = self.laps.get(one.name, 1), float(one.wander)
        if isinstance(one, Quantity) and one.spread is not None and one.persistence < 1:
            return float(one.spread) * math.sqrt(1 - one.persistence ** (2 * laps))
        return wander * math.sqrt(laps)


PriorLike = Prior | Reading | Last | Sequence[Reading | Last] | None


def shares(book: Book, prior: Prior, names: Sequence[str]) -> Shares:
    """Return the shares of the levels of fields; each array has a 1 at its end, for edges that decide nothing.

    Raises CodeError for a field the book does not have, EncodeError for a value outside its domain.
    """
    import numpy as np

    for name in prior.last:
        if name not in book.fields:
            raise CodeError(f"there is no field {name!r}", kind="unknown-field", expected=list(book.fields))
    surprise = book.spec.hearing.surprise
    found: Shares = {}
    for name in names:
        one = book.fields[name]
        if one.size > ENUMERABLE:
            continue
        expected = np.full(one.size, 1 / one.size) if prior.flat else _expected(one, prior)
        found[name] = np.append((1 - surprise) * expected + surprise / one.size, 1.0)
    return found


def _expected(one: FieldBase, prior: Prior) -> np.ndarray:
    import numpy as np

    if isinstance(one, Quantity | Wrapped):
        centre, width = prior.centre(one), prior.width(one)
        if centre is not None and width is not None:
            return _near(one, float(centre), width)
    if one.hold is not None and one.name in prior.last and one.size > 1:
        same = one.hold ** prior.laps.get(one.name, 1)
        expected = (1 - same) * np.array(one.shares())
        expected[one.level(prior.last[one.name]).level] += same
        return expected
    return np.array(one.shares())


def _near(one: Quantity | Wrapped, centre: float, width: float) -> np.ndarray:
    """Return a normal distribution over the levels, the open ends taking what lies beyond them; round and round where it is wrapped."""
    import numpy as np

    step = float(one.step)
    low = 0.0 if isinstance(one, Wrapped) else float(one.low)
    place = (centre - low) / step
    edges = np.arange(one.size + 1) - 0.5
    if isinstance(one, Wrapped):
        turns = round(place // one.size) + np.arange(-1, 2) if width < one.size * step / 4 else None
        if turns is None:
            return np.full(one.size, 1 / one.size)
        folded = np.asarray(sum(np.diff(_below(edges + turn * one.size, place, width / step)) for turn in turns))
        return np.asarray(folded / folded.sum())
    below = _below(edges, place, width / step)
    if one.open in ("low", "both") or place < 0:
        below[0] = 0.0
    if one.open in ("high", "both") or place > one.size - 1:
        below[-1] = 1.0
    expected = np.diff(below)
    return np.asarray(expected / expected.sum())


def _below(edges: np.ndarray, centre: float, width: float) -> np.ndarray:
    """Return the share of a normal distribution below each edge; with no width all of it is at the centre."""
    import numpy as np

    if width <= 0:
        return (edges > round(centre)).astype(float)
    below = (edges > centre).astype(float)
    for number in np.nonzero(np.abs(edges - centre) < 9 * width)[0].tolist():  # farther out a double is 0 or 1
        below[number] = 0.5 * math.erfc((centre - float(edges[number])) / width / math.sqrt(2))
    return below
