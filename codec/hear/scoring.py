"""What becomes of a book's reports in the air, measured in few hearings: what ``simulate`` finds by
letting thousands of reports be said.

Three things make few enough. Reports heard just as they were said, most of them, are parted from
the spoilt ones, and how often a report is heard so is summed exactly: so most hearings go to what
spoils reports (stratified sampling). How often a reading that is accepted is wrong is not counted
but taken from the hearing, which says it exactly of a radio that is as the book says (conditional
Monte Carlo, after D. Blackwell, 1947): a mistake need not happen to be weighed. And what a report
takes said once is summed over all reports, not drawn.

People with a card take each word as they hear it, and ask for all of what is no report.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.hear.alignment import Step, align, scale_of, silence
from codec.hear.channel import Channel, Condition, channel
from codec.hear.draw import answer, condition, passed_on
from codec.hear.forward_backward import sums
from codec.hear.heard import AskedPart
from codec.hear.k_best import likelihoods
from codec.hear.model import model_of
from codec.hear.priors import Prior
from codec.hear.simulate import Setting, anything, asked_seconds, heard, said
from codec.hear.words import listen
from grammar.design.ears import Ear, Met
from grammar.design.noise import ReportReader

if TYPE_CHECKING:
    from codec.hear.hearing import Hearing
    from codec.reading import Reading
    from grammar.book import Book
    from grammar.message import Message

_TRIES = 2000  # draws until a report is spoilt, or is heard as it was said
_AGAIN = 3  # one answer in so many is heard, as they count for little
_STRAYS = 8  # one stray report is heard for so many reports
_SLOPE = 1e-4  # the step of the derivative that gives mean seconds

# of one report: seconds of asking, shares asked about, accepted wrong, and given up, and the price
# of wrong readings
Figures = tuple[float, float, float, float, float]
# of a field: a level said, read as another, in seconds; None where it is not said, or not read
Price = Callable[[str, int | None, int | None], float]
Again = Callable[[AskedPart], list[str]]


@dataclass(frozen=True, slots=True)
class Scorer:
    """A ``HearingTrial`` of the designer: hears so many reports, in runs of ``laps`` as
    ``simulate`` does, each as it was said and ``spoilt`` times otherwise. By card, which takes no
    time, it hears ``more`` times as many. ``price`` tells what a wrong reading costs in seconds,
    where one costs more than another.
    """

    reports: int = 60
    spoilt: int = 2
    laps: int = 20
    more: int = 6
    price: Price | None = None

    def __call__(self, book: Book, message: Message, ear: Ear, seed: int) -> Met:
        """Return what becomes of a report in the air of ``[hearing]``."""
        chance = random.Random(seed)  # noqa: S311 - a repeatable sample, not a secret
        more = self.more if ear == "card" else 1
        hearer = (
            _Card(book, message, self.price)
            if ear == "card"
            else _Tool(book, message, chance, self.price)
        )
        setting = Setting(self.reports * more, seed, self.laps)
        air, rows, strays = channel(book), list[Figures](), list[Figures]()
        for number, (reading, expected) in enumerate(said(book, setting, chance, stray=0.0)):
            assert reading is not None  # noqa: S101 - none is stray
            strata = _strata(book, air, reading.said, self.spoilt * more, chance)
            rows.append(
                _mixed(
                    (
                        share,
                        [hearer.hear(words, reading, expected, again) for words, again in drawn],
                    )
                    for share, drawn in strata
                )
            )
            if number % _STRAYS == 0:
                strays.append(
                    hearer.hear(
                        anything(book, chance), None, expected, lambda _: anything(book, chance)
                    )
                )
        stray = book.hearing.stray
        (extra, ask, wrong, lost, price_paid), errors = _together(rows, strays, stray)
        once = (1 - stray) * mean_seconds(book)
        paid = price_paid if self.price is not None else None
        return Met(once + extra, errors[0], wrong, errors[2], ask, errors[1], lost, paid)


class _Tool:
    """Hears as ``niner hear`` does."""

    def __init__(
        self, book: Book, message: Message, chance: random.Random, price: Price | None
    ) -> None:
        self.book, self.ears, self.chance, self.price = book, channel(book), chance, price
        self.message = message

    def hear(
        self, words: list[str], reading: Reading | None, expected: Prior, again: Again
    ) -> Figures:
        """Return what becomes of a report; an accepted reading is as often wrong as is said."""
        found = heard(self.book, words, expected, self.ears, [], None)
        if found is not None and found.accepted is not None:
            return 0.0, 0.0, 1 - found.candidates[0].probability, 0.0, self._paid(found)
        part = (found.decision.part if found is not None else None) or AskedPart()
        extra = asked_seconds(self.book, reading.said if reading is not None else "", part)
        if self.chance.randrange(_AGAIN):
            return extra, 1.0, 0.0, 0.0, 0.0
        earlier = [] if found is None else [found]
        found = heard(self.book, again(part), expected, self.ears, earlier, part)
        if found is None or found.accepted is None:
            return extra, 1.0, 0.0, float(_AGAIN), 0.0
        wrong = 1 - found.candidates[0].probability
        return extra, 1.0, _AGAIN * wrong, 0.0, _AGAIN * self._paid(found)

    def _paid(self, found: Hearing) -> float:
        """Return the price that the reading accepted is expected to cost, field by field: over all
        levels that may have been said, and that none was.
        """
        if self.price is None:
            return 0.0
        read = found.candidates[0].reading.match.levels()
        paid = 0.0
        for name in self.message.fields:
            marginal, level = found.marginals[name], read.get(name)
            paid += marginal.absent * (self.price(name, None, level) if level is not None else 0.0)
            paid += math.fsum(
                float(share) * self.price(name, said, level)
                for said, share in enumerate(marginal.probabilities)
                if said != level
            )
        return paid


class _Card:
    """Takes each word as it was heard and looks the string up; all is asked for of what is none."""

    def __init__(self, book: Book, message: Message, price: Price | None) -> None:
        self.book, self.read = book, ReportReader(book.sent_by(message.direction))
        self.price = price
        self.symbols = {entry.word: symbol for symbol, entry in book.alphabet.words.items()}

    def hear(
        self, words: list[str], reading: Reading | None, expected: Prior, again: Again
    ) -> Figures:
        """Return what becomes of a report."""
        del expected  # a card expects nothing
        found = self._wrong(words, reading)
        if found is not None:
            return 0.0, 0.0, found[0], 0.0, found[1]
        extra = asked_seconds(self.book, reading.said if reading is not None else "", AskedPart())
        found = self._wrong(again(AskedPart()), reading)
        wrong, paid = found or (0.0, 0.0)
        return extra, 1.0, wrong, float(found is None), paid

    def _wrong(self, words: list[str], reading: Reading | None) -> tuple[float, float] | None:
        """Return 1 for what reads as another report, 0 for this one, and its price; None for what
        is none.
        """
        match = self.read("".join(self.symbols[word] for word in words)) if words else None
        if match is None:
            return None
        read, said = match.levels(), {} if reading is None else reading.match.levels()
        if reading is not None and read == said:
            return 0.0, 0.0
        if self.price is None:
            return 1.0, 0.0
        return 1.0, math.fsum(
            self.price(name, said.get(name), read.get(name)) for name in said.keys() | read.keys()
        )


def _strata(
    book: Book, air: Channel, string: str, spoilt: int, chance: random.Random
) -> list[tuple[float, list[tuple[list[str], Again]]]]:
    """Return how often a report is heard as it was said, with what is then heard, and again if it
    is asked for; and the same of what is heard otherwise, so many times.
    """
    words = [air.alphabet.words[symbol].word for symbol in string]
    clean = as_said(book, air, words, string)
    found = []
    for share, times in ((clean, 1), (1 - clean, spoilt)):
        drawn = list[tuple[list[str], Again]]()
        for _ in range(_TRIES):
            radio = condition(air, chance)
            one = passed_on(air, string, chance, radio)
            if (one == words) == (share == clean):
                drawn.append((one, _answers(air, string, radio, chance)))
                if len(drawn) == times:
                    break
        found.append((share, drawn))
    return found


def _answers(air: Channel, string: str, radio: Condition, chance: random.Random) -> Again:
    return lambda part: passed_on(air, answer(string, part), chance, radio, again=True)


def as_said(book: Book, air: Channel, words: list[str], string: str) -> float:
    """Return how often a string is heard just as it was said, summed over all that may happen."""
    (report,) = listen(book, air, words)
    alignments = align(air, [report], len(string))
    index = air.alphabet.index
    (likely,) = likelihoods(alignments, [[index[symbol] for symbol in string]])
    return likely * math.prod(scale_of(word) for word in report.ways[0])


def mean_seconds(book: Book) -> float:
    """Return the mean seconds of a report, the first of a run, over all reports as the book expects
    them: the slope of the logarithm of sum(share * exp(slope * seconds)) at 0.
    """
    import numpy as np

    model = model_of(book, None)
    expectation, alphabet = model.weighted(Prior()), book.alphabet
    seconds = np.array([alphabet.words[symbol].seconds for symbol in alphabet.symbols])
    logs = []
    for slope in (_SLOPE, -_SLOPE):
        quiet = silence()
        quiet.steps = [Step(0, 0, np.exp(slope * seconds)[None])]
        totals = [sums(lattice, quiet).total for lattice in expectation.lattices]
        logs.append(math.log(sum(a * b for a, b in zip(totals, expectation.scale, strict=True))))
    return (logs[0] - logs[1]) / (2 * _SLOPE)


def _mixed(strata: Iterable[tuple[float, Sequence[Figures]]]) -> Figures:
    """Return the means of strata by their shares."""
    rows = [
        tuple(share * sum(column) / len(column) for column in zip(*figures, strict=True))
        for share, figures in strata
        if figures
    ]
    a, b, c, d, e = (sum(column) for column in zip(*rows, strict=True))
    return a, b, c, d, e


def _together(
    rows: Sequence[Figures], strays: Sequence[Figures], stray: float
) -> tuple[list[float], list[float]]:
    """Return the means over reports, of which a share is stray, and their standard errors."""
    means, errors = [], []
    for report, none in zip(zip(*rows, strict=True), zip(*strays, strict=True), strict=True):
        (a, x), (b, y) = _mean(report), _mean(none)
        means.append((1 - stray) * a + stray * b)
        errors.append(math.hypot((1 - stray) * x, stray * y))
    return means, errors


def _mean(values: Sequence[float]) -> tuple[float, float]:
    mean = math.fsum(values) / len(values)
    spread = math.fsum((value - mean) ** 2 for value in values) / max(1, len(values) - 1)
    return mean, math.sqrt(spread / len(values))
