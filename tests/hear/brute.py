"""The posterior by listing: every way to say every report one by one; over every alignment of it
with the words heard, every moment of the radio and slip of the driver by recursion.

Written from the description of the model alone; the strings come from ``laws.reference``, the
confusions from the sounds.
"""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from laws.reference import Reference, Tree, tables_of

from codec.hear.channel import phones_of
from grammar import sound

# the book format's defaults
INSERTION, DELETION, STRAY, SPOKEN_ANYWAY, LEFT_OUT = 0.01, 0.01, 0.005, 0.02, 0.5
BAD_INSERTION, BAD_DELETION, MISREAD, SWAPPED = 0.1, 0.25, 0.002, 0.002
# share, bad words, their run, and what the rates outside of bad moments are taken times
CONDITIONS = ((0.77, 0.0, 1.0, 0.02), (0.13, 0.0, 1.0, 1.0), (0.1, 0.35, 2.0, 1.0))

Levels = tuple[tuple[str, int], ...]
Word = Mapping[str, float]  # P(this is heard | said symbol), and "" for a word nobody said


class Hearing(NamedTuple):
    """Every way to cut what was heard into words, each equally likely, and the borders of the part
    it covers.
    """

    cuts: Sequence[Sequence[Word]]
    after: str = ""
    before: str = ""


class Way(NamedTuple):
    message: str
    string: str
    levels: Levels
    weight: float


def word(book: Any, symbol: str, grade: str | float = "noisy") -> Word:
    rows = sound.confusion([(s, phones_of(book.alphabet, s)) for s in book.alphabet.symbols], grade)
    return {said: row[symbol] for said, row in rows.items()} | {"": 1 / len(rows)}


def unclear(book: Any) -> Word:
    return dict.fromkeys([*book.alphabet.symbols, ""], 1.0)


def foreign(book: Any, text: str, grade: str | float = "noisy") -> Word:
    """exp(-distance / temperature) shared among the book's words and this one; one word in a
    thousand is any word at all.
    """
    sounds = {symbol: phones_of(book.alphabet, symbol) for symbol in book.alphabet.symbols}
    heat, found = sound.temperature(grade), {}
    for said, phones in sounds.items():
        word_said = book.alphabet.words[said].word
        apart = sound.distance(phones, sound.phones(text))
        if word_said.replace("-", "").isalpha():
            apart = (apart + sound.distance(sound.estimate(word_said), sound.estimate(text))) / 2
        weights = [math.exp(-sound.distance(phones, other) / heat) for other in sounds.values()]
        found[said] = 0.999 * math.exp(-apart / heat) / math.fsum(
            [*weights, math.exp(-apart / heat)]
        ) + 0.001 / (len(sounds) + 1)
    return found | {"": 1 / (len(sounds) + 1)}


def ways(reference: Reference, name: str, shares: Mapping[str, Any]) -> Iterator[Way]:
    """Yield every way to say a message with its weight before any word is heard."""
    order = reference._order(name)
    for pieces, levels, weight in _weighed(reference, reference.draft.trees[name], [0], shares):
        done = reference._checked(pieces)
        string = "".join(symbols for _, _, symbols in done)
        yield Way(name, string, tuple((n, levels[n]) for n in order if n in levels), weight)


def _weighed(
    reference: Reference, tree: Tree, count: list[int], shares: Mapping[str, Any], turn: int = 0
) -> list[tuple[Any, dict[str, int], float]]:
    kind, inner = tree
    if kind in ("table", "literal"):
        return [
            (p, lv, math.prod(shares[n][x] for n, x in lv.items()))
            for p, lv in reference._expand(tree, count, turn)
        ]
    if kind == "again":
        part, least, most = inner
        names = {name for table in tables_of(part) for name in reference.fields_of(table)}
        turns = [_weighed(reference, part, count, shares, t) for t in range(1, most + 1)]
        # a part that says nothing is as usual where it is left out
        on, off = (1 - LEFT_OUT, LEFT_OUT) if names else (SPOKEN_ANYWAY, 1 - SPOKEN_ANYWAY)
        found = []
        for times in range(least, most + 1):
            factor = on ** (times - least) * (off if times < most else 1)
            found += [(p, lv, w * factor) for p, lv, w in _in_order(turns[:times])]
        return found
    if kind == "maybe":
        implied = reference.implied(inner, turn)
        names = {
            name
            for table in tables_of(inner)
            for place in reference.places(table, turn)
            for name in place
        }
        same = names <= implied.keys()
        said = []
        for pieces, levels, weight in _weighed(reference, inner, count, shares, turn):
            factor = (SPOKEN_ANYWAY if levels == implied else 1.0) if same else 1 - LEFT_OUT
            said.append((pieces, levels, weight * factor))
        skipped = (1 - SPOKEN_ANYWAY if same else LEFT_OUT) * math.prod(
            shares[n][x] for n, x in implied.items()
        )
        return [*said, ((), implied, skipped)]
    branches = [_weighed(reference, part, count, shares, turn) for part in inner]
    if kind == "either":
        return [
            (pieces, levels, weight / len(branches))
            for branch in branches
            for pieces, levels, weight in branch
        ]
    return _in_order(branches)


