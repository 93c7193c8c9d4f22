"""What noise makes of a report, figured out by drawing: how often it must be asked for again, how
often it is read wrongly.

The channel: every word said is heard as itself, as another word (``confusions``, P(heard | said))
or not at all (``lost``); in every gap a word may be heard that was not said (``added``, any word
alike). A report is accepted when it reads as one; there is nothing else to notice a mistake here,
no prior and no sense for what is odd, so a hearer who weighs what he hears does no worse.

Mistakes that slip through are rare, so reports are not simply drawn until some do: each drawn
report is heard with exactly one, two and three mishaps, as often as asked, and each result counts
with the probability of that many mishaps (stratified sampling; probabilities of counts by sums of
products of odds, as S. Chen and J. Liu 1997 have them for the conditional Bernoulli distribution).
"""

from __future__ import annotations

import bisect
import functools
import itertools
import math
import operator
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from grammar import sound
from grammar.automaton import Automaton, build
from grammar.message import Match, Message
from grammar.paths import string_lattice, walk
from grammar.sound import Confusions
from grammar.symbols import Alphabet

if TYPE_CHECKING:
    from grammar.book import Book
    from grammar.figures import Drawn
    from grammar.hearing import HearingSpec

_ROUNDED = 1e-9  # of a share, more than rounding can change it
TRIES = (2, 5, 1)  # how often a drawn report is heard with one, two, three mishaps


@dataclass(frozen=True)
class Noise:
    """A channel: ``confusions[said][heard]``, and the shares of words lost and of gaps with a word
    added.
    """

    confusions: Confusions[str]
    lost: float
    added: float

    @functools.cached_property
    def symbols(self) -> list[str]:
        """What may be heard."""
        return list(self.confusions)

    @functools.cached_property
    def slips(self) -> dict[str, float]:
        """How often each word said is not heard as itself."""
        return {
            said: self.lost + (1 - self.lost) * (1 - row[said])
            for said, row in self.confusions.items()
        }

    @functools.cached_property
    def others(self) -> dict[str, tuple[list[str], list[float]]]:
        """What each symbol may be taken for, with the shares summed up."""
        found = {}
        for said, row in self.confusions.items():
            others = [symbol for symbol in self.confusions if symbol != said]
            found[said] = others, list(itertools.accumulate(row[other] for other in others))
        return found


def noise_of(alphabet: Alphabet, hearing: HearingSpec, grade: str | float | None = None) -> Noise:
    """Return the channel that ``[hearing]`` describes: from the sounds, then what the team states,
    then its counts.
    """
    rows = sound.confusion(
        [(symbol, entry.phones()) for symbol, entry in alphabet.words.items()],
        hearing.noise if grade is None else grade,
    )
    rows = sound.with_table(rows, _known(hearing.confusions, rows))
    if hearing.counts:
        rows = sound.with_counts(rows, _known(hearing.counts, rows), hearing.strength)
    return Noise(rows, hearing.deletion, hearing.insertion)


def _known(
    table: Mapping[str, Mapping[str, float]], rows: Confusions[str]
) -> dict[str, dict[str, float]]:
    """Drop what a table says of symbols that are not in use: an alphabet may be smaller than the
    one it was made for.
    """
    return {
        said: {heard: x for heard, x in row.items() if heard in rows}
        for said, row in table.items()
        if said in rows
    }


class ReportReader:
    """Reads strings of one direction as reports, by the automaton only where the fast way does not
    settle them.
    """

    def __init__(self, messages: Sequence[Message]) -> None:
        """Take the messages that may be meant."""
        self.messages = tuple(messages)
        self._automaton: Automaton | None = None
        self._fits: dict[int, list[Message]] = {}  # by the number of symbols

    def __call__(self, string: str) -> Match | None:
        """Return the reading of a string, None where it is no report."""
        length = len(string)
        if length not in self._fits:
            self._fits[length] = [
                message
                for message in self.messages
                if message.lengths[0] <= length <= message.lengths[1]
            ]
        settled = True
        for message in self._fits[length]:
            match = message.quick(string)
            if match is not None:
                return match
            settled = settled and message.settles
        if settled:
            return None
        self._automaton = self._automaton or build(self.messages)
        for matches, _ in walk(self._automaton, string_lattice(string)).readings():
            return matches[0]
        return None


@dataclass(slots=True)
class Rates:
    """What becomes of a report, as shares of all reports sent: ``wrong`` is accepted with another
    reading, ``ask`` is refused.

    ``error`` is the standard error of ``wrong``; ``harm`` the mean harm of a wrong reading (see
    ``assignment.harm``) times its share.
    """

    wrong: float = 0.0
    ask: float = 0.0
    error: float = 0.0
    harm: float = 0.0


