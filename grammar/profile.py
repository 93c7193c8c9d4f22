"""A person's profile: how long each word takes them, and what they take each word for.

Words are keys in their compared form ("alfa", "niner"), so that a profile outlives a book;
functions that take an alphabet turn them into its symbols and leave out words the alphabet does not
have. Two tables of counts are kept apart: ``read`` (symbol on the dash → word said) and ``heard``
(word said → word understood). What a channel needs, dash → understood, is the one after the other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, Field

from grammar.errors import Problem
from grammar.inspection import Strict
from grammar.symbols import Alphabet, normal


def _word(text: str) -> str:
    word = normal(text)
    if not word or len(word) > 60 or not word.isprintable():
        raise Problem((), f"{text[:40]!r} is no word", "words are those of a spelling alphabet")
    return word


Word = Annotated[str, AfterValidator(_word)]  # in compared form
Count = Annotated[float, Field(ge=0, le=1e9)]
Counts = dict[Word, dict[Word, Count]]
Course = Literal["kept", "half", "ignored"]  # what became of a target that was called
Marks = Annotated[str, Field(pattern=r"^[=x-]{1,90}$")]
Rows = dict[str, dict[str, float]]
# of readings off the dash, before any was counted: as the lapses of hearing, ours, no source
_SLIP = 0.001


class MeasuredTime(Strict):
    """A time in seconds with its standard error, from ``count`` measurements."""

    seconds: float = Field(gt=0, le=3600, description="The mean.")
    error: float = Field(0, ge=0, le=3600, description="Its standard error, in seconds.")
    count: Count = Field(1, description="How many measurements it is the mean of.")

    def merged(self, other: MeasuredTime) -> MeasuredTime:
        """Return the mean of both, each with the weight of its count."""
        total = self.count + other.count
        if not total:
            return self
        mean = (self.count * self.seconds + other.count * other.seconds) / total
        return MeasuredTime(
            seconds=mean,
            error=math.hypot(self.count * self.error, other.count * other.error) / total,
            count=total,
        )


class Scatter(Strict):
    """How much a driver's laps scatter about their habit, of ``count`` races: the standard
    deviation of the energy of a lap as a share of what a lap is planned to take.
    """

    share: float = Field(gt=0, le=10, description="The standard deviation, as a share of a lap.")
    error: float = Field(
        gt=0, le=10, description="The standard error of the natural logarithm of the share."
    )
    count: Count = Field(1, description="How many races it is from.")

    def merged(self, other: Scatter) -> Scatter:
        """Return the geometric mean of both, each with the weight of what it is sure of."""
        mine, others = self.error**-2, other.error**-2
        total = mine + others
        log = (mine * math.log(self.share) + others * math.log(other.share)) / total
        return Scatter(share=math.exp(log), error=total**-0.5, count=self.count + other.count)


Known = TypeVar("Known", MeasuredTime, Scatter)
Key = TypeVar("Key", bound=str)


class Profile(Strict):
    """What is known of how one or several people read, say and hear a code's words, and drive."""

    format: Literal["niner profile 1"] = Field(
        "niner profile 1", description="What the file is, and the version of its form."
    )
    people: tuple[str, ...] = Field((), max_length=1000, description="Whose it is.")
    startup: MeasuredTime | None = Field(
        None, description="The time from seeing a string to the first word."
    )
    seconds: dict[Word, MeasuredTime] = Field(
        default_factory=dict, description="The time each word takes to say."
    )
    read: Counts = Field(
        default_factory=dict,
        description="How often each word was said for each one on the dash: shown, then said.",
    )
    heard: Counts = Field(
        default_factory=dict,
        description="How often each word was understood for each one said: said, then heard.",
    )
    lost: dict[Word, Count] = Field(
        default_factory=dict, description="How often nothing was heard of a word that was said."
    )
    added: dict[Word, Count] = Field(
        default_factory=dict, description="How often a word was heard that nobody said."
    )
    swapped: Count = Field(0, description="How often two neighbours were read the wrong way round.")
    reports: dict[Marks, Count] = Field(
        default_factory=dict,
        description=(
            "How reports were heard, word by word: = as said, x as another word, - not at all; each"
            " row of marks with how many reports had it."
        ),
    )
    targets: dict[Course, Count] = Field(
        default_factory=dict,
        description="How many targets called were `kept`, `half` kept and `ignored`, as told.",
    )
    scatter: Scatter | None = Field(
        None, description="How much the energy of a lap scatters about the driver's habit."
    )

    def merged(self, other: Profile) -> Profile:
        """Return both together: counts add, times are averaged by their counts, people are named
        once.
        """
        return Profile(
            people=tuple(dict.fromkeys((*self.people, *other.people))),
            startup=_either(self.startup, other.startup),
            seconds={
                word: (
                    self.seconds[word].merged(other.seconds[word])
                    if word in self.seconds and word in other.seconds
                    else one
                )
                for word, one in {**self.seconds, **other.seconds}.items()
            },
            read=_added(self.read, other.read),
            heard=_added(self.heard, other.heard),
            lost=_summed(self.lost, other.lost),
            added=_summed(self.added, other.added),
            swapped=self.swapped + other.swapped,
            reports=_summed(self.reports, other.reports),
            targets=_summed(self.targets, other.targets),
            scatter=_either(self.scatter, other.scatter),
        )

    @property
    def words(self) -> set[str]:
        """All words that it knows something of."""
        return {*self.seconds, *self.read, *self.heard, *self.lost}

    def with_heard(self, alphabet: Alphabet, pairs: Iterable[tuple[str, str]]) -> Profile:
        """Return the profile with (symbol said, symbol heard) pairs counted; "" stands for nothing
        said, or nothing heard.
        """
        heard: Counts = {}
        lost: dict[str, float] = {}
        added: dict[str, float] = {}
        for said, understood in pairs:
            if said and understood:
                _count(heard.setdefault(word_of(alphabet, said), {}), word_of(alphabet, understood))
            elif said:
                _count(lost, word_of(alphabet, said))
            elif understood:
                _count(added, word_of(alphabet, understood))
        return self.merged(Profile(heard=heard, lost=lost, added=added))

    def with_read(self, alphabet: Alphabet, pairs: Iterable[tuple[str, str]]) -> Profile:
        """Return the profile with (symbol shown, symbol said) pairs counted; symbols left out or
        added have no place here.
        """
        read: Counts = {}
        for shown, said in pairs:
            if shown and said:
                _count(read.setdefault(word_of(alphabet, shown), {}), word_of(alphabet, said))
        return self.merged(Profile(read=read))


