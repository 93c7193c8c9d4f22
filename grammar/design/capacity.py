"""How much a code can say in a second: capacity with unequal word times, entropy, and the bound
that follows.

Sources: C. E. Shannon, "A Mathematical Theory of Communication" (1948), I.1 (capacity of a discrete
noiseless channel: the logarithm of the largest root of the characteristic equation) and I.9 (no
code takes less than entropy over capacity); R. M. Krause, "Channels which transmit letters of
unequal duration" (1962), for the upper bound of optimal codes.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple, NoReturn

from grammar.errors import CodeError

_HALVINGS = 200


class ChannelSymbol(NamedTuple):
    """A symbol of a constrained channel: allowed in state ``before``, leaving it in state
    ``after``, lasting ``time``.
    """

    before: int
    after: int
    time: float


def _fail(message: str, expected: str) -> NoReturn:
    raise CodeError(message, kind="capacity", expected=(expected,))


def checked_times(times: Sequence[float]) -> None:
    """Raise CodeError unless there are two or more times, all finite and above 0."""
    if len(times) < 2:
        _fail(f"{len(times)} words can't carry information", "two or more words")
    for time in times:
        if not 0 < time < math.inf:
            _fail(f"a word that takes {time}", "a time above 0")


def capacity(times: Sequence[float]) -> float:
    """Return the bits per unit of time of words that may follow each other freely: log2 of the
    largest root of ΣX^(-t) = 1.

    Raises CodeError for fewer than two words and for times that are not above 0.
    """
    return _capacity(tuple(times))


@functools.lru_cache(maxsize=64)
def _capacity(times: tuple[float, ...]) -> float:
    checked_times(times)
    return _root(
        lambda rate: sum([2.0 ** (-rate * time) for time in times]),
        math.log2(len(times)) / min(times),
    )


def constrained_capacity(arcs: Iterable[ChannelSymbol]) -> float:
    """Return the bits per unit of time where what may follow depends on a state; states are
    numbered from 0.

    It is the rate at which the matrix Σ 2^(-rate·t), from state to state, has the largest
    eigenvalue 1 (Shannon 1948, theorem 1).
    """
    rows = list(arcs)
    checked_times([row.time for row in rows])
    states = 1 + max(max(row.before, row.after) for row in rows)
    return _root(
        lambda rate: _radius(rows, states, rate),
        math.log2(len(rows)) / min(row.time for row in rows),
    )


def _root(falling: object, high: float) -> float:
    """Return where a falling function of the rate is 1, between 0 and ``high``."""
    assert callable(falling)  # noqa: S101 - for the type checker
    low = 0.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if falling(middle) > 1 else (low, middle)
    return (low + high) / 2


def _radius(rows: Sequence[ChannelSymbol], states: int, rate: float) -> float:
    """Return the largest eigenvalue by power iteration on the matrix plus 1, which converges
    whatever the period.
    """
    vector, growth = [1.0] * states, 1.0
    weights = [(row.before, row.after, 2.0 ** (-rate * row.time)) for row in rows]
    for _ in range(10_000):
        after = list(vector)
        for before, target, weight in weights:
            after[before] += weight * vector[target]
        last, growth = growth, max(after)
        vector = [value / growth for value in after]
        if abs(growth - last) < 1e-15:
            break
    return growth - 1


def entropy(weights: Iterable[float]) -> float:
    """Return the bits of a distribution given by weights that need not sum to 1; weights of 0 carry
    nothing.
    """
    known = [weight for weight in weights if weight > 0]
    total = math.fsum(known)
    return (
        -math.fsum(weight / total * math.log2(weight / total) for weight in known) if known else 0.0
    )


def least(weights: Sequence[float], times: Sequence[float]) -> float:
    """Return entropy over capacity: no code that tells its own end takes less time on average."""
    return entropy(weights) / capacity(times)
