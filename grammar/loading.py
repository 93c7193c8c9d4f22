"""Loading a book: reading the file, finding every problem with its place, and proving what is left."""

from __future__ import annotations

import difflib
import functools
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from grammar.binding import bind_messages, bind_tables
from grammar.book import Book
from grammar.errors import BookError, CodeError, EncodeError, Problem, Span, visible
from grammar.fields import ENUMERABLE, FieldBase
from grammar.message import Message
from grammar.models import BookSpec
from grammar.outline import outline, place_of
from grammar.proof import Ambiguity, ambiguity
from grammar.speech import Lexicon
from grammar.symbols import Alphabet, AlphabetSpec

MOST_BYTES = 2_000_000
MOST_PARTS = 100  # of a dotted key; a TOML parser takes time in their square
MOST_FIGURES = 300  # of a whole number; Python refuses to write out those of thousands, also in its own errors
_MOST_EXPONENT = 1000  # of any other number, either way
_ENDLESS = re.compile(rf"(?<![\w.])[0-9][0-9A-Fa-f_xob]{{{MOST_FIGURES},}}")
_QUOTED = re.compile(r"""\"[^"]*"|'[^']*'""")
_DOTTED = re.compile(r"[\w-]+(?:\s*\.\s*[\w-]+)*+")
_TOML_PLACE = re.compile(r" \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$")
_TOML_CUT = "Illegal character '\\n'"
_SECTIONS = ("fields", "tables", "messages", "phrases")


class Collector:
    """Gathers problems by path; their places are looked up only when there is one."""

    def __init__(self, text: str, name: str) -> None:
        """Begin without problems."""
        self.text, self.name = text.replace("\r\n", "\n"), name
        self.found: list[tuple[tuple[str | int, ...], str, str, str]] = []

    def add(self, path: Sequence[str | int], message: str, hint: str = "", kind: str = "book") -> None:
        """Note a problem."""
        self.found.append((tuple(path), message, hint, kind))

    def error(self) -> BookError:
        """Return all problems with their places."""
        places = outline(self.text)
        problems = [
            Problem.at(".".join(str(part) for part in path), self.text, place_of(places, path), message, hint, kind)
            for path, message, hint, kind in self.found
        ]
        return BookError(problems, name=self.name)


def load_book(path: str | Path) -> Book:
    """Return the code book in a TOML file.

    Raises BookError with every problem at once (file, line, what to do), also where the file can't be read; never anything else.
    """
    return parse_book(read(Path(path), "a book"), str(path))


