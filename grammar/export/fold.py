"""A network folded into rules without recursion, for recognisers that write every rule out wherever
it is used.

Such a recogniser shares no state among the uses of a rule, so one rule for each state of a check
would be written out once for every string. Here nodes are taken out one by one, and the ways
through each become alternatives between its neighbours (state elimination: J. A. Brzozowski and E.
J. McCluskey 1963), the node first whose going adds the fewest words (weights after M. Delgado and
J. Morais 2004; both from memory).
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

from grammar.export.network import Network

Alternative = tuple[str | int, ...]  # symbols, and numbers of rules
MOST_FOLDED = 3000  # nodes


@dataclass(slots=True)
class Folded:
    """``rules[number]`` are the alternatives of a rule, ``whole`` those of all that is said;
    ``words`` counts all words written out.
    """

    rules: list[list[Alternative]]
    whole: list[Alternative]
    words: int


@dataclass(slots=True)
class _Ways:
    """What can be said between two nodes, the words of it written out, and the number of the rule
    it became.
    """

    alternatives: list[Alternative] = field(default_factory=list)
    words: int = 0
    rule: int | None = None


class _Graph:
    """Ways between nodes: of the network, and one more, where it ends. Node 0 and that one stay."""

    def __init__(self, network: Network) -> None:
        count = len(network.arcs)
        self.rules: list[list[Alternative]] = []
        self.leaving: list[dict[int, _Ways]] = [{} for _ in range(count + 1)]
        self.coming: list[dict[int, _Ways]] = [{} for _ in range(count + 1)]
        self.end = count
        place = [node if arcs else self.end for node, arcs in enumerate(network.arcs)]
        for node, arcs in enumerate(network.arcs):
            for symbol, target in dict.fromkeys((arc.symbol, arc.target) for arc in arcs):
                self.add(node, place[target], (symbol,), 1)
            if arcs and network.final[node]:
                self.add(node, self.end, (), 0)

    def add(self, before: int, after: int, alternative: Alternative, words: int) -> None:
        ways = self.leaving[before].setdefault(after, _Ways())
        self.coming[after][before] = ways
        ways.alternatives.append(alternative)
        ways.words += words

    def weight(self, node: int) -> int:
        """Return how many words more there are without the node."""
        coming, leaving = self.coming[node], self.leaving[node]
        before, after = (
            sum(ways.words for ways in coming.values()),
            sum(ways.words for ways in leaving.values()),
        )
        return before * (len(leaving) - 1) + after * (len(coming) - 1)

    def take_out(self, node: int) -> set[int]:
        """Take a node out; return its neighbours."""
        coming, leaving = self.coming[node], self.leaving[node]
        for before in coming:
            del self.leaving[before][node]
        for after in leaving:
            del self.coming[after][node]
        self.coming[node], self.leaving[node] = {}, {}
        for before, first in coming.items():
            for after, second in leaving.items():
                self.add(
                    before, after, self.said(first) + self.said(second), first.words + second.words
                )
        return {*coming, *leaving} - {0, self.end}

    def said(self, ways: _Ways) -> Alternative:
        """Return ways as a part of an alternative: themselves where there is one, else the rule
        they become.
        """
        if len(ways.alternatives) == 1:
            return ways.alternatives[0]
        if ways.rule is None:
            ways.rule = len(self.rules)
            self.rules.append(ways.alternatives)
        return (ways.rule,)


def fold(network: Network, most_words: int) -> Folded | None:
    """Return the rules of a network, None where they would be more than ``most_words`` words
    written out.
    """
    if len(network.arcs) > MOST_FOLDED:
        return None
    graph = _Graph(network)
    weights = {node: graph.weight(node) for node in range(1, len(network.arcs))}
    waiting = [(weight, node) for node, weight in weights.items()]
    heapq.heapify(waiting)
    while waiting:
        weight, node = heapq.heappop(waiting)
        if weights.get(node) != weight:
            continue  # taken out, or weighed anew
        del weights[node]
        for near in graph.take_out(node):
            if any(ways.words > most_words for ways in graph.coming[near].values()):
                return None  # each is a part of the whole
            weights[near] = graph.weight(near)
            heapq.heappush(waiting, (weights[near], near))
    whole = graph.leaving[0][graph.end]
    return (
        Folded(graph.rules, whole.alternatives, whole.words) if whole.words <= most_words else None
    )
