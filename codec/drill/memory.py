"""What a person's answers tell of each symbol and item: how well it is known now, and how fast.

Replayed from the journal, answer by answer. A report is evidence of each of its symbols; where it
went wrong, only the symbols in the wrong places are to blame. Old answers fade: what counts is what
a person can do now.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable
from dataclasses import dataclass, field

from codec.drill.answer import Answer, Drill
from codec.drill.cards import Cards, grade, moment
from codec.drill.knowledge import Knowledge
from codec.drill.marking import align
from codec.drill.pool import key_of
from grammar.profile import Profile, measured_times, own_rate, word_of
from grammar.symbols import Alphabet

_FADES = 0.95  # weight of an answer for each later one of the same symbol
_KNOWN = (1.0, 1.0)  # right and wrong answers that a symbol is given to begin with
_SLOW = 1.25  # times the usual seconds from which a symbol counts as slow
_MOST_KNOWN = 20.0  # answers that what is known of a symbol beforehand counts like, at most
_USUAL = 30  # answers about which the usual seconds are taken


@dataclass(slots=True)
class Record:
    """Right and wrong answers for one symbol or item, fading, and plain counts; ``pace`` is its
    time against the person's usual one.
    """

    right: float = 0.0
    wrong: float = 0.0
    pace: float = 1.0
    asked: int = 0
    missed: int = 0

    @property
    def accuracy(self) -> float:
        """The share of right answers, careful with few."""
        return (self.right + _KNOWN[0]) / (self.right + self.wrong + sum(_KNOWN))

    def note(self, *, right: bool, pace: float | None) -> None:
        """Count one answer."""
        self.right, self.wrong = _FADES * self.right + right, _FADES * self.wrong + (not right)
        self.asked, self.missed = self.asked + 1, self.missed + (not right)
        if pace is not None:
            self.pace += (min(pace, 3.0) - self.pace) / min(10, self.asked)


@dataclass(slots=True)
class Memory:
    """The state of one person in one drill."""

    cards: Cards = field(default_factory=Cards)
    knowledge: Knowledge = field(default_factory=Knowledge)
    symbols: dict[str, Record] = field(default_factory=dict)
    items: dict[str, Record] = field(default_factory=dict)
    answers: int = 0
    usual: dict[str, float] = field(
        default_factory=dict
    )  # seconds a symbol, by kind: one alone bears the whole start-up
    paces: dict[str, float] = field(default_factory=dict)  # where that of each symbol begins
    raced: dict[str, tuple[float, float]] = field(default_factory=dict)  # right and wrong in races

    @classmethod
    def of(
        cls,
        answers: Iterable[Answer],
        beforehand: Profile | None = None,
        alphabet: Alphabet | None = None,
        drill: Drill = "read",
    ) -> Memory:
        """Replay a person's answers in one drill, behind what a profile knows of them
        ``beforehand``: what they misread off the dash, or misheard, and which words they are slow
        at.
        """
        memory = cls()
        if beforehand is not None and alphabet is not None:
            memory._begin(beforehand, alphabet, drill)
        for answer in answers:
            memory.note(answer)
        return memory

    def _begin(self, profile: Profile, alphabet: Alphabet, drill: Drill) -> None:
        rows = profile.read if drill == "read" else profile.heard
        counts = dict[str, tuple[float, float]]()
        for symbol in alphabet.symbols:
            word = word_of(alphabet, symbol)
            row = rows.get(word, {})
            right = row.get(word, 0.0)
            lost = profile.lost.get(word, 0.0) if drill == "hear" else 0.0
            wrong = math.fsum(row.values()) - right + lost
            if right + wrong:
                self.raced[symbol] = right, wrong
                share = min(1.0, _MOST_KNOWN / (right + wrong))
                counts[symbol] = share * right, share * wrong
        if drill == "read":
            rate = own_rate(profile, alphabet)
            for symbol, time in measured_times(profile, alphabet).items():
                self.paces[symbol] = time.seconds / (rate * alphabet.words[symbol].seconds)
        if counts:
            self.knowledge.known(counts)

    def note(self, answer: Answer) -> None:
        """Take in one answer."""
        at, given = moment(answer.at), grade(answer, self.usual.get(answer.kind))
        pace = self._pace(answer)
        right = answer.right
        self.items.setdefault(key_of(answer.kind, answer.part_of, answer.shown), Record()).note(
            right=right, pace=pace
        )
        if answer.kind != "symbol":
            self.cards.review(key_of(answer.kind, answer.part_of, answer.shown), given, at)
        wrong = (
            {symbol for symbol, said in align(answer.shown, answer.said) if symbol != said}
            if not right
            else set()
        )
        if right or answer.said:  # else nobody knows which of its symbols went wrong
            self.knowledge.note(
                answer.shown,
                _wrong_places(answer),
                {symbol: self.recall(symbol, at) for symbol in answer.shown},
            )
        for symbol in dict.fromkeys(answer.shown):
            missed = not right and (symbol in wrong or not answer.said)
            begins = Record(pace=self.paces.get(symbol, 1.0))
            self.symbols.setdefault(symbol, begins).note(right=not missed, pace=pace)
            self.cards.review(
                key_of("symbol", "", symbol),
                "again" if missed else "good" if given == "again" else given,
                at,
            )
        self.answers += 1

    def _pace(self, answer: Answer) -> float | None:
        """Return the seconds a symbol against the usual ones, which are learned on the way; a
        coffee break changes little.
        """
        if answer.last is None or not answer.shown:
            return None
        seconds = answer.last / len(answer.shown)
        usual = self.usual.get(answer.kind, seconds)
        self.usual[answer.kind] = usual + (min(seconds, 3 * usual) - usual) / min(
            self.answers + 1, _USUAL
        )
        return seconds / usual if usual else None

    def recall(self, symbol: str, at: datetime.datetime) -> float:
        """Return how much of a symbol is left since it was last asked, 1 where it never was."""
        key = key_of("symbol", "", symbol)
        return self.cards.recall(key, at) if key in self.cards else 1.0

    def slowness(self, symbol: str) -> float:
        """Return how slow a symbol is against the person's others, 0 … 1."""
        record = self.symbols.get(symbol)
        pace = self.paces.get(symbol, 1.0) if record is None else record.pace
        return min(1.0, max(0.0, pace - _SLOW))


def _wrong_places(answer: Answer) -> list[int]:
    """Return the places of what was shown that went wrong."""
    if answer.right:
        return []
    shown = [pair for pair in align(answer.shown, answer.said) if pair[0]]
    return [place for place, (one, said) in enumerate(shown) if one != said]