def read(path: Path, what: str) -> str:
    """Return the text of a TOML file that holds ``what`` ("a book"); raises BookError where it can't be read."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = "it is a directory" if isinstance(error, IsADirectoryError) else getattr(error, "strerror", None) or str(error)
        raise BookError([Problem("", 0, f"can't be read: {reason}", f"pass the path of {what} in TOML", "file")], name=str(path)) from None
    if len(data) > MOST_BYTES:
        raise BookError(
            [Problem("", 0, f"more than the {MOST_BYTES} bytes {what} may have", f"pass the path of {what} in TOML", "file")],
            name=str(path),
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise BookError([Problem("", line, "not UTF-8 text", "save the file as UTF-8", "file")], name=str(path)) from None


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
    lexicon = _lexicon(spec, alphabet, problems)
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
            problems.add(("fields", name, "often"), f"{one.size} levels are too many to weigh", f"at most {ENUMERABLE}")
        elif one.often is not None:
            try:
                one.shares()
            except EncodeError as error:
                problems.add(("fields", name, "often"), error.message, error.hint or f"values are {one.domain}")


def document(text: str, name: str) -> dict[str, Any]:
    """Return what a TOML text holds, its numbers exact; raises BookError where it is not TOML."""
    text = text.replace("\r\n", "\n")
    if len(text) > MOST_BYTES:
        raise BookError([Problem("", 0, f"{len(text)} characters are more than the {MOST_BYTES} a book may have", "", "file")], name=name)
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > MOST_PARTS and line.count(".") >= MOST_PARTS and _longest_key(line) > MOST_PARTS:
            raise _broken(number, f"a key of more than {MOST_PARTS} parts", "books nest four deep at most", name)
        if len(line) > MOST_FIGURES and _ENDLESS.search(line):
            raise _broken(number, f"a whole number of more than {MOST_FIGURES} digits", "numbers have at most 30", name)
    try:
        return tomllib.loads(text, parse_float=_number)
    except (ValueError, RecursionError, ArithmeticError) as error:
        raise BookError([_toml_problem(text, error)], name=name) from None


def _broken(line: int, message: str, hint: str, name: str) -> BookError:
    return BookError([Problem("", line, message, hint, "toml")], name=name)


def _longest_key(line: str) -> int:
    return max((found.group().count(".") + 1 for found in _DOTTED.finditer(_QUOTED.sub("q", line))), default=0)


def _number(text: str) -> Decimal:
    """Return a number of a TOML text; one that is out of all proportion becomes "not a number", for whole numbers are made of these."""
    try:
        number = Decimal(text)
    except InvalidOperation:  # an exponent that no decimal can hold
        return Decimal("NaN")
    return number if len(text) <= _MOST_EXPONENT and abs(number.adjusted()) <= _MOST_EXPONENT else Decimal("NaN")


def _toml_problem(text: str, error: Exception) -> Problem:
    message, span = ("nested too deeply", None) if isinstance(error, RecursionError) else (str(error), _toml_place(text, str(error)))
    message = visible(f"not TOML: {_TOML_PLACE.sub('', message).replace(_TOML_CUT, 'the line ends too soon')[:200]}")
    return Problem.at("", text, span, message, "see toml.io for the format", "toml")


def _toml_place(text: str, message: str) -> Span | None:
    """Return the character that a message of the TOML parser is about."""
    found = _TOML_PLACE.search(message)
    if found is None:
        return None
    if found["line"] is None:
        return len(text.rstrip()), len(text.rstrip())
    start = 0
    for _ in range(int(found["line"]) - 1):
        start = text.index("\n", start) + 1
    place = start + int(found["column"]) - 1
    return place, place


def _validated(raw: dict[str, Any], problems: Collector) -> tuple[BookSpec | None, set[str]]:
    """Return the model of the book; where entries are wrong, of the book without them, so that the rest is checked as well.

    The set names what was left out, "section.name"; others that refer to it are not blamed.
    """
    broken: set[str] = set()
    for _ in range(2):
        try:
            return BookSpec.model_validate(raw), broken
        except ValidationError as error:
            faults = error.errors(include_url=False)
            for fault in faults:
                problems.add(*told(fault, raw, _keys))
            if any(len(fault["loc"]) < 2 or fault["loc"][0] not in _SECTIONS for fault in faults):
                return None, broken
            places = {(str(fault["loc"][0]), fault["loc"][1]) for fault in faults}
            broken |= {f"{section}.{name}" for section, name in places}
            raw = {
                key: {name: entry for name, entry in value.items() if (key, name) not in places} if key in _SECTIONS else value
                for key, value in raw.items()
            }
            if any(key in _SECTIONS[:3] and not value for key, value in raw.items()):
                return None, broken
    return None, broken


def told(
    fault: Mapping[str, Any], raw: Mapping[str, Any], keys: Callable[[Sequence[str | int]], Sequence[str]]
) -> tuple[tuple[str | int, ...], str, str]:
    """Turn a fault of pydantic's into path, message and hint; ``keys`` gives the keys allowed where an unknown one was found."""
    path = _in_document(fault["loc"], raw)
    kind, message = fault["type"], str(fault["msg"])
    hint = ""
    if kind == "extra_forbidden":
        message = f"unknown key {path[-1]!r}" if path else "unknown key"
        close = difflib.get_close_matches(str(fault["loc"][-1]), keys(fault["loc"]), n=1)
        hint = f"did you mean {close[0]!r}?" if close else "remove it"
    elif kind == "missing":
        message, hint = f"{fault['loc'][-1]!r} is missing", "add it"
    elif kind == "union_tag_invalid":
        path, message = (*path, "kind"), f"kind {fault['ctx']['tag']!r} is unknown"
        hint = f"kinds are {fault['ctx']['expected_tags']}"
    elif kind == "union_tag_not_found":
        message, hint = "'kind' is missing", "say what kind it is"
    elif kind in ("value_error", "assertion_error"):
        message = message.removeprefix("Value error, ").removeprefix("Assertion failed, ")
    elif not isinstance(fault.get("input"), dict | list):
        message = f"{message} (found {str(fault.get('input'))[:40]!r})"
    return path, visible(message), hint


