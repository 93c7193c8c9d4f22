"""Semirings: one walk over the ways through a graph answers many questions, each with a sum and a
product of its own.

A way weighs the product of its steps, and what is asked is the sum over all ways: with "and" and
"or" whether there is one, with whole numbers how many, with addition and the least (or the most)
the best, with rows of numbers which. M. Mohri, Weighted automata algorithms (2009); J. Goodman,
Semiring parsing (1999).
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Sequence
from typing import Generic, NamedTuple, Protocol, TypeVar

Weight = TypeVar("Weight")


class Semiring(NamedTuple, Generic[Weight]):
    """What no way weighs, what an empty way weighs, the sum over ways, the product along one."""

    zero: Weight
    one: Weight
    plus: Callable[[Weight, Weight], Weight]
    times: Callable[[Weight, Weight], Weight]


POSSIBLE: Semiring[bool] = Semiring(False, True, operator.or_, operator.and_)
COUNTING: Semiring[int] = Semiring(0, 1, operator.add, operator.mul)
LEAST: Semiring[float] = Semiring(math.inf, 0, min, operator.add)
MOST: Semiring[float] = Semiring(-math.inf, 0, max, operator.add)
LISTED: Semiring[list[tuple[int, ...]]] = Semiring(
    [], [()], operator.add, lambda first, rest: [(*one, *other) for one in first for other in rest]
)


class Link(Protocol):
    """A step from one point of a graph to another."""

    @property
    def source(self) -> int:
        """The point it leaves."""

    @property
    def target(self) -> int:
        """The point it leads to."""


OneLink = TypeVar("OneLink", bound=Link)


def sums_to_end(
    steps: Sequence[OneLink],
    ends: Iterable[int],
    points: int,
    semiring: Semiring[Weight],
    weigh: Callable[[OneLink], Weight],
) -> list[Weight]:
    """Return for each point of a graph without circles the sum over all ways from it to an end.

    ``steps`` are in an order in which those into a point come before those out of it.
    """
    zero, one, plus, times = semiring
    sums = [zero] * points
    for end in ends:
        sums[end] = one
    for step in reversed(steps):
        sums[step.source] = plus(sums[step.source], times(weigh(step), sums[step.target]))
    return sums


def ends_first(targets: Sequence[Sequence[int]]) -> list[int]:
    """Return the points of a graph without circles that point 0 leads to, each after all that it
    leads to itself.
    """
    found: list[int] = []
    seen = {0}
    waiting = [(0, iter(targets[0]))]
    while waiting:
        point, rest = waiting[-1]
        target = next(rest, None)
        if target is None:
            found.append(point)
            waiting.pop()
        elif target not in seen:
            seen.add(target)
            waiting.append((target, iter(targets[target])))
    return found
