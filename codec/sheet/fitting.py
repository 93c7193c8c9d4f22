"""Which of several reports of one lap fits the laps about it.

Two reports of one lap are most often of two cars, or of two laps. Both stay; the one counts that is
likelier between the laps about it: by what the book says of how its fields wander from lap to lap,
and where it says nothing by how far a field lies off the straight line through the laps about it.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping, Sequence

from grammar.book import Book
from grammar.fields import ENUMERABLE, FieldBase, Value

_SURPRISE = 1e-3  # what is left for a value that the book does not expect
_OFF = 20.0  # natural logarithms that a value loses by lying a field's whole range off the line
_ABOUT = 2  # laps on either side
_KEPT = 20_000  # shares, as the same values follow each other again and again
Values = Mapping[str, Value]
Share = Callable[[FieldBase, Value, Value, int], float]
Reports = Mapping[int, Sequence[Values]]


def fitting(book: Book, reports: Reports) -> dict[int, int]:
    """Return, for each lap, which of its reports counts, as a place in its list: the one that tells
    most, of several such the one that fits best; of equals the first.
    """
    found: dict[int, int] = {}
    laps, share = sorted(reports), functools.lru_cache(_KEPT)(_log_share)
    for number, lap in enumerate(laps):
        listed = reports[lap]
        most = max(map(len, listed))
        full = [place for place, values in enumerate(listed) if len(values) == most]
        found[lap] = full[0]
        if len(full) > 1:
            about = {
                other: reports[other][found.get(other, 0)]
                for other in laps[max(0, number - _ABOUT) : number + _ABOUT + 1]
                if other < lap or (other > lap and len(reports[other]) == 1)
            }
            fits = {place: _fit(book, lap, listed[place], about, share) for place in full}
            found[lap] = max(full, key=lambda place: (round(fits[place], 6), -place))
    return found


def _fit(book: Book, lap: int, values: Values, about: Mapping[int, Values], share: Share) -> float:
    total = 0.0
    for name, value in values.items():
        field = book.fields.get(name)
        if field is None or field.wraps:
            continue
        known = {other: one[name] for other, one in about.items() if name in one}
        total += _of_field(field, lap, value, known, share)
    return total


def _of_field(
    field: FieldBase, lap: int, value: Value, about: Mapping[int, Value], share: Share
) -> float:
    before = max((other for other in about if other < lap), default=None)
    behind = min((other for other in about if other > lap), default=None)
    if field.told_by_last and field.size <= ENUMERABLE:
        found = 0.0 if before is None else share(field, about[before], value, lap - before)
        return found + (0.0 if behind is None else share(field, value, about[behind], behind - lap))
    line = _line(lap, {other: field.level(one).level for other, one in about.items()})
    if line is None or field.interval(0) is None:
        return 0.0
    return -_OFF * abs(field.level(value).level - line) / field.size


def _log_share(field: FieldBase, before: Value, behind: Value, laps: int) -> float:
    return math.log(field.shares_after(before, laps)[field.level(behind).level] + _SURPRISE)


def _line(lap: int, levels: Mapping[int, int]) -> float | None:
    """Return the level that the straight line through the two nearest laps has here: one on either
    side where there are, else those on one side; None where there are none.
    """
    before = sorted(other for other in levels if other < lap)
    behind = sorted(other for other in levels if other > lap)
    pair = [*before[-1:], *behind[:1]] if before and behind else [*before[-2:], *behind[:2]]
    if len(pair) < 2:
        return float(levels[pair[0]]) if pair else None
    first, second = pair
    slope = (levels[second] - levels[first]) / (second - first)
    return levels[first] + slope * (lap - first)
