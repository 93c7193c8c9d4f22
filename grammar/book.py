"""A code book, loaded, checked and ready: alphabet, fields, tables, messages, phrases, and the
proof that it is unambiguous.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple
from typing import Literal as OneOf

from grammar.codes import CodeTable
from grammar.dash import DashSpec
from grammar.errors import CodeError
from grammar.fields import FieldBase
from grammar.hearing import HearingSpec
from grammar.message import Direction, Found, Message, Readers, Spelling
from grammar.speech import Lexicon
from grammar.speech.facts import TITLES
from grammar.symbols import Alphabet

if TYPE_CHECKING:
    from grammar.automaton import Automaton
    from grammar.models import BookSpec
    from grammar.proof import Ambiguity

COSTS = ("seconds", "symbols", "syllables")


class Rules(NamedTuple):
    """What a book says of itself as a whole: ``events`` are the titles of its phrases by name,
    ``meanings`` what each of them tells, a fact of ``grammar.speech.facts`` or else its own name.
    """

    title: str
    run_together: bool
    whole_numbers: OneOf["digits", "magnitudes"]
    events: Mapping[str, str]
    meanings: Mapping[str, str]

    def title_of(self, fact: str) -> str:
        """Return what people call what was told: as the book calls the phrase that means it, else
        as the trade does.
        """
        named = next((name for name, meant in self.meanings.items() if meant == fact), "")
        title = self.events.get(named, named)
        return TITLES.get(fact, fact) if title in ("", named) else title


class Parts(NamedTuple):
    """What a book is built of."""

    alphabet: Alphabet
    fields: dict[str, FieldBase]
    tables: dict[str, CodeTable]
    messages: dict[str, Message]
    lexicon: Lexicon


class Book:
    """A code book that compiles: no problem, and no string with two readings.

    Made by ``load_book`` of ``grammar.loading`` or ``parse_book`` of ``grammar.parsing``.
    ``fields``, ``tables`` and ``messages`` are by name, in file order. A family of fields is in
    ``fields`` as its members, a field of a part said again as one field for each time, which
    ``lists`` has by the field's own name; ``declared`` has them as they stand in the file.
    """

    def __init__(
        self,
        name: str,
        source: Callable[[], str],
        rules: Rules,
        parts: Parts,
        spec: Callable[[], BookSpec],
    ) -> None:
        """Take what was built and checked, what tells the text, and what makes its model."""
        self.name, self.rules = name, rules
        self.alphabet, self.declared, self.tables, self.messages, self.lexicon = parts
        self._source, self._spec = source, spec
        self._automata: dict[Direction | None, Automaton] = {}
        self._plain: dict[Direction | None, Callable[[str], Found | None]] = {}

    @functools.cached_property
    def lists(self) -> dict[str, list[str]]:
        """The fields of parts said again: by the field's own name its names at each time."""
        found: dict[str, list[str]] = {}
        for message in self.messages.values():
            for name, times in message.lists.items():
                found[name] = max(times, found.get(name, []), key=len)
        return found

    @functools.cached_property
    def fields(self) -> dict[str, FieldBase]:
        """All fields that reports have, and those that no message says."""
        said = {name for message in self.messages.values() for name in message.fields}
        found: dict[str, FieldBase] = {}
        for one in (one for field in self.declared.values() for one in field.family):
            times = len(self.lists.get(one.name, ()))
            if one.name in said or not times:
                found[one.name] = one
            found |= {
                one.repetitions[repetition].name: one.repetitions[repetition]
                for repetition in range(1, times + 1)
            }
        return found

    @functools.cached_property
    def source(self) -> str:
        """The text of its file."""
        return self._source()

    @functools.cached_property
    def spec(self) -> BookSpec:
        """The model of the file, for what is not needed to read and say reports."""
        return self._spec()

    @functools.cached_property
    def hearing(self) -> HearingSpec:
        """How its reports are heard."""
        return self.spec.hearing

    @functools.cached_property
    def dash(self) -> DashSpec:
        """What the driver reads its reports from."""
        return self.spec.dash

    @functools.cached_property
    def told(self) -> dict[str, Any]:
        """What the book says, by the keys of its file."""
        told: dict[str, Any] = self.spec.model_dump(mode="json", exclude_unset=True)
        return told

    @functools.cached_property
    def digest(self) -> str:
        """The digest of what the book says: its file's comments and spacing don't count."""
        text = json.dumps(self.told, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()

    @property
    def title(self) -> str:
        """The book's title, or its file's name."""
        return self.rules.title or self.name

    def sent_by(self, direction: Direction | None) -> list[Message]:
        """Return the messages of a direction; None: all of them."""
        return [
            message for message in self.messages.values() if direction in (None, message.direction)
        ]

    @functools.cached_property
    def directions(self) -> list[Direction]:
        """The directions in which the book has messages."""
        return list(dict.fromkeys(message.direction for message in self.messages.values()))

    def plain(self, direction: Direction | None) -> Callable[[str], Found | None]:
        """Return the short path to a reading: from the text of one report of plain words, or of one
        typed string, to what it says; None where the whole way must be gone.

        What does not change from report to report is looked up here, once.
        """
        if direction not in self._plain:
            self._plain[direction] = self._made_plain(direction)
        return self._plain[direction]

    def _made_plain(self, direction: Direction | None) -> Callable[[str], Found | None]:
        if direction is None and not self.one_way:
            return lambda _text: None  # whether it is a report or a call must be told
        meanings, messages = self.lexicon.meanings, self.sent_by(direction)
        spoken = Readers(messages, Spelling(self.lexicon.plain.get))
        typed = Readers(messages, Spelling(str))

        def read(text: str) -> Found | None:
            words = text.split()
            count = len(words)
            if count > 1:
                if "\n" in text and "\n" in text.strip():
                    return None  # a line end parts reports
                return spoken[count](words)
            if count:
                string = words[0]
                if (string.isupper() or string.isdigit()) and string.lower() not in meanings:
                    return typed[len(string)](string)
            return None

        return read

    def automaton(self, direction: Direction | None) -> Automaton:
        """Return the automaton of a direction (None: of all messages), joined where reports may run
        together.
        """
        if direction not in self._automata:
            from grammar.automaton import build

            self._automata[direction] = build(
                self.sent_by(direction), run_together=self.rules.run_together
            )
        return self._automata[direction]

    @functools.cached_property
    def crossing(self) -> Ambiguity | None:
        """A shortest string that is both a report and a call, or None; where reports run together,
        with what follows them.

        Such a string needs its direction to be told. Raises CodeError (kind "too-large") where this
        can't be settled within bounds.
        """
        car, pit = self.sent_by("car"), self.sent_by("pit")
        if not car or not pit:
            return None
        from grammar.proof import ambiguity, overlap

        return (
            ambiguity([*car, *pit], run_together=True)
            if self.rules.run_together
            else overlap(car, pit)
        )

    @functools.cached_property
    def one_way(self) -> bool:
        """Whether a string has one reading at most even where its direction is not told; False too
        where that can't be settled.
        """
        try:
            return self.crossing is None
        except CodeError:
            return False

    def spoken(self, table: CodeTable, word: str) -> list[str]:
        """Return the words for a codeword: spelling words, or whole hundreds and thousands where
        the book says so.
        """
        signed = table.numeral is not None and table.numeral.plus
        if self.rules.whole_numbers == "magnitudes" and table.decimal and not signed:
            from grammar.speech.numbers import whole

            words = whole(word)
            if words is not None:
                return [
                    self.alphabet.words[w].word if w in self.alphabet.words else w for w in words
                ]
        return [self.alphabet.words[symbol].word for symbol in word]

    def cost(
        self, by: str, seconds: Mapping[str, float] | None = None, *, plain: bool = False
    ) -> Callable[[CodeTable, str], float]:
        """Return the price of a codeword ``by`` "seconds", "symbols" or "syllables"; raises
        ValueError for anything else.

        ``seconds`` (symbol → seconds) stands in place of the alphabet's times, as a profile gives
        them; ``plain`` prices codewords said symbol by symbol whatever the book's number rule.
        """
        if by not in COSTS:
            raise ValueError(f"cost {by!r}; one of {', '.join(COSTS)} is expected")
        if by == "symbols":
            return lambda _table, word: float(len(word))
        times = {symbol: entry.seconds for symbol, entry in self.alphabet.words.items()} | dict(
            seconds or {}
        )
        prices = {
            entry.word: times[symbol] if by == "seconds" else float(entry.syllables)
            for symbol, entry in self.alphabet.words.items()
        }
        if self.rules.whole_numbers == "magnitudes" and not plain:
            prices = {**self.alphabet.magnitudes(by), **prices}
            return lambda table, word: sum(map(prices.__getitem__, self.spoken(table, word)))
        by_symbol = {symbol: prices[entry.word] for symbol, entry in self.alphabet.words.items()}
        return lambda _table, word: sum(map(by_symbol.__getitem__, word))
