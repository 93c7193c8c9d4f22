"""What is heard when a symbol is said: one table P(heard | said), how often words are added or
lost, how bad the radio may be, and what the driver may read wrongly.

Nobody knows how bad the radio is just now. A report is said in one of a few conditions; in each,
good and bad moments alternate from word to word (E. N. Gilbert, "Capacity of a burst-noise
channel", 1960; E. O. Elliott 1963). In a bad moment a word says nothing of what was said. So one
word that fits nothing makes its neighbours, and the rest of the report, less sure. How many reports
are said in each condition is not known either: the radio goes through regimes, of more spoilt
reports or of fewer, and the reports tell which it is (a mixture, weighed as reports come).

The table comes from the sounds of the book's words in a grade of noise, then what the team states,
then its counts (smoothed). A word outside the vocabulary is placed by its sound: it is heard as the
default model hears any word that sounds so.
"""

from __future__ import annotations

import dataclasses
import functools
import itertools
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from grammar import kept, sound
from grammar.data import table
from grammar.errors import CodeError
from grammar.sound import Phones
from grammar.symbols import Alphabet, OwnWord, normal

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book
    from grammar.hearing import HearingSpec, RadioCondition

Noise = str | float

# How likely it is beforehand that the odds of a spoilt report are so many times what they are as a
# rule: the share of spoilt reports is most often far less, now and then far more (near quantiles of
# a beta distribution of weight 1/2, as H. Jeffreys took for a share of which nothing is known,
# 1946), and once in fifty times nearly all reports are. Ours, no source.
_SPELLS = ((0.45, 1 / 20), (0.2, 1 / 3), (0.14, 1.0), (0.12, 2.5), (0.07, 8.0), (0.02, 300.0))
# The same of the odds that a report that is not spoilt is said in a quiet condition.
_QUIET = ((0.3, 1 / 20), (0.4, 1.0), (0.3, 20.0))


def phones_of(alphabet: Alphabet, symbol: str) -> Phones:
    """Return the phones of a symbol's word, by the team's respelling where it gives one."""
    word = normal(alphabet.words[symbol].word)
    return sound.phones(word, respelling=_respelling(alphabet, symbol))


