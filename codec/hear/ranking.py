"""The most probable readings: strings in order of their weight, put together where several say the
same.
"""

from __future__ import annotations

from collections.abc import Iterator

from codec.hear.alignment import Alignments
from codec.hear.forward_backward import Sums, WeightedLattice
from codec.hear.k_best import BestFirstSearch, BestString, likelihoods
from codec.hear.strings import Strings
from grammar.message import Match, Plan

LEAST = 1e-12  # readings less probable than this are not listed
_MORE = 4  # how many readings are looked for at a time beyond those asked for
_EXTRA = 300  # strings looked at beyond those asked for, where a reading may have several

Ranked = tuple[Match, float]
_Key = tuple[str, tuple[tuple[str, int], ...]]


class Ranking:
    """The readings of several lattices, for what was heard; ``scale`` turns the weights of each
    into probabilities.
    """

    def __init__(
        self,
        models: list[WeightedLattice],
        found: list[Sums],
        scale: list[float],
        alignments: Alignments,
    ) -> None:
        """Begin the search."""
        self.alignments = alignments
        self.several = max(
            (model.lattice.message.ways if model.lattice.strings is not None else 1)
            for model in models
        )
        self.search = iter(BestFirstSearch(models, found, scale, alignments))
        self.next: BestString | None = next(self.search, None)
        self.found: dict[_Key, tuple[Match, BestString]] = {}
        self.masses: dict[_Key, float] = {}
        self.looked = 0

    def best(self, count: int) -> list[Ranked]:
        """Return the ``count`` most probable readings (fewer where there are no more), best first,
        with their exact probabilities.

        A reading has at most ``several`` strings, and none not yet seen has more weight than the
        next: that is when to stop.
        """
        wanted = count
        while True:
            self._look(wanted, count + _EXTRA)
            self._weigh()
            masses = sorted(self.masses.values(), reverse=True)
            if self._ended(count + _EXTRA) or (
                self.next is not None and masses[count - 1] >= self.several * self.next.weight
            ):
                ranked = sorted(self.masses.items(), key=lambda pair: -pair[1])[:count]
                return [(self.found[key][0], mass) for key, mass in ranked]
            wanted = len(self.found) + _MORE

    def best_string(self, match: Match) -> str:
        """Return the likeliest string of a reading found."""
        return self.found[match.message.name, tuple(match.levels().items())][1].string

    def strings(self, match: Match) -> list[tuple[str, float]]:
        """Return the strings that say a reading found, each with its share of the reading's prior,
        up to one factor.
        """
        levels = match.levels()
        _, best = self.found[match.message.name, tuple(levels.items())]
        found = best.lattice.strings
        others = [] if found is None else list(found.others(match, levels))
        if found is None or not others:
            return [(best.string, 1.0)]
        return [
            (string, found.share(plan, levels))
            for plan, string in [(match.plan, best.string), *others]
        ]

    def _ended(self, most: int) -> bool:
        return self.next is None or self.next.weight < LEAST or self.looked >= most

    def _look(self, wanted: int, most: int) -> None:
        """Take strings until so many readings are found."""
        while len(self.found) < wanted and not self._ended(most):
            assert self.next is not None  # noqa: S101 - it has not ended
            for match in _matches(self.next):
                self.found.setdefault(
                    (match.message.name, tuple(match.levels().items())), (match, self.next)
                )
            self.looked += 1
            self.next = next(self.search, None)

    def _weigh(self) -> None:
        """Give the readings found since the last time their probabilities: that of their string, or
        of all their strings together.
        """
        ways: dict[_Key, tuple[Strings, list[tuple[Plan, str]]]] = {}
        for key in [key for key in self.found if key not in self.masses]:
            match, best = self.found[key]
            self.masses[key] = best.weight
            if best.lattice.strings is not None:
                more = list(best.lattice.strings.others(match, dict(key[1])))
                if more:
                    ways[key] = best.lattice.strings, [(match.plan, best.string), *more]
        if not ways:
            return
        index = self.found[next(iter(ways))][0].message.alphabet.index
        heard = iter(
            likelihoods(
                self.alignments,
                [
                    [index[symbol] for symbol in string]
                    for _, found in ways.values()
                    for _, string in found
                ],
            )
        )
        for key, (strings, found) in ways.items():
            levels = dict(key[1])
            worth = [next(heard) * strings.share(plan, levels) for plan, _ in found]
            if worth[0] > 0:
                self.masses[key] *= sum(worth) / worth[0]


def _matches(best: BestString) -> Iterator[Match]:
    """Yield what a string means in its message: the quick match, else whatever the automaton
    finds.
    """
    match = best.lattice.message.quick(best.string)
    if match is not None:
        yield match
        return
    from grammar.automaton import build
    from grammar.paths import string_lattice, walk

    for matches, _ in walk(build([best.lattice.message]), string_lattice(best.string)).readings():
        yield matches[0]
