"""How far words are from a report: how many of them are misheard, missing, or one too many."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from grammar.automaton import Automaton, bits, build
from grammar.book import Book
from grammar.message import Direction
from grammar.speech import Stretch
from grammar.speech.kinds import ONE_SYMBOL, SPOKEN, WordKind
from grammar.speech.words import Word
from grammar.symbols import Alphabet

Options = tuple[str, ...]
MOST = 4  # edits: what is as far from a report is none
_MOST_KEPT = 100_000  # steps


class _Steps:
    """The steps of an automaton, for many of its states at once: a set of states is a number with
    their bits set.

    Check symbols count as free: what ends in an accepting state may still be no report.
    """

    def __init__(self, automaton: Automaton, alphabet: Alphabet) -> None:
        """Begin with no step known."""
        self._steps, self._index = automaton.steps, alphabet.index
        self.starts = sum(1 << state for state in set(automaton.starts))
        self.accepting = sum(1 << n for n, accepts in enumerate(automaton.accepting) if accepts)
        self._known: dict[tuple[int, str], int] = {}

    def after(self, states: int, symbol: str) -> int:
        """Return the states one symbol further, "" for any symbol."""
        found = self._known.get((states, symbol))
        if found is None:
            place = self._index.get(symbol) if symbol else None
            mask = 0 if place is None else 1 << place
            found = 0
            for state in bits(states):
                for step in self._steps[state]:
                    if step.mask & mask or not symbol:
                        found |= 1 << step.target
            if len(self._known) > _MOST_KEPT:
                self._known.clear()
            self._known[states, symbol] = found
        return found

    def through(self, states: int, string: str) -> int:
        """Return the states behind a string."""
        for symbol in string:
            states = self.after(states, symbol)
        return states


class Edits:
    """The strings of a book's messages of one direction, and how many words others are from them.

    Check symbols count as free: a report with a wrong one has a symbol misheard.
    """

    def __init__(self, book: Book, direction: Direction) -> None:
        """Gather the messages."""
        self._steps = _Steps(build(book.sent_by(direction)), book.alphabet)

    def least(self, words: Iterable[Word]) -> int:
        """Return the least number of words that must be another, one more or one less to make words
        a report, ``MOST`` where it is that or more; a word that is none of the code is one of them.
        """
        options = _options(words)
        if options is None:
            return MOST
        reached = self._with_lost([self._steps.starts, *[0] * (MOST - 1)])
        for choices in options:
            following: list[int] = []
            for edits, states in enumerate(reached):
                right = self._read(states, choices or ())
                before = reached[edits - 1] if edits else 0
                following.append(right | before | self._steps.after(before, ""))
            reached = self._with_lost(following)
        return next((n for n, states in enumerate(reached) if states & self._steps.accepting), MOST)

    def longer(self, words: Iterable[Word], *, before: bool) -> bool:
        """Tell whether words would be a report, too, with one more symbol behind or before them."""
        options = _options(words)
        if options is None or None in options:
            return False
        states = self._steps.starts
        states = self._steps.after(states, "") if before else states
        for choices in options:
            states = self._read(states, choices or ())
        states = states if before else self._steps.after(states, "")
        return bool(states & self._steps.accepting)

    def goes_on(self, string: str, words: Iterable[Word], most: int) -> bool:
        """Tell whether a report may go on behind a string with words, of which one that is none of
        the code may be any symbol, and then with at most so many symbols.
        """
        options = _options(words)
        states = self._steps.through(self._steps.starts, string)
        for choices in options or ():
            states = (
                self._steps.after(states, "") if choices is None else self._read(states, choices)
            )
        for _ in range(most):
            if states & self._steps.accepting:
                return bool(options)
            states = self._steps.after(states, "")
        return bool(options) and bool(states & self._steps.accepting)

    def _with_lost(self, reached: list[int]) -> list[int]:
        """Add the states reached where words are missing."""
        for edits in range(1, len(reached)):
            reached[edits] |= self._steps.after(reached[edits - 1], "")
        return reached

    def _read(self, states: int, choices: Options) -> int:
        """Return the states behind any of the strings that a word may stand for."""
        found = 0
        for string in choices:
            found |= self._steps.through(states, string)
        return found


class ReportBound:
    """Tells quickly of most words that are no report, so that they are not read to find out."""

    def __init__(self, book: Book) -> None:
        """Begin with nothing known of a book."""
        self._book, self._steps = book, dict[Direction | None, _Steps]()

    def may_be(self, words: Sequence[Word], direction: Direction | None) -> bool:
        """Tell whether words may be a report or call; only where they may not is that sure."""
        if direction not in self._steps:
            self._steps[direction] = _Steps(self._book.automaton(direction), self._book.alphabet)
        steps, kinds = self._steps[direction], {word.kind for word in words}
        if not kinds <= _SAID:
            return True
        spoken = [word for word in words if word.kind is not WordKind.FILLER]
        if kinds <= _ONE_BY_ONE:
            states = steps.starts
            for word in spoken:
                options = word.meaning.options
                after = 0
                for symbols in options:
                    after |= steps.through(states, symbols)
                states = after
            return bool(states & steps.accepting)
        lattice = Stretch(spoken).lattice()
        reached = [steps.starts, *[0] * len(lattice)]
        for place, choices in enumerate(lattice):
            for symbols, target in choices if reached[place] else ():
                reached[target] |= steps.through(reached[place], symbols)
        return bool(reached[-1] & steps.accepting)


_ONE_BY_ONE = ONE_SYMBOL | {WordKind.TYPED, WordKind.FILLER}
_SAID = SPOKEN | {WordKind.FILLER}


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
