"""How many reports could be accepted at most, of what a transcript has of them.

An oracle is told which words are a report's, each apart, whose it is and of which lap, and what the
report before said. It hears all that there is of it as one: the driver's words, what he said again,
the read-back. The finder is told none of that, so this is more a bound than a goal.
"""

from __future__ import annotations

import dataclasses
from collections import Counter

from radio_events import Event

from codec import decode
from codec.hear import AskedPart, Channel, Hearing, channel, hear
from codec.hear.channel import Condition
from codec.hear.priors import Prior
from codec.radio.doubt import levels_of_laps
from codec.radio.named import NamedReports
from codec.radio.wording import RadioWords
from grammar.book import Book
from grammar.errors import CodeError


def true_channel(book: Book, errors: float) -> Channel:
    """Return the channel of a book at the rates by which these events are spoilt, and no other: a
    fifth of the words wrong is lost, two fifths get another word behind them or are written as one
    with the next.
    """
    return dataclasses.replace(
        channel(book),
        insertion=max(1e-3, 0.2 * errors),
        deletion=max(1e-3, 0.2 * errors),
        conditions=(Condition(1.0),),
        misread=1e-4,
        swapped=0.0,
    )


class Ceiling:
    """What an oracle makes of the reports of events: right, wrong, or asked again."""

    def __init__(self, book: Book, errors: float) -> None:
        """Begin with none."""
        self.book, self.cut = book, RadioWords(book.lexicon).cut
        self.ears = {"book": channel(book), "true": true_channel(book, errors)}
        self.counts: dict[str, Counter[str]] = {name: Counter() for name in (*self.ears, "named")}
        self.plainly = NamedReports(book)

    def add(self, event: Event) -> None:
        """Hear every report of an event. Of one in plain words the driver's words are right where
        they can be read and say what was said, which nobody could tell who does not know it.
        """
        for truth in event.truth:
            if truth.kind != "report":
                continue
            copies = event.copies[truth.car, truth.lap]
            before = event.said.get((truth.car, truth.lap - 1))
            if event.style.figures:
                said = [] if truth.why == "driver not heard" else copies[:1]
                if said and self._named(said[0], truth.lap, truth.what):
                    outcome = "right"
                else:
                    spelt, ears = copies[len(said) :], self.ears["book"]
                    outcome = self._outcome(spelt, truth.lap, truth.what, before, ears)
                self.counts["named"][outcome] += 1
                continue
            for name, ears in self.ears.items():
                self.counts[name][self._outcome(copies, truth.lap, truth.what, before, ears)] += 1

    def _outcome(
        self,
        copies: list[str],
        lap: int,
        string: str,
        before: dict[str, object] | None,
        ears: Channel,
    ) -> str:
        prior = Prior.of(before) if before else Prior()
        prior = dataclasses.replace(prior, told=levels_of_laps(self.book, {lap: 1.0}))
        earlier = list[Hearing]()
        for copy in copies:
            if self._read(copy, string):
                return "right"
            words = " ".join(word.text for word in self.cut(copy))
            try:
                found = hear(
                    self.book, words, prior=prior, noise=ears, earlier=earlier, part=AskedPart(),
                    direction="car", ask=False,
                )  # fmt: skip
            except CodeError:
                continue
            if found.accepted is not None:
                return "right" if found.accepted.said == string else "wrong"
            earlier = [found]
        return "asked"

    def _read(self, copy: str, string: str) -> bool:
        try:
            return decode(self.book, copy).said == string
        except (CodeError, ValueError):
            return False

    def _named(self, words: str, lap: int, string: str) -> bool:
        said = self.plainly.find(words)
        reading = None if said is None else self.plainly.reading(said, lap, words, {})
        return reading is not None and reading.said == string

    def share(self, name: str) -> tuple[float, int]:
        """Return the share that is accepted and right, and how many are wrong."""
        counts = self.counts[name]
        return counts["right"] / max(1, sum(counts.values())), counts["wrong"]
