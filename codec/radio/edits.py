"""How far words are from a report: how many of them are misheard, missing, or one too many."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from grammar.automaton import build
from grammar.book import Book
from grammar.message import Direction
from grammar.speech.kinds import SPOKEN, WordKind
from grammar.speech.words import Word

Options = tuple[str, ...]
MOST = 4  # edits: what is as far from a report is none


class Edits:
    """The strings of a book's messages of one direction, and how many words others are from them.

    Check symbols count as free: a report with a wrong one has a symbol misheard.
    """

    def __init__(self, book: Book, direction: Direction) -> None:
        """Gather the messages."""
        messages = book.sent_by(direction)
        self._alphabet = book.alphabet
        self._automaton = build(messages)

    def least(self, words: Iterable[Word]) -> int:
        """Return the least number of words that must be another, one more or one less to make words
        a report, ``MOST`` where it is that or more; a word that is none of the code is one of them.
        """
        options = _options(words)
        if options is None:
            return MOST
        reached = self._with_lost(
            [set(self._automaton.starts), *(set[int]() for _ in range(1, MOST))]
        )
        for choices in options:
            following: list[set[int]] = []
            for edits, states in enumerate(reached):
                right = self._read(states, choices) if choices is not None else set[int]()
                before = reached[edits - 1] if edits else set[int]()
                following.append(right | before | self._any(before))
            reached = self._with_lost(following)
        accepting = self._automaton.accepting
        return next(
            (n for n, states in enumerate(reached) if any(accepting[one] for one in states)), MOST
        )

    def longer(self, words: Iterable[Word], *, before: bool) -> bool:
        """Tell whether words would be a report, too, with one more symbol behind or before them."""
        options = _options(words)
        if options is None or None in options:
            return False
        states = set(self._automaton.starts)
        states = self._any(states) if before else states
        for choices in options:
            states = self._read(states, choices or ())
        states = states if before else self._any(states)
        return any(self._automaton.accepting[state] for state in states)

    def _with_lost(self, reached: list[set[int]]) -> list[set[int]]:
        """Add the states reached where words are missing."""
        for edits in range(1, len(reached)):
            reached[edits] |= self._any(reached[edits - 1])
        return reached

    def _any(self, states: Iterable[int]) -> set[int]:
        return {step.target for state in states for step in self._automaton.steps[state]}

    def _read(self, states: Iterable[int], choices: Options) -> set[int]:
        """Return the states behind any of the strings that a word may stand for."""
        found: set[int] = set()
        for string in choices:
            reached = set(states)
            for symbol in string:
                mask = self._alphabet.mask(symbol)
                reached = {
                    step.target
                    for state in reached
                    for step in self._automaton.steps[state]
                    if step.mask & mask
                }
            found |= reached
        return found


def _options(words: Iterable[Word]) -> list[Options | None] | None:
    """Return what each word may stand for, None for one of no code; None for all where another kind
    of word is among them.
    """
    found: list[Options | None] = []
    times = 1
    for word in words:
        meaning = word.meaning
        if meaning.kind is WordKind.UNKNOWN:
            found.append(None)
        elif meaning.kind is WordKind.MULTIPLE:
            times = int(meaning.value)
        elif meaning.kind in SPOKEN and meaning.kind is not WordKind.AND:
            found.append(
                tuple(
                    option * times
                    for option in meaning.options or _figures(meaning.kind, meaning.value)
                )
            )
            times = 1
        elif meaning.kind not in (WordKind.FILLER, WordKind.AND):
            return None
    return found


def _figures(kind: str, value: str) -> Sequence[str]:
    """Return the figures of a number word: forty is 40, or the 4 of forty seven; hundred may add
    its noughts or none.
    """
    if kind is WordKind.TENS:
        return value, value[0]
    return (value,) if kind is WordKind.TEEN else ("", value[1:])