def _in_document(location: Sequence[str | int], raw: Any) -> tuple[str | int, ...]:
    """Drop the parts of a location that pydantic adds (tags of unions) and the document does not have."""
    path: list[str | int] = []
    node: Any = raw
    for number, part in enumerate(location):
        inner = _inside(node, part)
        if inner is not None:
            node = inner
        elif part == "[key]":
            continue
        elif number == len(location) - 1 and isinstance(node, Mapping) and not (isinstance(node.get("kind"), str) and node["kind"] == part):
            pass  # a missing key is worth naming
        else:
            continue
        path.append(part)
    return tuple(path)


def _inside(node: Any, part: str | int) -> Any:
    """Return what a key or an index leads to, None if it leads nowhere."""
    if isinstance(node, Mapping):
        return node.get(part)
    return node[part] if isinstance(node, list) and isinstance(part, int) and part < len(node) else None


def _keys(location: Sequence[str | int]) -> list[str]:
    """Return the keys allowed where an unknown one was found."""
    if len(location) == 1:
        return list(BookSpec.model_fields)
    if location[0] == "alphabet":
        return list(AlphabetSpec.model_fields)
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


def _lexicon(spec: BookSpec, alphabet: Alphabet, problems: Collector) -> Lexicon | None:
    phrases = {name: phrase.says for name, phrase in spec.phrases.items()}
    try:
        return Lexicon(alphabet, fillers=spec.speech.fillers, phrases=phrases, homophones=spec.speech.homophones)
    except ValueError as error:
        message = str(error)
        guilty = next((name for name, says in phrases.items() if any(repr(form) in message for form in says)), None)
        problems.add(
            ("phrases", guilty) if guilty and message.startswith("the phrase") else ("alphabet",),
            message,
            "choose other words",
        )
        return None


def _prove(spec: BookSpec, messages: Mapping[str, Message], problems: Collector) -> None:
    for direction in ("car", "pit"):
        sent = [message for message in messages.values() if message.direction == direction]
        if not sent:
            continue
        try:
            found = ambiguity(sent) or (ambiguity(sent, run_together=True) if spec.speech.run_together else None)
        except CodeError as error:
            problems.add(("messages",), error.message, error.hint, error.kind)
            continue
        if found is not None:
            problems.add(("messages", found.one[0].message.name, "layout"), witness_text(found), _way_out(found), "ambiguous")


def witness_text(found: Ambiguity) -> str:
    """Return an ambiguity in words: the string, and both readings."""
    one, other = ("; then ".join(match.text() for match in side) for side in (found.one, found.other))
    same = " (the same values, said by two ways through the layout)" if one == other else ""
    return f"{found.string!r} has two readings, in {found.where}{same}\n    either {one}\n    or     {other}"


def _way_out(found: Ambiguity) -> str:
    if len(found.one) > 1 or len(found.other) > 1:
        return "change a codeword, or set run_together = false and pause between reports"
    if found.one[0].message is not found.other[0].message:
        return "begin one of the messages with a symbol of its own, or give them different lengths"
    return "change a codeword, or put symbols in quotes before the optional part"
