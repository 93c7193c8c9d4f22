"""Reading the text of a book: finding every problem with its place, and proving what is left."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from grammar.binding import bind_messages, bind_tables
from grammar.book import Book, Parts, Rules
from grammar.dash import dash_problems
from grammar.errors import BookError, CodeError, EncodeError, Problem
from grammar.fields import ENUMERABLE, FieldBase
from grammar.garbage import uncollected
from grammar.inspection import Inspection
from grammar.message import Message
from grammar.models import BookSpec
from grammar.partial_book import BookFormat
from grammar.proof import Ambiguity, ambiguity
from grammar.speech import Lexicon
from grammar.symbols import Alphabet

BOOK = BookFormat("a book", BookSpec, BookError, "book", {"messages": {}})


@uncollected()
def parse_book(text: str, name: str = "book") -> Book:
    """Return the code book in a TOML text.

    Raises BookError with every problem at once (file, line, what to do); never anything else.
    """
    text = text.removeprefix("\ufeff")
    return _book(BOOK.inspect(text, name), lambda: text)


@uncollected()
def made_book(raw: dict[str, Any], text: Callable[[], str], name: str = "book") -> Book:
    """Return the code book in a TOML text that holds ``raw``: the text is written only when it is
    asked for.

    Raises BookError as ``parse_book`` does.
    """
    try:
        return _book(Inspection(BOOK, "", name, raw), text)
    except BookError:
        return parse_book(text(), name)  # which tells the places too


def _book(inspection: Inspection[BookSpec], text: Callable[[], str]) -> Book:
    spec = inspection.model()
    inspection.note(*weight_problems(spec.fields))
    alphabet = Alphabet(spec.alphabet)
    lexicon = Lexicon(
        alphabet,
        fillers=spec.speech.fillers,
        phrases={name: phrase.says for name, phrase in spec.phrases.items()},
        homophones=spec.speech.homophones,
    )
    inspection.note(*lexicon.problems)
    tables = bind_tables(spec, alphabet, inspection)
    messages = bind_messages(spec, alphabet, tables, inspection)
    inspection.settle()
    inspection.note(*_ambiguities(spec, messages))
    inspection.settle()
    shown = [message for message in messages.values() if message.direction == "car"]
    inspection.note(*dash_problems(spec.dash, shown, tables))
    inspection.settle()
    rules = Rules(
        spec.title,
        spec.speech.run_together,
        spec.speech.whole_numbers,
        {key: phrase.label or key for key, phrase in spec.phrases.items()},
        {key: phrase.means or key for key, phrase in spec.phrases.items()},
    )
    parts = Parts(alphabet, dict(spec.fields), tables, messages, lexicon)
    return Book(Path(inspection.name).stem, text, rules, parts, lambda: spec)


def spec_of(text: str, name: str) -> BookSpec:
    """Return the model of a text that is a book without problems."""
    return BOOK.inspect(text, name).model()


def weight_problems(fields: Mapping[str, FieldBase]) -> Iterator[Problem]:
    """Yield what is wrong with how often the values of fields are said to occur."""
    for name, field in fields.items():
        keys = ("fields", name, "often")
        if field.often is not None and field.size > ENUMERABLE:
            message = f"{field.size} levels are too many to weigh"
            yield Problem(keys, message, f"at most {ENUMERABLE}")
        elif field.often is not None:
            try:
                field.shares()
            except EncodeError as error:
                yield Problem(keys, error.message, error.hint or f"values are {field.domain}")


def _ambiguities(spec: BookSpec, messages: Mapping[str, Message]) -> Iterator[Problem]:
    """Yield, for each direction, a shortest string that has two readings."""
    for direction in ("car", "pit"):
        sent = [message for message in messages.values() if message.direction == direction]
        if not sent:
            continue
        try:
            found = ambiguity(sent) or (
                ambiguity(sent, run_together=True) if spec.speech.run_together else None
            )
        except CodeError as error:
            yield Problem(("messages",), error.message, error.hint, error.kind)
            continue
        if found is not None:
            keys = ("messages", found.one[0].message.name, "layout")
            yield Problem(keys, witness_text(found), _way_out(found), "ambiguous")


def witness_text(found: Ambiguity) -> str:
    """Return an ambiguity in words: the string, and both readings with where they cut it."""
    one, other = (
        "; then ".join(f"{' '.join(match.texts)} as {match.text()}" for match in side)
        for side in (found.one, found.other)
    )
    same = " (the same values, said by two ways through the layout)" if found.alike else ""
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
