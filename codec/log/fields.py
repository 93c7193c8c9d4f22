"""Lines that tell values by the names of fields, for what is known of a report that was not heard
whole: ``left=33.6``, ``lap 3 33.6 motor 90``; and where a dial stands: ``regeneration 7``.

Every word of such a line has its meaning, or the line is none: nothing is guessed.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from codec.encoding import encode
from codec.lap_report import LAP, lap_message
from codec.radio.named import NamedReports
from codec.reading import Reading
from codec.sheet.state import MOST_LAP
from grammar.book import Book
from grammar.errors import CodeError
from grammar.exact import whole
from grammar.fields import FieldBase, Value
from grammar.speech.kinds import WordKind
from grammar.speech.words import cut

_PART = re.compile(r"[^\s=,;]+|=")
_SET = re.compile(r"\s*([^\W\d][\w ]*?)\s*=\s*[-+−]?\d")
_BETWEEN = frozenset(("to", "at", "is", "on", "position", "="))


@dataclass(frozen=True, slots=True)
class ByField:
    """What a line tells field by field, and the lap it says, None where it says none."""

    values: Mapping[str, Value]
    lap: int | None

    def told(self, book: Book) -> str:
        """Return it in words."""
        told = self.values.items()
        shown = [f"{book.fields[name].title} {_text(book, name, value)}" for name, value in told]
        return ", ".join([*([] if self.lap is None else [f"lap {self.lap}"]), *shown])


def _text(book: Book, name: str, value: Value) -> str:
    field = book.fields[name]
    level = field.level(value).level
    return field.text(level) if field.value(level) == value else field.restored_text(value)


def by_field(named: NamedReports, text: str) -> ByField | None:
    """Return what a line tells field by field, as it is typed or as it is said, None where it is no
    such line.

    A number that no name stands before is of the first field of the lap report. Raises CodeError
    for a value that its field does not have, in a line that names fields, and for a lap that no
    race has.
    """
    try:
        return _typed(named.book, text) or _said(named, text)
    except CodeError:
        said = _said(named, text)
        if said is None:
            raise
        return said


def called(named: NamedReports, text: str) -> Reading | None:
    """Return the call that a line says in plain words, ``energy per lap 1.28``: the name of its
    message or of its one field, and a number; None for any other line. Raises CodeError for a value
    that the field does not have.
    """
    book, found = named.book, list[Reading]()
    words = [part.casefold() for part in _PART.findall(text) if part != "="]
    for message in book.sent_by("pit"):
        if len(message.fields) != 1:
            continue
        [field] = message.fields.values()
        ways = {_words(name) for name in (message.name, message.title, field.name, field.title)}
        for way in ways | {_words(f"{field.unit_text} {field.name}")}:
            if tuple(words[: len(way)]) != way:
                continue
            number = named.number(" ".join(words[len(way) :]).removesuffix(field.unit_text))
            if number is not None:
                reading = encode(book, {field.name: number}, message.name).reading
                found += [reading] if reading not in found else []
    return found[0] if len(found) == 1 else None


def _words(name: str) -> tuple[str, ...]:
    return tuple(name.replace("_", " ").casefold().split())


@dataclass(frozen=True, slots=True)
class Nearly:
    """What a line would tell field by field but for one word, and what to ask about that."""

    told: ByField
    asked: str


def nearly(named: NamedReports, text: str) -> Nearly | None:
    """Return what a line tells but for one word that means nothing: a slip of a field's name, or
    one that the report has no field for; None where it tells nothing else.
    """
    strangers = named.strangers(text)
    if len(strangers) != 1:
        return None
    (word, (start, end)), of = strangers[0], named.resembled(strangers[0][0])
    tried = [(f"{text[:start]}{of}{text[end:]}", f"{word}: {of}?")] if of else []
    rest = re.sub(r"^[\s=:]*[-+−]?[\d.]*", "", text[end:], flags=re.ASCII)
    tried.append((f"{text[:start]}{rest}".strip(" ,;"), f"{word}: what is that?"))
    for changed, asked in tried:
        with contextlib.suppress(CodeError):
            told = by_field(named, changed)
            if told is not None and (told.lap is not None or len(told.values) > 1):
                return Nearly(told, asked)
    return None


def _said(named: NamedReports, text: str) -> ByField | None:
    """Return what a line says in plain words; None where it says anything else."""
    fields, values = named.book.fields, dict(named.parts(text))
    lap = values.pop(named.lap, None)
    try:
        rounded = {name: fields[name].rounded(value) for name, value in values.items()}
    except CodeError:
        return None
    return ByField(rounded, None if lap is None else _lap(str(lap))) if rounded else None


def _typed(book: Book, text: str) -> ByField | None:
    report = book.messages.get(lap_message(book))
    if report is None:
        return None
    fields = {name: field for name, field in report.fields.items() if name != LAP}
    parts = _PART.findall(text)
    lap: int | None = None
    values: dict[str, Value] = {}
    named, wrong = False, None
    while parts:
        behind = _behind(parts[1:])
        if lap is None and parts[0].casefold() == LAP and behind and _is_number(behind[0]):
            lap, parts, named = _lap(behind[0]), behind[1:], True
            continue
        field, parts, is_named = _next_field(fields, parts, values)
        named = named or is_named
        if field is None or not parts or field.name in values:
            return None
        try:
            values[field.name], parts = _value(field, parts)
        except CodeError as error:
            if is_named:
                raise
            wrong, parts = error, parts[1:]  # where no field is named, it is no such line
    if named and wrong is not None:
        raise wrong
    return ByField(values, lap) if named and values else None


def _behind(parts: list[str]) -> list[str]:
    """Return what stands behind a name, without the sign between them."""
    return parts[1:] if parts[:1] == ["="] else parts


def _is_number(text: str) -> bool:
    """Tell whether a text is figures alone, those that ``int`` and people read alike."""
    return text.isascii() and text.isdigit()


def _lap(text: str) -> int:
    try:
        return whole(text, 0, MOST_LAP)
    except ValueError as error:
        raise CodeError(f"lap: {error}", kind="usage") from None


def _next_field(
    fields: Mapping[str, FieldBase], parts: list[str], told: Mapping[str, Value]
) -> tuple[FieldBase | None, list[str], bool]:
    """Return the field that comes next, what stands behind its name, and whether it is named."""
    for field in fields.values():
        for name in (field.name.replace("_", " "), field.title):
            words = name.casefold().split()
            if [part.casefold() for part in parts[: len(words)]] == words:
                return field, _behind(parts[len(words) :]), True
    first = next(iter(fields.values()), None)
    number = re.fullmatch(r"[-+−]?\d+([.]\d+)?", parts[0]) is not None
    if first is None or not number or told or not first.numeric:
        return None, parts, False
    return first, parts, False


def _value(field: FieldBase, parts: list[str]) -> tuple[Value, list[str]]:
    """Return the value that stands at the beginning, as the code rounds it, and what stands behind
    it; a unit may.
    """
    value = field.rounded(parts[0].replace("−", "-"))
    behind = parts[1:]
    return value, behind[1:] if behind and behind[0] == field.unit_text else behind


def no_field(book: Book, text: str) -> CodeError | None:
    """Return what is wrong with a line that sets a field which the lap report has not, None for any
    other line.
    """
    report, said = book.messages.get(lap_message(book)), _SET.match(text)
    if report is None or said is None or said[1].casefold() == LAP:
        return None
    names = ", ".join(field.title for name, field in report.fields.items() if name != LAP)
    return CodeError(
        f"the lap report has no field {said[1]!r}", kind="usage", hint=f"it has {names}"
    )


def dial_at(book: Book, dials: Mapping[str, object], text: str) -> tuple[str, int] | None:
    """Return the dial and the position that a line tells, such as ``regen to 8`` or ``regeneration
    seven``; None where it is no such line.
    """
    words = text.replace("=", " = ").split()
    if len(words) < 2:
        return None
    said = [dial for dial in dials if _begins(dial, words)]
    if len(said) != 1:
        return None
    rest = words[_length(said[0], words) :]
    while rest and rest[0].casefold() in _BETWEEN:
        rest = rest[1:]
    digits = "".join(_digits(book, " ".join(rest)))
    return (said[0], int(digits)) if digits and len(digits) <= 4 else None


def _length(dial: str, words: list[str]) -> int:
    """Return how many words name a dial: all of its own, or the beginning of its one."""
    own = dial.casefold().split()
    given = [word.casefold() for word in words[: len(own)]]
    if given == own:
        return len(own)
    return int(len(own) == 1 and len(given[0]) >= 3 and own[0].startswith(given[0]))


def _begins(dial: str, words: list[str]) -> bool:
    return _length(dial, words) > 0


def _digits(book: Book, text: str) -> Iterator[str]:
    """Yield the digits of a number said or written, and something else where it is none."""
    if _is_number(text):
        yield text
        return
    for word in cut(book.lexicon, text):
        meaning = word.meaning
        one = meaning.kind in (WordKind.UNIT, WordKind.TO)  # a word alone may be a typed string too
        if one and meaning.options[0].isdigit():
            yield meaning.options[0]
        elif meaning.kind in (WordKind.TEEN, WordKind.TENS):
            yield meaning.value
        else:
            yield "?????"
