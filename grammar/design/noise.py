"""What noise makes of a report, figured out by drawing: how often it must be asked for again, how
often it is read wrongly.

The channel: every word said is heard as itself, as another word (``confusions``, P(heard | said))
or not at all (``lost``); in every gap a word may be heard that was not said (``added``, any word
alike). A report is accepted when it reads as one; there is nothing else to notice a mistake here,
no prior and no sense for what is odd, so a hearer who weighs what he hears does no worse.

Mistakes that slip through are rare, so reports are not simply drawn until some do: each drawn
report is heard with exactly one, two and three mishaps, as often as asked, and each result counts
with the probability of that many mishaps (stratified sampling; probabilities of counts by the
recursion of the Poisson binomial distribution).
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
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

TRIES = (2, 5, 1)  # how often a drawn report is heard with one, two, three mishaps


@dataclass(frozen=True, slots=True)
class Noise:
    """A channel: ``confusions[said][heard]``, and the shares of words lost and of gaps with a word
    added.
    """

    confusions: Confusions[str]
    lost: float
    added: float
    _others: dict[str, tuple[list[str], list[float]]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def slip(self, symbol: str) -> float:
        """Return how often a word said is not heard as itself."""
        return self.lost + (1 - self.lost) * (1 - self.confusions[symbol][symbol])

    def others(self, said: str) -> tuple[list[str], list[float]]:
        """Return what a symbol may be taken for, with the shares summed up."""
        if said not in self._others:
            row = self.confusions[said]
            others = [symbol for symbol in self.confusions if symbol != said]
            shares = list(itertools.accumulate(row[other] for other in others))
            self._others[said] = others, shares
        return self._others[said]


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

    def __call__(self, string: str) -> Match | None:
        """Return the reading of a string, None where it is no report."""
        fits = [
            message
            for message in self.messages
            if message.lengths[0] <= len(string) <= message.lengths[1]
        ]
        for message in fits:
            match = message.quick(string)
            if match is not None:
                return match
        if all(message.settles for message in fits):
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
    ``assignment.harm``) times its share; ``mistaken`` the likeliest wrong readings: (what was said,
    what was read, share).
    """

    wrong: float = 0.0
    ask: float = 0.0
    error: float = 0.0
    harm: float = 0.0
    mistaken: dict[tuple[str, str], float] = field(default_factory=dict)


def rates(
    book: Book,
    message: Message,
    noise: Noise,
    reports: Sequence[Drawn],
    *,
    tries: Sequence[int] = TRIES,
    seed: int = 1,
    keep: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Rates:
    """Return what noise makes of reports drawn from a message (``figures.drawn``).

    ``keep`` notes the likeliest mistakes; ``progress`` is told how many reports are done.
    """
    from grammar.design.assignment import harm_between

    generator = random.Random(seed)  # noqa: S311 - a repeatable sample, not a secret
    reader = ReportReader(book.sent_by(message.direction))
    found, shares = Rates(), []
    for number, report in enumerate(reports):
        slips = [noise.slip(symbol) for symbol in report.string] + [noise.added] * (
            len(report.string) + 1
        )
        counts, chances = _counts(slips, len(tries)), _Mishaps(slips, len(tries))
        wrong = 0.0
        for mishaps, times in enumerate(tries, start=1):
            for _ in range(times):
                heard = _heard(noise, report.string, chances.places(mishaps, generator), generator)
                match = reader(heard) if heard != report.string else None
                if match is None or (match.message is message and _same(match, report)):
                    continue
                share = counts[mishaps] / times
                wrong += share
                found.harm += share * harm_between(message, report.levels, match)
                if keep:
                    pair = (report.string, heard)
                    found.mistaken[pair] = found.mistaken.get(pair, 0.0) + share / len(reports)
        shares.append(wrong)
        found.ask += 1 - counts[0] - wrong
        if progress is not None:
            progress(number + 1)
    total = max(1, len(shares))
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


def _counts(slips: Sequence[float], most: int) -> list[float]:
    """Return the probability of 0, 1, … ``most`` or more mishaps."""
    counts = [1.0] + [0.0] * most
    for slip in slips:
        for number in range(most, 0, -1):
            stays = 1.0 if number == most else 1 - slip
            counts[number] = counts[number] * stays + counts[number - 1] * slip
        counts[0] *= 1 - slip
    return counts


class _Mishaps:
    """Where a report has mishaps, given that it has just so many (at most ``most``)."""

    def __init__(self, slips: Sequence[float], most: int) -> None:
        self._odds = [slip / (1 - slip) for slip in slips]
        # sums of products of odds over the places from each on, by how many are chosen
        self._ways = [[1.0] + [0.0] * most]
        for one in reversed(self._odds):
            last = self._ways[-1]
            self._ways.append([1.0, *[last[n] + one * last[n - 1] for n in range(1, most + 1)]])
        self._ways.reverse()

    def places(self, mishaps: int, generator: random.Random) -> set[int]:
        """Draw the places of so many mishaps."""
        chosen: set[int] = set()
        left = mishaps
        for place, one in enumerate(self._odds):
            if not left:
                break
            ways, after = self._ways[place], self._ways[place + 1]
            if generator.random() * ways[left] < one * after[left - 1]:
                chosen.add(place)
                left -= 1
        return chosen


def _heard(noise: Noise, string: str, places: set[int], generator: random.Random) -> str:
    """Return what is heard with mishaps in these places: words first, then gaps."""
    symbols = list(noise.confusions)
    parts: list[str] = []
    for place, said in enumerate([*string, ""]):
        if place + len(string) in places:
            parts.append(generator.choice(symbols))
        if place not in places or not said:
            parts.append(said)
        elif generator.random() * noise.slip(said) >= noise.lost:
            others, shares = noise.others(said)
            parts.append(generator.choices(others, cum_weights=shares)[0])
    return "".join(parts)


def simulated(noise: Noise, string: str, generator: random.Random) -> str:
    """Return a string as it is heard once, mishaps as they come: for plain simulations."""
    slips = [noise.slip(symbol) for symbol in string] + [noise.added] * (len(string) + 1)
    return _heard(
        noise,
        string,
        {place for place, slip in enumerate(slips) if generator.random() < slip},
        generator,
    )


def confused_words(noise: Noise, words: Sequence[str]) -> Iterator[tuple[int, int, float]]:
    """Yield (said, heard, probability) for each pair of codewords that differ in one word, said as
    the first and heard as the second.
    """
    place = {word: number for number, word in enumerate(words)}
    for number, word in enumerate(words):
        kept = math.prod(noise.confusions[symbol][symbol] for symbol in word)
        for at, said in enumerate(word):
            row = noise.confusions[said]
            for heard, share in row.items():
                other = place.get(word[:at] + heard + word[at + 1 :]) if heard != said else None
                if other is not None:
                    yield number, other, share * kept / row[said]


def confusion_matrix(noise: Noise, words: Sequence[str]) -> list[list[float]]:
    """Return P(one codeword heard as another) by single words misheard, one row a codeword said."""
    matrix = [[0.0] * len(words) for _ in words]
    for said, heard, share in confused_words(noise, words):
        matrix[said][heard] += share
    return matrix
