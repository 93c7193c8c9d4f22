"""Which mistakes a check method fails to notice, counted exactly."""

from __future__ import annotations

import collections
import functools
import itertools
from collections.abc import Callable, Mapping
from typing import TypeVar

from grammar.codes.checks import CheckMethod, State

_Pairs = dict[tuple[State, State], int]
_Key = TypeVar("_Key")


@functools.lru_cache(64)
def missed(method: CheckMethod, length: int, change: str) -> tuple[int, int]:
    """Count changes of one kind that ``method`` fails to notice among all strings of ``length``
    covered characters and their check.

    ``change`` is "substitution" (one character replaced by another of the alphabet) or "swap" (two
    unlike neighbours exchanged, the last with the check among them). Returns (missed, all). Exact,
    by following all pairs of states at once rather than all strings.
    """
    steps, swap = _Steps(method), change == "swap"
    unchanged = dict.fromkeys(method.starts(), 1)  # strings by the states they lead to
    changed: _Pairs = {}  # and by those of what they were changed into
    begun: _Pairs = {}  # strings of whose change the second character is still to come
    for place in range(length):
        before, pairs = unchanged, dict(begun)
        for (a, b), n in changed.items():
            for pair in zip(steps[a], steps[b], strict=True):
                pairs[pair] = pairs.get(pair, 0) + n
        begun = {}
        if not swap:
            for pair, n in _spread(unchanged, steps.replaced).items():
                pairs[pair] = pairs.get(pair, 0) + n
        elif place < length - 1:
            begun = _spread(unchanged, steps.swapped)
        unchanged, changed = _spread(unchanged, lambda a: collections.Counter(steps[a])), pairs
    bad = total = 0
    for (a, b), n in changed.items():
        if method.wanted(a) is not None:
            total += n
            bad += n if method.wanted(a) == method.wanted(b) else 0
    if swap:
        last_bad, last_total = _swapped_with_check(method, before)
        return bad + last_bad, total + last_total
    strings = sum(n for a, n in unchanged.items() if method.wanted(a) is not None)
    return bad, total + strings * (len(method.checks) - 1)


class _Steps(dict[State, list[State]]):
    """The states behind each state, by the value of the character."""

    def __init__(self, method: CheckMethod) -> None:
        self.method = method
        self.replaced, self.swapped = (
            functools.cache(self._replaced),
            functools.cache(self._swapped),
        )

    def __missing__(self, state: State) -> list[State]:
        self[state] = [self.method.step(state, value) for value in range(len(self.method.values))]
        return self[state]

    def _replaced(self, state: State) -> collections.Counter[tuple[State, State]]:
        """Return the pairs of states behind one, by one character and by another."""
        return collections.Counter(itertools.permutations(self[state], 2))

    def _swapped(self, state: State) -> collections.Counter[tuple[State, State]]:
        """Return the pairs of states behind one, by two unlike characters and by them swapped."""
        behind = [self[after] for after in self[state]]
        return collections.Counter(
            (behind[v][w], behind[w][v]) for v, w in itertools.permutations(range(len(behind)), 2)
        )


def _spread(
    counts: Mapping[State, int], behind: Callable[[State], Mapping[_Key, int]]
) -> dict[_Key, int]:
    """Return what lies behind states that are met so many times."""
    found: dict[_Key, int] = {}
    for state, n in counts.items():
        for key, times in behind(state).items():
            found[key] = found.get(key, 0) + n * times
    return found


def _swapped_with_check(method: CheckMethod, counts: dict[State, int]) -> tuple[int, int]:
    """Count the unnoticed swaps of the last covered character with the check, from the states
    before that character.
    """
    bad = total = 0
    for state, n in counts.items():
        for value, character in enumerate(method.values):
            wanted = method.wanted(method.step(state, value))
            if wanted is None or method.checks[wanted] == character:
                continue
            total += n
            swapped = method.values.find(method.checks[wanted])
            again = method.wanted(method.step(state, swapped)) if swapped >= 0 else None
            bad += n if again is not None and method.checks[again] == character else 0
    return bad, total
