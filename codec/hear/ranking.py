"""The most probable readings: strings in order of their weight, put together where several say the same."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from codec.hear.best import Best, Search, likelihoods
from codec.hear.evidence import Evidence
from codec.hear.strings import most_strings, others, share
from codec.hear.sums import Sums, Weighted
from grammar.message import Match

if TYPE_CHECKING:
    from grammar.models import HearingSpec

LEAST = 1e-12  # readings less probable than this are not listed
_EXTRA = 300  # strings looked at beyond those asked for, where a reading may have several

Ranked = tuple[Match, float]


class Ranking:
    """The readings of several graphs under one evidence; ``scale`` turns the weights of each into probabilities."""

    def __init__(self, spec: HearingSpec, models: list[Weighted], found: list[Sums], scale: list[float], evidence: Evidence) -> None:
        """Begin the search."""
        self.spec, self.evidence = spec, evidence
        self.several = max((most_strings(model.graph.message.node) if model.graph.several else 1) for model in models)
        self.search = iter(Search(models, found, scale, evidence))
        self.next: Best | None = next(self.search, None)
        self.kept: dict[tuple[str, tuple[tuple[str, int], ...]], Ranked] = {}
        self.looked = 0

    def best(self, count: int) -> list[Ranked]:
        """Return the ``count`` most probable readings (fewer where there are no more), best first, with their exact probabilities.

        A reading has at most ``several`` strings, and none not yet seen has more weight than the next: that is when to stop.
        """
        while self.next is not None and self.next.weight >= LEAST and self.looked < count + _EXTRA:
            if len(self.kept) >= count:
                masses = sorted((mass for _, mass in self.kept.values()), reverse=True)
                if masses[count - 1] >= self.several * self.next.weight:
                    break
            for match in _matches(self.next):
                key = (match.message.name, tuple(match.levels().items()))
                if key not in self.kept:
                    self.kept[key] = (match, self._mass(match, self.next))
            self.looked += 1
            self.next = next(self.search, None)
        return sorted(self.kept.values(), key=lambda pair: -pair[1])[:count]

    def _mass(self, match: Match, best: Best) -> float:
        """Return the probability of a reading: that of its string, or of all its strings together."""
        ways = [match, *others(match)] if best.graph.several else [match]
        if len(ways) == 1:
            return best.weight
        levels, index = match.levels(), match.message.alphabet.index
        heard = likelihoods(self.evidence, [[index[symbol] for symbol in way.string] for way in ways])
        shares = [share(way.message, self.spec, frozenset(way.plan.leaves), levels) for way in ways]
        worth = [one * another for one, another in zip(heard, shares, strict=True)]
        return best.weight * sum(worth) / worth[0] if worth[0] > 0 else best.weight


def _matches(best: Best) -> Iterator[Match]:
    """Yield what a string means in its message: the quick match, else whatever the automaton finds."""
    match = best.graph.message.quick(best.string)
    if match is not None:
        yield match
        return
    from grammar.automaton import build
    from grammar.paths import string_lattice, walk

    for matches, _ in walk(build([best.graph.message]), string_lattice(best.string)).readings():
        yield matches[0]
