"""Whether words are a report but for one of them: misheard, missing, or said in place of
another.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from grammar.automaton import build
from grammar.book import Book
from grammar.message import Direction
from grammar.speech.kinds import SPOKEN, WordKind
from grammar.speech.words import Word

Options = tuple[str, ...]


class Nearly:
    """The strings of a book's messages of one direction, and those that lack one symbol or have
    another in its place.

    Check symbols count as free: a report with a wrong one has a symbol misheard.
    """

    def __init__(self, book: Book, direction: Direction) -> None:
        """Gather the messages."""
        messages = book.sent_by(direction)
        self._alphabet = book.alphabet
        self._automaton = build(messages)

    def nearly(self, words: Iterable[Word]) -> bool:
        """Tell whether words are at most one word from a report; a word that is none of the code
        must be the one misheard.
        """
        options = _options(words)
        if options is None:
            return False
        right, once = (
            set(self._automaton.starts),
            set[int](),
        )  # the states reached with every word as it is, and with one that is not
        for choices in options:
            other = self._any(
                right
            )  # whatever was said in place of this word, or is missing before it
            once = self._read(once | other, choices) | other if choices is not None else other
            right = self._read(right, choices) if choices is not None else set()
        return any(self._automaton.accepting[state] for state in right | once | self._any(right))

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
