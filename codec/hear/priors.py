"""What is expected before anything is heard: for each field a share for each level.

From the last accepted readings where the book says how a field wanders or holds; from the usual
value and its spread, or its share, otherwise; flat where the book says nothing. A small share
(``surprise`` of ``[hearing]``) is always flat: the world may have changed, and nothing within a
field's range is impossible. As small a one (``repeated``) has the value of the lap before: a driver
may read the display of a lap ago.

What wanders is near the last value moved by the drift, within wander · √laps. With a spread and no
drift it falls back towards the usual value (``persistence``), so that after many laps it is
expected as in the first report of a run.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from codec.reading import Reading
from grammar.errors import CodeError
from grammar.fields import ENUMERABLE, FieldBase
from grammar.fields.base import surprised

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book

Shares = dict[str, "np.ndarray"]
Last = Mapping[str, Any]


@dataclass(frozen=True)
class Prior:
    """What the last laps were: ``last`` maps a field to its value in the newest reading that has
    it, ``laps`` to how many laps ago that was.

    ``flat`` leaves out whatever the book expects; ``told`` are by field the shares of its levels
    where something else tells them, ``surprise`` is how often these values are not those of the
    last laps, where that is more than the book's own. An empty prior is the first report of a run.
    """

    last: Last = field(default_factory=dict)
    laps: Mapping[str, int] = field(default_factory=dict)
    flat: bool = False
    told: Mapping[str, Sequence[float]] = field(default_factory=dict)
    surprise: float = 0.0

    @staticmethod
    def of(prior: PriorLike, elapsed: int = 1) -> Prior:
        """Return the prior for None (the book's own), values, a reading, or readings from the
        oldest to the newest, a lap apart. Raises CodeError (kind ``prior``) for anything else.
        """
        if isinstance(prior, Prior):
            return prior
        if prior is None:
            return Prior()
        readings = _readings(prior)
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
        if one.name not in self.last:
            return None
        return one.centre_after(self.last[one.name], self.laps.get(one.name, 1))


PriorLike = Prior | Reading | Last | Sequence[Reading | Last] | None


def _readings(prior: object) -> list[Reading | Last]:
    """Return the readings or values of a prior; raises CodeError for what is none."""
    single = isinstance(prior, str | Reading | Mapping)
    several = prior if isinstance(prior, Iterable) and not single else [prior]
    found: list[Reading | Last] = []
    for one in several:
        if not isinstance(one, Reading | Mapping):
            raise CodeError(
                f"{str(one)[:40]!r} is no prior",
                kind="prior",
                expected=["a reading", "values by field", "several of them", "a Prior"],
                hint="decode a string first: prior=decode(book, string)",
            )
        found.append(one)
    return found


def shares(book: Book, prior: Prior, names: Sequence[str]) -> Shares:
    """Return the shares of the levels of fields; each array has a 1 at its end, for edges that
    decide nothing.

    Raises CodeError for a field the book does not have, EncodeError for a value outside its domain.
    """
    import numpy as np

    for name in prior.last:
        if name not in book.fields:
            raise CodeError(
                f"there is no field {name!r}", kind="unknown-field", expected=list(book.fields)
            )
    surprise, repeated = max(book.hearing.surprise, prior.surprise), book.hearing.repeated
    found: Shares = {}
    for name in names:
        one = book.fields[name]
        if one.size > ENUMERABLE:
            continue
        if prior.flat:
            expected = [1 / one.size] * one.size
        elif name in prior.told:
            expected = list(prior.told[name])
        elif name in prior.last:
            before = one.level(prior.last[name]).level
            expected = [
                (1 - repeated) * share + repeated * (level == before)
                for level, share in enumerate(
                    one.shares_after(prior.last[name], prior.laps.get(name, 1))
                )
            ]
        else:
            expected = one.shares()
        found[name] = np.array([*surprised(expected, surprise), 1.0])
    return found