def rates(
    book: Book,
    message: Message,
    noise: Noise,
    reports: Sequence[Drawn],
    *,
    tries: Sequence[int] = TRIES,
    seed: int = 1,
    most: float = math.inf,
) -> Rates:
    """Return what noise makes of reports drawn from a message (``figures.drawn``).

    Where more than ``most`` are wrong the rest is not heard: then the shares are too low, ``wrong``
    too, which is still more than that.
    """
    from grammar.design.assignment import harm_between

    generator = random.Random(seed)  # noqa: S311 - a repeatable sample, not a secret
    reader = ReportReader(book.sent_by(message.direction))
    gaps: list[_Sums] = []
    found, shares, left = Rates(), [], most * (1 + _ROUNDED) * len(reports)
    for report in reports:
        string = report.string
        mishaps = _Mishaps(noise, string, len(tries), gaps)
        wrong = 0.0
        for number, times in enumerate(tries, start=1):
            for _ in range(times):
                heard = mishaps.heard(number, generator)
                match = reader(heard) if heard != string else None
                if match is None or (match.message is message and _same(match, report)):
                    continue
                share = mishaps.chances[number] / times
                wrong += share
                found.harm += share * harm_between(message, report.levels, match)
        shares.append(wrong)
        found.ask += 1 - mishaps.chances[0] - wrong
        left -= wrong
        if left < 0:
            break
    total = max(1, len(reports))
    found.wrong, found.ask, found.harm = (
        math.fsum(shares) / total,
        found.ask / total,
        found.harm / total,
    )
    found.error = math.sqrt(
        math.fsum((share - found.wrong) ** 2 for share in shares) / max(1, total - 1) / total
    )
    return found


def _same(match: Match, report: Drawn) -> bool:
    levels = match.levels()
    return all(levels.get(name, level) == level for name, level in report.levels.items())


_Sums = tuple[list[float], list[float]]


class _Mishaps:
    """A report as it is heard with just so many mishaps, at most ``most``.

    They happen in places: the words of the report, then the gaps, before each word and behind the
    last. ``chances`` are the probabilities of none, one, … ``most`` or more. ``gaps`` are sums of
    the last gaps (of one, of two, …), which all reports share.
    """

    def __init__(self, noise: Noise, string: str, most: int, gaps: list[_Sums]) -> None:
        self._noise, self._string = noise, string
        while len(gaps) <= len(string):
            gaps.append(_sums(noise.added, gaps[-1][1] if gaps else [1.0] + [0.0] * most))
        self._places = gaps[: len(string) + 1]
        slips = [noise.slips[symbol] for symbol in string]
        for slip in reversed(slips):
            self._places.append(_sums(slip, self._places[-1][1]))
        self._places.reverse()
        none = math.prod([1 - slip for slip in slips]) * (1 - noise.added) ** (len(string) + 1)
        self.chances = [none * ways for ways in self._places[0][1][:-1]]
        self.chances.append(1 - math.fsum(self.chances))

    def heard(self, mishaps: int, generator: random.Random) -> str:
        """Draw what is heard with so many mishaps."""
        string, noise, random_ = self._string, self._noise, generator.random
        words, chosen, left = len(string), list[tuple[int, bool]](), mishaps
        for place, (with_it, ways) in enumerate(self._places):
            if random_() * ways[left] < with_it[left]:
                chosen.append((place, True) if place < words else (place - words, False))
                left -= 1
                if not left:
                    break
        chosen.sort()  # a gap comes before its word
        heard, at = "", 0
        for place, said in chosen:
            heard += string[at:place]
            at = place
            if not said:
                heard += generator.choice(noise.symbols)
                continue
            at += 1
            symbol = string[place]
            if random_() * noise.slips[symbol] >= noise.lost:
                others, shares = noise.others[symbol]
                heard += others[bisect.bisect(shares, random_() * shares[-1], 0, len(others) - 1)]
        return heard + string[at:]


def _sums(slip: float, after: Sequence[float]) -> _Sums:
    """Return the sums of products of odds over the places from one on, by how many of them are
    chosen: those with the place itself, and all; ``after`` has those of the places after it.
    """
    odds = slip / (1 - slip)
    chosen = [0.0, *[odds * ways for ways in after[:-1]]]
    return chosen, list(map(operator.add, after, chosen))


def confused_words(
    noise: Noise, words: Sequence[str], least: Callable[[int], float] = lambda _: 0.0
) -> Iterator[tuple[int, int, float]]:
    """Yield (said, heard, probability) for each pair of codewords that differ in one word, said as
    the first and heard as the second; those less likely than ``least`` says of the first may be
    passed over.
    """
    place = {word: number for number, word in enumerate(words)}
    rows = {
        said: sorted(
            ((share, heard) for heard, share in row.items() if heard != said), reverse=True
        )
        for said, row in noise.confusions.items()
    }
    for number, word in enumerate(words):
        kept = math.prod(noise.confusions[symbol][symbol] for symbol in word)
        for at, said in enumerate(word):
            before, after, itself = word[:at], word[at + 1 :], noise.confusions[said][said]
            for share, heard in rows[said]:
                probability = share * kept / itself
                if probability < least(number):
                    break
                other = place.get(before + heard + after)
                if other is not None:
                    yield number, other, probability


def confusion_matrix(noise: Noise, words: Sequence[str]) -> list[list[float]]:
    """Return P(one codeword heard as another) by single words misheard, one row a codeword said."""
    matrix = [[0.0] * len(words) for _ in words]
    for said, heard, share in confused_words(noise, words):
        matrix[said][heard] += share
    return matrix