def word_of(alphabet: Alphabet, symbol: str) -> str:
    """Return the compared form of a symbol's spelling word; raises KeyError for a symbol not in
    use.
    """
    return normal(alphabet.words[symbol].word)


def word_seconds(profile: Profile, alphabet: Alphabet) -> dict[str, float]:
    """Return symbol → seconds: as measured, and for words never measured the alphabet's time at the
    person's own rate.
    """
    known, rate = measured_times(profile, alphabet), own_rate(profile, alphabet)
    return {
        symbol: known[symbol].seconds if symbol in known else alphabet.words[symbol].seconds * rate
        for symbol in alphabet.symbols
    }


def measured_times(profile: Profile, alphabet: Alphabet) -> dict[str, MeasuredTime]:
    """Return symbol → time, of those whose word was measured."""
    words = {symbol: word_of(alphabet, symbol) for symbol in alphabet.symbols}
    return {
        symbol: profile.seconds[word] for symbol, word in words.items() if word in profile.seconds
    }


def own_rate(profile: Profile, alphabet: Alphabet) -> float:
    """Return the time that a person's measured words take to the time that the alphabet gives the
    same words; 1 where none was measured.
    """
    known = measured_times(profile, alphabet)
    given = math.fsum(alphabet.words[symbol].seconds * one.count for symbol, one in known.items())
    return math.fsum(one.seconds * one.count for one in known.values()) / given if given else 1.0