def _respelling(alphabet: Alphabet, symbol: str) -> str | None:
    own = alphabet.spec.words.get(symbol)
    return own.sound if isinstance(own, OwnWord) and own.sound else None


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition of the radio: the ``share`` of reports said in it, P(a bad moment begins before
    a word), and P(it has ended by the next word). ``begins`` 0: there is no bad moment. ``times``
    is what the channel's rates are taken times outside of them (see ``Slips``).
    """

    share: float
    begins: float = 0.0
    ends: float = 1.0
    times: float = 1.0

    @classmethod
    def of(cls, spec: RadioCondition) -> Condition:
        """Return the condition with this share of bad words, in moments of this mean length."""
        ends = 1 / spec.words
        return cls(spec.share, ends * spec.bad / (1 - spec.bad), ends, spec.times)

    @property
    def bad(self) -> float:
        """The share of words in bad moments."""
        return self.begins / (self.begins + self.ends)

    @property
    def quiet(self) -> bool:
        """Whether hardly anything goes wrong in it."""
        return not self.begins and self.times < 1


def _regimes(
    share: float, spells: Sequence[tuple[float, float]]
) -> list[tuple[float, float, float]]:
    """Return of each regime how likely it is beforehand, and how many times their mean a share,
    which has this mean, and the rest are in it: its odds are so many times a number.
    """
    if not 0 < share < 1:
        return [(1.0, 1.0, 1.0)]
    low, high = 0.0, share / (1 - share) / min(times for _, times in spells)
    for _ in range(60):
        odds = (low + high) / 2
        mean = sum(likely * odds * times / (1 + odds * times) for likely, times in spells)
        low, high = (odds, high) if mean < share else (low, odds)
    return [
        (likely, part / share, (1 - part) / (1 - share))
        for likely, times in spells
        for part in [odds * times / (1 + odds * times)]
    ]


class Slips(NamedTuple):
    """How often, outside of bad moments, a word is added in a gap, a word said is not heard, the
    driver says another symbol than is shown, and says one after the next.
    """

    insertion: float
    deletion: float
    misread: float
    swapped: float


class Regime(NamedTuple):
    """A time in which each report is said in each condition of the radio so often (``shares``), and
    how likely it is that it is now.
    """

    likely: float
    shares: tuple[float, ...]


@dataclass(eq=False)
class Channel:
    """How words are heard: ``table[said, heard]`` over the alphabet's symbols, and the rates of
    added, lost and stray words.

    ``insertion`` is the share of gaps between words with one more word in them, ``deletion`` the
    share of words said that are not heard; ``bad_insertion`` and ``bad_deletion`` are those in bad
    moments. ``misread`` is P(the driver says another symbol than is shown), ``swapped`` P(he says
    it after the next one), ``forgotten`` how much of what is known of the radio is lost from one
    report to the next.
    """

    alphabet: Alphabet
    noise: Noise
    table: np.ndarray
    insertion: float
    deletion: float
    conditions: tuple[Condition, ...] = (Condition(1.0),)
    bad_insertion: float = 0.1
    bad_deletion: float = 0.1
    misread: float = 0.0
    swapped: float = 0.0
    forgotten: float = 0.02

    @property
    def vocabulary(self) -> int:
        """How many words there are to be heard."""
        return len(self.alphabet.symbols)

    @functools.cached_property
    def words(self) -> list[str]:
        """The words there are to be heard, as they are written."""
        return [self.alphabet.words[symbol].word for symbol in self.alphabet.symbols]

    @functools.cached_property
    def summed(self) -> list[list[float]]:
        """The rows of the table, each summed up from its beginning, to draw from."""
        return [list(itertools.accumulate(row)) for row in self.table.tolist()]

    def slips(self, condition: Condition) -> Slips:
        """Return the rates of a condition. Swaps are thought of where words are lost as often as
        stated, and no moment is bad.
        """
        return Slips(
            condition.times * self.insertion,
            condition.times * self.deletion,
            condition.times * self.misread,
            0.0 if condition.begins or condition.quiet else self.swapped,
        )

    def heard(self, symbol: str) -> np.ndarray:
        """Return P(this symbol's word is heard | each symbol said)."""
        column: np.ndarray = self.table[:, self.alphabet.index[symbol]]
        return column

    @functools.cached_property
    def regimes(self) -> tuple[Regime, ...]:
        """The times the radio may go through: how often a report is spoilt, said in a condition
        with bad moments, and how often one of the others is said in a quiet condition, is not known
        but learnt as reports come. In the mean over all regimes it is as the conditions say.
        """
        spoilt = math.fsum(one.share for one in self.conditions if one.begins)
        quiet = math.fsum(one.share for one in self.conditions if one.quiet)
        return tuple(
            Regime(
                likely * so_likely,
                tuple(
                    one.share
                    * (spoils if one.begins else whole * (quiets if one.quiet else others))
                    for one in self.conditions
                ),
            )
            for likely, spoils, whole in _regimes(spoilt, _SPELLS)
            for so_likely, quiets, others in _regimes(quiet / (1 - spoilt or 1), _QUIET)
        )

    def expected(self, radio: Sequence[float] = ()) -> tuple[float, ...]:
        """Return how likely each condition is for a report, given how likely each regime is; () for
        what is known beforehand.
        """
        likely = radio or [regime.likely for regime in self.regimes]
        rows = zip(*(regime.shares for regime in self.regimes), strict=True)
        return tuple(_dot(likely, row) for row in rows)

    def after(self, radio: Sequence[float], told: Sequence[float] = ()) -> tuple[float, ...]:
        """Return how likely each regime is for the next report, from how likely it was for this
        one, and how likely what was heard is in each condition (``told``, up to a factor; () for
        nothing heard): a part of it is forgotten.
        """
        before = radio or [regime.likely for regime in self.regimes]
        weights = [
            likely * (_dot(regime.shares, told) if told else 1.0)
            for likely, regime in zip(before, self.regimes, strict=True)
        ]
        whole = math.fsum(weights)
        return tuple(
            (1 - self.forgotten) * weight / whole + self.forgotten * regime.likely
            for weight, regime in zip(weights, self.regimes, strict=True)
        )

    def learnt(self, radio: Sequence[float], words: int, *, clean: bool) -> tuple[float, ...]:
        """Return how likely each regime is for the next report, after one of so many words was
        heard as it was said (``clean``: its words were a report) or was not.
        """
        return self.after(radio, self._told(words, clean))

    @functools.lru_cache(maxsize=512)  # noqa: B019 - channels are few and kept as long as their book
    def _told(self, words: int, clean: bool) -> Sequence[float]:
        heard = float(self.table.diagonal().mean())
        told = []
        for one in self.conditions:
            slips = self.slips(one)
            right = heard * (1 - slips.deletion) * (1 - slips.insertion)
            good = (1 - one.bad) * (1 - one.begins) ** words * right**words
            told.append(good if clean else 1 - good)
        return told

    @functools.lru_cache(maxsize=512)  # noqa: B019 - channels are few and kept as long as their book
    def foreign(self, word: str) -> np.ndarray:
        """Return P(a word of no table is heard | each symbol said), the word being one more of the
        vocabulary.

        Its sound is a guess from letters, or a dictionary's, where the table's words are said the
        radio way: so both are compared as they sound and as their letters alone would make them
        sound, and the mean counts. Raises CodeError for what has no sound.
        """
        import numpy as np

        heat, lapse = sound.temperature(self.noise), float(table("articulation")["lapse"]["share"])
        whole = (1 - lapse) / (
            self._right - lapse / self.vocabulary
        )  # what the weights exp(-distance / heat) of a row sum to
        apart = np.array([self._apart(word, symbol) for symbol in self.alphabet.symbols])
        weight = np.exp(-apart / heat)
        return np.asarray((1 - lapse) * weight / (whole + weight) + lapse / (self.vocabulary + 1))

    @functools.cached_property
    def _right(self) -> np.ndarray:
        """P(heard right) of each symbol by its sound alone."""
        import numpy as np

        rows = _by_sound(self.alphabet, self.noise)
        return np.array([rows[symbol][symbol] for symbol in self.alphabet.symbols])

    def _apart(self, word: str, symbol: str) -> float:
        said = normal(self.alphabet.words[symbol].word)
        radio = sound.distance(sound.phones(word), phones_of(self.alphabet, symbol))
        return (
            (radio + sound.distance(sound.estimate(word), sound.estimate(said))) / 2
            if said.replace(" ", "").isalpha()
            else radio
        )


def _dot(one: Sequence[float], other: Sequence[float]) -> float:
    return math.fsum(a * b for a, b in zip(one, other, strict=True))


def channel(book: Book, noise: Noise | Channel | None = None) -> Channel:
    """Return the channel of a book in a grade of noise, by default the book's; raises CodeError for
    an unknown grade.
    """
    if isinstance(noise, Channel):
        return noise
    kept: dict[Noise, Channel] = book.__dict__.setdefault("_channels", {})
    grade = book.hearing.noise if noise is None else noise
    if grade not in kept:
        kept[grade] = _made(book.alphabet, book.hearing, grade)
    return kept[grade]


def _by_sound(alphabet: Alphabet, grade: Noise) -> dict[str, dict[str, float]]:
    """Return P(heard | said) by the sounds of the words alone."""

    def made() -> str:
        words = [(symbol, phones_of(alphabet, symbol)) for symbol in alphabet.symbols]
        return json.dumps(sound.confusion(words, grade))

    words = [
        (one, alphabet.words[one].word, _respelling(alphabet, one)) for one in alphabet.symbols
    ]
    found: dict[str, dict[str, float]] = json.loads(
        kept.kept_or_made(json.dumps(["confusion", grade, words]), made)
    )
    return found


def _made(alphabet: Alphabet, spec: HearingSpec, grade: Noise) -> Channel:
    rows = _by_sound(alphabet, grade)
    rows = sound.with_table(rows, spec.confusions)
    if spec.counts:
        rows = sound.with_counts(rows, spec.counts, spec.strength)
    whole = sum(one.share for one in spec.conditions)
    conditions = [Condition.of(one) for one in spec.conditions]
    return dataclasses.replace(
        from_rows(alphabet, rows, spec.insertion, spec.deletion, grade),
        conditions=tuple(dataclasses.replace(one, share=one.share / whole) for one in conditions),
        bad_insertion=spec.bad_insertion,
        bad_deletion=spec.bad_deletion,
        misread=spec.misread,
        swapped=spec.swapped,
        forgotten=spec.forgotten,
    )


def from_rows(
    alphabet: Alphabet,
    rows: Mapping[str, Mapping[str, float]],
    insertion: float,
    deletion: float,
    noise: Noise = "noisy",
) -> Channel:
    """Return a channel with a given table P(heard | said); raises CodeError where a row is missing
    or does not sum to 1.
    """
    import numpy as np

    symbols = alphabet.symbols
    table = np.array(
        [[rows.get(said, {}).get(heard, 0.0) for heard in symbols] for said in symbols]
    )
    if not np.allclose(table.sum(axis=1), 1, atol=1e-6):
        raise CodeError(
            "a row of the confusions does not sum to 1",
            kind="confusions",
            expected=["P(heard | said) for every symbol in use"],
        )
    return Channel(alphabet, noise, table / table.sum(axis=1, keepdims=True), insertion, deletion)
