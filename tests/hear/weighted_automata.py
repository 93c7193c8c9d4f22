"""The same model built with a general library of weighted automata (pynini, on OpenFst), to compare
answers and time.

A path's cost is -log of the weight of one string and one alignment. The channel is one transducer
from symbols said to symbols heard; the message is one from the string of a reading to the symbols
said for it, its check symbol being states.
"""

from __future__ import annotations

import math
from typing import Any

import pynini
from pywrapfst import Arc, EncodeMapper

from codec.hear.channel import Channel
from codec.hear.priors import Prior, shares
from grammar.book import Book
from grammar.layout import InOrder, Leaf, Maybe, leaves


def small(fst: Any) -> Any:
    """Return the same weighted pairs of strings with fewer states."""
    pairs = EncodeMapper("standard", encode_labels=True)
    encoded = fst.copy().rmepsilon().encode(pairs)
    return pynini.determinize(encoded).minimize(delta=1e-6).decode(pairs)


class Automata:
    """A book of one message: plain tables in order, optional ones among them, and perhaps a check
    over all before it.
    """

    def __init__(self, book: Book, channel: Channel) -> None:
        self.book, self.channel, (self.message,) = book, channel, book.sent_by("car")
        self.symbols = book.alphabet.symbols
        self.shares = shares(book, Prior(), list(self.message.fields))
        self.noise = self._channel()
        self.reports = small(self._message())
        self.both = pynini.compose(self.reports, self.noise).arcsort("olabel")

    def _channel(self) -> Any:
        """One state: a symbol lost, heard as another, or added; every symbol closes the gap before
        it, the end the last.
        """
        fst, channel = pynini.Fst(), self.channel
        gap = fst.add_state()
        fst.set_start(gap)
        fst.set_final(gap, -math.log(1 - channel.insertion))
        close = -math.log(1 - channel.insertion)
        for n, heard in enumerate(self.symbols):
            added = -math.log(channel.insertion / len(self.symbols))
            fst.add_arc(gap, Arc(0, ord(heard), added, gap))
            for m, symbol in enumerate(self.symbols):
                cost = close - math.log((1 - channel.deletion) * channel.table[m, n])
                fst.add_arc(gap, Arc(ord(symbol), ord(heard), cost, gap))
        for symbol in self.symbols:
            fst.add_arc(gap, Arc(ord(symbol), 0, close - math.log(channel.deletion), gap))
        return fst

    def _message(self) -> Any:
        node = self.message.node
        assert isinstance(node, InOrder)
        plain = pynini.accep("")
        for part in node.parts:
            if isinstance(part, Leaf) and part.number in self.message.check_leaves:
                return pynini.compose(pynini.concat(plain, self._any()), self._checked(part.number))
            inside = pynini.accep("")
            for leaf in leaves(part):
                inside = pynini.concat(inside, self._table(leaf.number))
            if isinstance(part, Maybe):
                inside = self._optional(part, inside)
            plain = pynini.concat(plain, inside)
        return plain

    def _optional(self, part: Maybe, inside: Any) -> Any:
        """What is left out is worth its usual levels; said anyway, they are worth little (the
        book's defaults). It is the same reading, which is written without.
        """
        spec = self.book.hearing
        implied = self.message.usual(part.part)
        word, left = "", 1.0
        for leaf in leaves(part):
            table = self.message.tables[leaf.number]
            word += table.word(tuple(implied[field.name] for field in table.fields)) or ""
            left *= math.prod(
                float(self.shares[field.name][implied[field.name]]) for field in table.fields
            )
        usual = pynini.cross("", pynini.accep(word, weight=-math.log(spec.spoken_anyway * left)))
        other = small(pynini.difference(inside, pynini.accep(word))) if word else inside
        return pynini.union(
            other, usual, pynini.accep("", weight=-math.log((1 - spec.spoken_anyway) * left))
        )

    def _table(self, leaf: int) -> Any:
        table = self.message.tables[leaf]
        words = []
        for levels, word in table.words():
            share = math.prod(
                float(self.shares[field.name][level])
                for field, level in zip(table.fields, levels, strict=True)
            )
            words.append((word, -math.log(share)))
        return small(pynini.union(*(pynini.accep(word, weight=cost) for word, cost in words)))

    def _any(self) -> Any:
        return pynini.union(*(pynini.accep(symbol) for symbol in self.symbols))

    def _checked(self, leaf: int) -> Any:
        """Accept strings whose last symbol is their check: a state for each state of the method."""
        rule, fst = self.message.tables[leaf].check, pynini.Fst()
        assert rule is not None
        method = rule.method
        numbers: dict[int, int] = {}

        def state(check: int) -> int:
            if check not in numbers:
                numbers[check] = fst.add_state()
                waiting.append(check)
            return numbers[check]

        waiting: list[int] = []
        (start,) = method.starts()
        fst.set_start(state(start))
        end = fst.add_state()
        fst.set_final(end)
        while waiting:
            check = waiting.pop()
            for value, symbol in enumerate(method.values):
                fst.add_arc(
                    numbers[check],
                    Arc(ord(symbol), ord(symbol), 0, state(method.step(check, value))),
                )
            wanted = method.wanted(check)
            if wanted is not None:
                label = ord(method.checks[wanted])
                fst.add_arc(numbers[check], Arc(label, label, 0, end))
        return fst

    def lattice(self, heard: str) -> Any:
        """Return the weighted strings that may have been said for what was heard (a symbol a word),
        an arc for a step of an alignment.
        """
        return pynini.compose(self.both, pynini.accep(heard)).project("input")

    def best_alignments(self, heard: str, count: int = 5) -> list[tuple[str, float]]:
        """Return the ``count`` strings whose single best alignment costs least, with that cost."""
        found = pynini.shortestpath(self.lattice(heard).rmepsilon(), nshortest=count, unique=True)
        paths = [(string, float(weight)) for string, _, weight in found.paths().items()]
        return sorted(paths, key=lambda pair: pair[1])

    def best(self, heard: str, count: int = 5) -> list[tuple[str, float]]:
        """Return the ``count`` strings with the least cost, all alignments of each summed, out of
        eight times as many with a good one.
        """
        lattice = self.lattice(heard)
        sums = [
            (string, self._sum(pynini.compose(pynini.accep(string), lattice)))
            for string, _ in self.best_alignments(heard, 8 * count)
        ]
        return sorted(sums, key=lambda pair: pair[1])[:count]

    @staticmethod
    def _sum(lattice: Any) -> float:
        """Return the cost of all paths together: the shortest distance in the log semiring."""
        summed = pynini.arcmap(lattice, map_type="to_log64")
        return float(pynini.shortestdistance(summed, reverse=True)[summed.start()])

    def total(self, heard: str) -> float:
        """Return the weight of all strings and alignments together."""
        return math.exp(-self._sum(self.lattice(heard)))