def symbol_counts(rows: Counts, alphabet: Alphabet) -> Counts:
    """Return word counts as symbol counts; words the alphabet does not have, or has as variants of
    none, are left out.
    """
    symbols = alphabet.spoken
    found: Counts = {}
    for said, row in rows.items():
        for heard, count in row.items():
            if said in symbols and heard in symbols:
                into = found.setdefault(symbols[said], {})
                into[symbols[heard]] = into.get(symbols[heard], 0) + count
    return found


def heard_rows(
    profile: Profile,
    alphabet: Alphabet,
    default: Rows,
    strength: float,
    misread: Rows | None = None,
) -> Rows:
    """Return P(understood | on the dash): ``default`` corrected by the counts of hearing, after the
    counts of reading.

    ``default`` maps each symbol to the shares of what is heard for it; a row of it is worth
    ``strength`` counts, and so is what a symbol is read as before any was counted: ``misread``, or
    as it stands. Raises CodeError as ``grammar.sound.with_counts``.
    """
    from grammar import sound

    heard = sound.with_counts(default, symbol_counts(profile.heard, alphabet), strength)
    if not profile.read and misread is None:
        return heard
    symbols, slip = alphabet.symbols, _SLIP / len(alphabet.symbols)
    faithful = misread or {
        shown: {said: 1 - _SLIP + slip if said == shown else slip for said in symbols}
        for shown in symbols
    }
    read = sound.with_counts(faithful, symbol_counts(profile.read, alphabet), strength)
    return {
        shown: {
            word: math.fsum(share * heard[said][word] for said, share in row.items())
            for word in symbols
        }
        for shown, row in read.items()
    }


def needs_of_profile(
    profile: Profile, alphabet: Alphabet, default: Rows, strength: float
) -> dict[str, dict[str, Any]]:
    """Return ``[times]`` (milliseconds as measured) and ``[hearing.confusions]``
    of a needs file for the designer.

    Only words that were measured have a time, and only words that were heard or misread have a row;
    errors as ``heard_rows``.
    """
    times = {symbol: one.seconds for symbol, one in measured_times(profile, alphabet).items()}
    rows = heard_rows(profile, alphabet, default, strength)
    counted = (
        symbol_counts(profile.heard, alphabet).keys() | symbol_counts(profile.read, alphabet).keys()
    )
    return {
        "times": {symbol: round(1000 * seconds) for symbol, seconds in times.items()},
        "confusions": {
            said: {heard: math.floor(share * 1e9) / 1e9 for heard, share in rows[said].items()}
            for said in alphabet.symbols
            if said in counted
        },
    }


def rate(events: Mapping[str, float], chances: Counts, default: float, strength: float) -> float:
    """Return how often words are lost (or added): ``events`` among the words counted, smoothed by a
    default worth ``strength`` words.
    """
    happened = math.fsum(events.values())
    counted = math.fsum(count for row in chances.values() for count in row.values())
    return min(0.5, (happened + strength * default) / (counted + happened + strength))


def _count(row: dict[str, float], word: str) -> None:
    row[word] = row.get(word, 0) + 1


def _either(one: Known | None, other: Known | None) -> Known | None:
    return other if one is None else one if other is None else one.merged(other)


def _summed(one: Mapping[Key, float], other: Mapping[Key, float]) -> dict[Key, float]:
    return {word: one.get(word, 0) + other.get(word, 0) for word in {**one, **other}}


def _added(one: Counts, other: Counts) -> Counts:
    return {said: _summed(one.get(said, {}), other.get(said, {})) for said in {**one, **other}}