def _in_order(
    branches: Sequence[list[tuple[Any, dict[str, int], float]]],
) -> list[tuple[Any, dict[str, int], float]]:
    rows: list[tuple[Any, dict[str, int], float]] = [((), {}, 1.0)]
    for branch in branches:
        rows = [((*a, *b), x | y, v * w) for a, x, v in rows for b, y, w in branch]
    return rows


def alignments(
    said: str, heard: Sequence[Word], bad: float, run: float, times: float, swapped: float
) -> float:
    """Return the probability that what was shown is heard so, in one condition of the radio: summed
    over its moments, symbols misread or swapped, words in gaps, lost, or heard as something.
    """
    read = [_read(word, times * MISREAD) for word in heard]
    begins = bad / (1 - bad) / run
    switch = {
        False: ((False, 1 - begins), (True, begins)),
        True: ((False, 1 / run), (True, 1 - 1 / run)),
    }

    @functools.cache
    def rest(place: int, number: int, was_bad: bool) -> float:
        """Return what all that follows is worth, from the gap before a symbol on."""
        found = 0.0
        for now_bad, chance in switch[was_bad]:
            insertion = BAD_INSERTION if now_bad else times * INSERTION
            over = chance * (1 - insertion)
            for word_number in range(number, len(heard) + 1):
                if word_number > number:
                    over *= insertion * heard[word_number - 1][""]
                found += over * symbol(place, word_number, now_bad)
        return found

    def symbol(place: int, number: int, now_bad: bool) -> float:
        if place == len(said):
            return float(number == len(heard))
        deletion = BAD_DELETION if now_bad else times * DELETION
        found = deletion * rest(place + 1, number, now_bad)
        if number < len(heard):
            chance = heard[number][""] if now_bad else read[number][said[place]]
            found += (1 - deletion) * chance * rest(place + 1, number + 1, now_bad)
        if bad or times < 1:
            return found
        found *= 1 - swapped
        if place + 1 < len(said) and number + 1 < len(heard):
            both = read[number + 1][said[place]] * read[number][said[place + 1]]
            both *= swapped * (1 - deletion) ** 2
            found += both * rest(place + 2, number + 2, now_bad)
        return found

    return (1 - bad) * rest(0, 0, False) + bad * rest(0, 0, True)


def _read(word: Word, misread: float) -> Word:
    """Return how a word may be heard for a symbol shown, which the driver may read as another."""
    symbols = [symbol for symbol in word if symbol]
    others = {s: math.fsum(word[o] for o in symbols if o != s) for s in symbols}
    return {s: (1 - misread) * word[s] + misread / (len(symbols) - 1) * others[s] for s in symbols}


def part(string: str, after: str, before: str) -> str:
    """Return what is said in answer to a question: all of it where the border is not in the
    string.
    """
    if after and after not in string:
        return string
    rest = string[string.index(after) + 1 :] if after else string
    return rest[: rest.index(before)] if before and before in rest else rest


def _heard(
    string: str, hearings: Sequence[Hearing], bad: float, run: float, times: float
) -> Iterator[float]:
    """Yield how likely each hearing of a string is in one condition: symbols are swapped only when
    the report is read first.
    """
    for number, (cuts, after, before) in enumerate(hearings):
        said = part(string, after, before)
        swapped = SWAPPED if number == 0 else 0.0
        yield math.fsum(alignments(said, words, bad, run, times, swapped) for words in cuts) / len(
            cuts
        )


class Posterior(NamedTuple):
    readings: dict[tuple[str, Levels], float]
    nothing: float
    levels: dict[str, dict[int, float]]


def posterior(
    reference: Reference,
    names: Sequence[str],
    shares: Mapping[str, Any],
    hearings: Sequence[Hearing],
) -> Posterior:
    """Return the probability of every reading of the messages ``names``."""
    found = {name: list(ways(reference, name, shares)) for name in names}
    longest = max(len(way.string) for every in found.values() for way in every)
    masses: dict[tuple[str, Levels], float] = defaultdict(float)
    for name, every in found.items():
        whole = math.fsum(way.weight for way in every)
        for way in every:
            weight = (1 - STRAY) / len(found) * way.weight / whole
            weight *= math.fsum(
                share * math.prod(_heard(way.string, hearings, bad, run, times))
                for share, bad, run, times in CONDITIONS
            )
            masses[name, way.levels] += weight
    stray = STRAY
    for cuts, _, _ in hearings:
        stray *= math.fsum(math.prod(w[""] for w in words) / (2 * longest) for words in cuts) / len(
            cuts
        )
    total = math.fsum([*masses.values(), stray])
    levels: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for (_, reading), mass in masses.items():
        for name, level in reading:
            levels[name][level] += mass / total
    return Posterior({key: mass / total for key, mass in masses.items()}, stray / total, levels)
