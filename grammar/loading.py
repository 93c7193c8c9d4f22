"""Loading a book: reading the file, finding every problem with its place, and proving what is
left.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from grammar.binding import bind_messages, bind_tables
from grammar.book import Book
from grammar.document import document, read
from grammar.errors import BookError, CodeError, EncodeError, Problem
from grammar.fields import ENUMERABLE, FieldBase
from grammar.message import Message
from grammar.models import PARTLY, BookSpec
from grammar.outline import outline, place_of
from grammar.partial_book import mended
from grammar.proof import Ambiguity, ambiguity
from grammar.pydantic_faults import told
from grammar.speech import Lexicon
from grammar.speech.lexicon import WordsTaken
from grammar.symbols import Alphabet, AlphabetSpec, OwnWord, normal

_MOST_ROUNDS = 5  # what is found only once something else was left out


class Collector:
    """Gathers problems by path; their places are looked up only when there is one."""

    def __init__(self, text: str, name: str) -> None:
        """Begin without problems."""
        self.text, self.name = text.replace("\r\n", "\n"), name
        self.found: list[tuple[tuple[str | int, ...], str, str, str]] = []

    def add(
        self, path: Sequence[str | int], message: str, hint: str = "", kind: str = "book"
    ) -> None:
        """Note a problem."""
        self.found.append((tuple(path), message, hint, kind))

    def error(self) -> BookError:
        """Return all problems with their places."""
        places = outline(self.text)
        problems = [
            Problem.at(
                ".".join(str(part) for part in path),
                self.text,
                place_of(places, path),
                message,
                hint,
                kind,
            )
            for path, message, hint, kind in self.found
        ]
        return BookError(problems, name=self.name)


def load_book(path: str | Path) -> Book:
    """Return the code book in a TOML file.

    Raises BookError with every problem at once (file, line, what to do), also where the file can't
    be read; never anything else.
    """
    return parse_book(read(Path(path), "a book"), str(path))


def parse_book(text: str, name: str = "book") -> Book:
    """Return the code book in a TOML text; raises BookError like ``load_book``."""
    text = text.removeprefix("\ufeff")
    raw = document(text, name)
    problems = Collector(text, name)
    spec, broken = _validated(raw, problems)
    if spec is None:
        raise problems.error()
    weigh(spec.fields, problems)
    alphabet = Alphabet(spec.alphabet)
    lexicon = _lexicon(spec, alphabet, raw, problems)
    tables = bind_tables(spec, alphabet, problems.add, broken)
    messages = bind_messages(spec, alphabet, tables, problems.add, broken)
    if problems.found or lexicon is None:
        raise problems.error()
    _prove(spec, messages, problems)
    if problems.found:
        raise problems.error()
    return Book(spec, alphabet, tables, messages, lexicon, Path(name).stem, text)


def weigh(fields: Mapping[str, FieldBase], problems: Collector) -> None:
    """Note what is wrong with how often the values of fields are said to occur."""
    for name, one in fields.items():
        if one.often is not None and one.size > ENUMERABLE:
            problems.add(
                ("fields", name, "often"),
                f"{one.size} levels are too many to weigh",
                f"at most {ENUMERABLE}",
            )
        elif one.often is not None:
            try:
                one.shares()
            except EncodeError as error:
                problems.add(
                    ("fields", name, "often"),
                    error.message,
                    error.hint or f"values are {one.domain}",
                )


def _validated(raw: dict[str, Any], problems: Collector) -> tuple[BookSpec | None, set[str]]:
    """Return the model of the book; where something is wrong, of the book without it, so that the
    rest is checked as well.

    The set names what was left out, as ``mended`` does; what refers to it is not blamed.
    """
    broken: set[str] = set()
    left: dict[str, Any] | None = raw
    for _ in range(_MOST_ROUNDS):
        if left is None:
            break
        try:
            return BookSpec.model_validate(left, context=PARTLY if problems.found else None), broken
        except ValidationError as error:
            faults = [told(fault, raw, _keys) for fault in error.errors(include_url=False)]
        for fault in faults:
            problems.add(*fault)
        left = mended(left, [path for path, _, _ in faults], broken)
    return None, broken


def _keys(location: Sequence[str | int]) -> list[str]:
    """Return the keys allowed where an unknown one was found."""
    if len(location) == 1:
        return list(BookSpec.model_fields)
    if location[0] == "alphabet":
        return list((OwnWord if len(location) > 2 else AlphabetSpec).model_fields)
    return _keys_of(location[2] if len(location) > 3 else None)


@functools.cache
def _keys_of(kind: str | int | None) -> list[str]:
    from grammar.models import schema

    return [
        key
        for d in schema()["$defs"].values()
        if kind in (None, d.get("properties", {}).get("kind", {}).get("const"))
        for key in d.get("properties", ())
    ]


def _lexicon(
    spec: BookSpec, alphabet: Alphabet, raw: Mapping[str, Any], problems: Collector
) -> Lexicon | None:
    phrases = {name: phrase.says for name, phrase in spec.phrases.items()}
    try:
        return Lexicon(
            alphabet,
            fillers=spec.speech.fillers,
            phrases=phrases,
            homophones=spec.speech.homophones,
        )
    except WordsTaken as error:
        for clash in error.clashes:
            # a word of a list is found by itself: others of the list may have been left out
            listed: Any = raw
            for part in clash.path:
                listed = listed.get(part) if isinstance(listed, Mapping) else None
            written = listed if isinstance(listed, list) else []
            place = next(
                (
                    number
                    for number, text in enumerate(written)
                    if isinstance(text, str) and normal(text) == clash.word
                ),
                None,
            )
            problems.add(
                clash.path if place is None else (*clash.path, place), clash.message, clash.hint
            )
        return None


def _prove(spec: BookSpec, messages: Mapping[str, Message], problems: Collector) -> None:
    for direction in ("car", "pit"):
        sent = [message for message in messages.values() if message.direction == direction]
        if not sent:
            continue
        try:
            found = ambiguity(sent) or (
                ambiguity(sent, run_together=True) if spec.speech.run_together else None
            )
        except CodeError as error:
            problems.add(("messages",), error.message, error.hint, error.kind)
            continue
        if found is not None:
            problems.add(
                ("messages", found.one[0].message.name, "layout"),
                witness_text(found),
                _way_out(found),
                "ambiguous",
            )


def witness_text(found: Ambiguity) -> str:
    """Return an ambiguity in words: the string, and both readings."""
    one, other = (
        "; then ".join(match.text() for match in side) for side in (found.one, found.other)
    )
    same = " (the same values, said by two ways through the layout)" if one == other else ""
    return (
        f"{found.string!r} has two readings, in {found.where}{same}\n    either {one}\n    or    "
        f" {other}"
    )


def _way_out(found: Ambiguity) -> str:
    if len(found.one) > 1 or len(found.other) > 1:
        return "change a codeword, or set run_together = false and pause between reports"
    if found.one[0].message is not found.other[0].message:
        return "begin one of the messages with a symbol of its own, or give them different lengths"
    return "change a codeword, or put symbols in quotes before the optional part"
