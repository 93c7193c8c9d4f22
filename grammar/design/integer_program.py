"""The integer program of optimal codes with unequal letter times, solved to a proof where it is
small.

A code tree is told by how many of its nodes at each possible time are opened (have children) and
how many are codewords: a node at time c, opened, gives one node at c + t for every letter time t.
Likelier levels get cheaper codewords, so with N(c) codewords up to time c the mean time is Σ (next
c - c) · (share of the levels after the N(c) likeliest), a convex function of N: straight lines
below it are added where the solution needs them, until the program's value and the tree's mean time
meet. (The counting by time is that of M. Golin and G. Rote, "A dynamic programming algorithm for
constructing optimal prefix-free codes with unequal letter costs", 1998; here an integer program in
place of their table, as its size does not grow with the largest time.)

Codewords dearer than the last time considered are priced at the next possible time, in any number,
so the program's value is a lower bound whatever was cut off.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from grammar.design.greedy_tree import Word, matched
from grammar.libraries import needed

_ROUNDS = 12
_NODES = 2000  # of branch and bound, a limit that is the same on every machine
_GAP = 1e-9
_WORK = 60_000  # rows of lines up to which the program is tried
_FIRST_LINES = 64


@dataclass(frozen=True, slots=True)
class _PossibleTimes:
    """The times that codewords can have, rising; ``beyond`` is the least above them."""

    times: tuple[float, ...]
    beyond: float


def gap(levels: int) -> float:
    """Return the relative distance from the bound that counts as proven: rounding for few levels, a
    hundred-thousandth for many.
    """
    return _GAP if levels <= _FIRST_LINES else 1e-5


def improved(
    likely: Sequence[float], times: Sequence[float], words: list[Word], cost: float, most_sums: int
) -> tuple[list[Word], float, float]:
    """Return (words, mean time, proven lower bound), no worse than the code given; the bound is 0
    where the program is too large.
    """
    deepest = _deepest(len(likely), sorted(times))
    most = min(
        deepest,
        1.25 * max(sum(times[letter] for letter in word) for word in words) + 2 * max(times),
    )
    tails = [math.fsum(likely[place:]) for place in range(len(likely) + 1)]
    lines: set[int] = set()
    bound = 0.0
    for _ in range(_ROUNDS):
        sums = _sums(times, most, most_sums)
        if sums is None:
            break
        lines = lines or _first_lines(words, times, sums, len(likely))
        if len(lines) * len(sums.times) > _WORK:
            break
        solved = _solved(likely, tails, times, sums, sorted(lines), whole=most >= deepest)
        if solved is None:
            break
        value, opened, counts = solved
        bound = max(bound, value)
        again, price = _tree(likely, times, sums, opened)
        if price < cost - _GAP:
            words, cost = again, price
        wanted = {min(count, len(likely) - 1) for count in counts} | {
            max(0, count - 1) for count in counts
        }
        if cost <= bound * (1 + gap(len(likely))):
            break
        if counts[-1] < len(likely) and most < deepest:
            most = min(deepest, most + max(2 * max(times), most / 4))
        elif wanted <= lines:
            break
        lines |= wanted
    return words, cost, bound


def _deepest(levels: int, rising: Sequence[float]) -> float:
    """Return the most a codeword of a best tree may take.

    An opened node has two children or more and uses its cheapest letters, so a step by the j-th
    cheapest letter leaves j - 1 other codewords (at least one) behind.
    """
    most = [0.0] * (levels + 1)
    for left in range(2, levels + 1):
        most[left] = max(
            time + most[left - max(1, place)]
            for place, time in enumerate(rising)
            if max(1, place) < left
        )
    return most[levels]


def _sums(times: Sequence[float], most: float, most_sums: int) -> _PossibleTimes | None:
    """Return all sums of times up to ``most``, None if they are more than ``most_sums``."""
    exact = [_rounded(time) for time in times]
    found, waiting, beyond = {0.0}, [0.0], math.inf
    while waiting:
        here = heapq.heappop(waiting)
        for time in set(exact):
            after = _rounded(here + time)
            if after > most + _GAP:
                beyond = min(beyond, after)
            elif after not in found:
                found.add(after)
                heapq.heappush(waiting, after)
        if len(found) > most_sums:
            return None
    return _PossibleTimes(tuple(sorted(found)), beyond)


def _rounded(time: float) -> float:
    return round(time, 9)


def _first_lines(
    words: Sequence[Word], times: Sequence[float], sums: _PossibleTimes, size: int
) -> set[int]:
    """Return the counts of codewords at each time of a good code, and a grid, coarse where there
    are many: where lines will be needed.
    """
    if size <= _FIRST_LINES:
        return set(range(size))
    costs = sorted(_rounded(sum(times[letter] for letter in word)) for word in words)
    lines = {place * size // _FIRST_LINES for place in range(_FIRST_LINES)} | {size - 1}
    place = 0
    for time in sums.times:
        while place < size and costs[place] <= time:
            place += 1
        lines |= {min(place, size - 1), max(0, place - 1)}
    return lines


def _solved(
    likely: Sequence[float],
    tails: Sequence[float],
    times: Sequence[float],
    sums: _PossibleTimes,
    lines: Sequence[int],
    *,
    whole: bool,
) -> tuple[float, list[int], list[int]] | None:
    """Return (proven value, opened nodes by time, codewords up to each time); ``whole``: no
    codeword is dearer than the last time.
    """
    optimize, sparse = needed("scipy.optimize"), needed("scipy.sparse")
    count = len(sums.times)
    place = {time: number for number, time in enumerate(sums.times)}
    rows: list[tuple[dict[int, float], float, float]] = []
    for number, time in enumerate(sums.times):
        supply: dict[int, float] = {number: 1.0, count + number: 1.0}
        if number:
            supply[count + number - 1] = -1.0
            rows.append(({count + number: 1.0, count + number - 1: -1.0}, 0.0, math.inf))
        for letter in times:
            parent = place.get(_rounded(time - _rounded(letter)))
            if parent is not None:
                supply[parent] = supply.get(parent, 0.0) - 1.0
        rows.append((supply, -math.inf, 0.0 if number else 1.0))
        rows.extend(
            (
                {2 * count + number: 1.0, count + number: likely[i]},
                tails[i] + likely[i] * i,
                math.inf,
            )
            for i in lines
        )
    gaps = [
        after - before
        for before, after in zip(sums.times, [*sums.times[1:], sums.beyond], strict=True)
    ]
    if whole:
        rows.append(({2 * count - 1: 1.0}, float(len(likely)), math.inf))
    matrix = _matrix(sparse, [row for row, _, _ in rows], 3 * count)
    result = optimize.milp(
        [0.0] * (2 * count) + gaps,
        constraints=optimize.LinearConstraint(
            matrix, [low for _, low, _ in rows], [high for _, _, high in rows]
        ),
        bounds=optimize.Bounds([0.0] * 3 * count, [float(len(likely))] * 2 * count + [1.0] * count),
        integrality=[1] * (2 * count) + [0] * count,
        options={"mip_rel_gap": gap(len(likely)) / 10, "node_limit": _NODES},
    )
    if result.x is None:
        return None
    return (
        float(result.mip_dual_bound),
        [round(x) for x in result.x[:count]],
        [round(x) for x in result.x[count : 2 * count]],
    )


def _matrix(sparse: Any, rows: Sequence[dict[int, float]], width: int) -> Any:
    data = [value for row in rows for value in row.values()]
    columns = [column for row in rows for column in row]
    starts = [0]
    for row in rows:
        starts.append(starts[-1] + len(row))
    return sparse.csr_matrix((data, columns, starts), shape=(len(rows), width))


def _tree(
    likely: Sequence[float], times: Sequence[float], sums: _PossibleTimes, opened: Sequence[int]
) -> tuple[list[Word], float]:
    """Return the code of a tree given by its opened nodes; where it has too few codewords, its
    dearest nodes are opened too.
    """
    letters = sorted(range(len(times)), key=lambda letter: (times[letter], letter))
    left = dict(zip(sums.times, opened, strict=True))
    nodes: list[tuple[float, Word]] = [(0.0, ())]
    slots: list[tuple[float, Word]] = []
    while nodes:
        cost, word = heapq.heappop(nodes)
        if left.get(cost, 0) > 0 or not word:
            left[cost] = left.get(cost, 0) - 1
            for letter in letters:
                heapq.heappush(nodes, (_rounded(cost + _rounded(times[letter])), (*word, letter)))
        else:
            slots.append((cost, word))
    slots.sort()
    while len(slots) < len(likely):
        cost, word = slots.pop()
        slots.extend((cost + times[letter], (*word, letter)) for letter in letters)
        slots.sort()
    words, _ = matched(likely, slots)
    return words, math.fsum(
        share * sum(times[letter] for letter in word)
        for share, word in zip(likely, words, strict=True)
    )
