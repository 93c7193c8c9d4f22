"""Which texts can be cut into strings in two ways: the test of Sardinas and Patterson, and
listing.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence


def shortest_twice(strings: Sequence[str]) -> int | None:
    """Return the length of the shortest string said in two ways, None if there is none."""
    seen: set[str] = set()
    twice = [string for string in strings if string in seen or seen.add(string)]  # type: ignore[func-returns-value]
    return min(map(len, twice), default=None)


def shortest_join(strings: Sequence[str]) -> int | None:
    """Return the length of the shortest text that can be cut into ``strings`` in two ways; None
    where there is none.

    Sardinas and Patterson's test (1953) by dangling suffixes, cheapest first. A string that stands
    twice counts as two.
    """
    twice = shortest_twice(strings)
    words = sorted(set(strings))
    best: dict[str, int] = {}
    queue = [] if twice is None else [(twice, "")]
    queue += [(len(w), w[len(v) :]) for v in words for w in words if v != w and w.startswith(v)]
    heapq.heapify(queue)
    while queue:
        length, dangling = heapq.heappop(queue)
        if not dangling:
            return length
        if best.setdefault(dangling, length) < length:
            continue
        for word in words:
            if word.startswith(dangling):
                after = (length + len(word) - len(dangling), word[len(dangling) :])
            elif dangling.startswith(word):
                after = (length, dangling[len(word) :])
            else:
                continue
            if best.get(after[1], after[0] + 1) > after[0]:
                heapq.heappush(queue, after)
    return None


def shortest_join_listed(strings: Sequence[str], most: int) -> int | None:
    """Return the same by listing every text of up to ``most`` symbols: no cleverness at all."""
    texts: list[tuple[str, tuple[int, ...]]] = [("", ())]
    seen: dict[str, tuple[int, ...]] = {}
    shortest: int | None = None
    while texts:
        text, way = texts.pop()
        for number, string in enumerate(strings):
            longer = text + string
            if len(longer) > most or (shortest is not None and len(longer) >= shortest):
                continue
            if seen.setdefault(longer, (*way, number)) != (*way, number):
                shortest = len(longer)
            texts.append((longer, (*way, number)))
    return shortest
