"""Values to the cheapest string that means them, with the words to say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from codec.decoding import decode, readings
from codec.reading import Reading
from grammar.book import COSTS, Book
from grammar.codes import CodeTable
from grammar.errors import Ambiguous, CodeError, EncodeError, ReportError
from grammar.fields import Band, FieldBase, Rounded
from grammar.message import Message
from grammar.reading_sets import ReadingSets

if TYPE_CHECKING:
    from grammar.profile import Profile


@dataclass(frozen=True, slots=True)
class Encoded:
    """A string and how to say it.

    ``words`` are those to say, ``seconds`` the time they take, ``levels`` what the values were
    rounded to, ``rounding`` what that added to each value that moved (in the field's unit),
    ``reading`` what the string decodes to.
    """

    message: str
    string: str
    words: str
    seconds: float
    syllables: int
    levels: Mapping[str, int]
    rounding: Mapping[str, Decimal]
    reading: Reading

    def __str__(self) -> str:
        return self.string

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for ``--json``."""
        return {
            "message": self.message,
            "string": self.string,
            "words": self.words,
            "symbols": len(self.string),
            "seconds": round(self.seconds, 2),
            "syllables": self.syllables,
            "values": self.reading.as_dict()["values"],
            "rounding": {name: float(error) for name, error in self.rounding.items()},
        }


def encode(
    book: Book,
    values: Mapping[str, Any] | Reading,
    message: str | None = None,
    *,
    by: str = "seconds",
    profile: Profile | None = None,
) -> Encoded:
    """Return the string that says ``values`` (field → value) in ``message`` at the least cost.

    A field of a part said again has a list of values, one for each time (None: not said then), or
    one under each numbered name; a family of fields may have one value a member, by its name.
    ``by`` is "seconds" (default), "symbols" or "syllables"; a ``profile`` gives the seconds of the
    person who will say it. Without ``message`` the one message that can say exactly these fields is
    taken. Values are rounded to the nearest level. Optional parts whose fields have their usual
    value, or are not given, are left out.

    Raises EncodeError where a value is outside its domain, a field is missing or unknown, no way
    through the layout says these together, or several messages could be meant.
    """
    if by not in COSTS:
        raise EncodeError(f"unknown cost {by!r}", kind="unknown-cost", expected=list(COSTS))
    given: Mapping[str, Any] = values.values if isinstance(values, Reading) else values
    if isinstance(values, Reading):
        message = message or values.message
    rounded = _rounded(book, given, book.messages.get(message or ""))
    levels = {name: r.level for name, r in rounded.items()}
    chosen = _message(book, levels, message)
    own = None
    if profile is not None:
        from grammar.profile import word_seconds

        own = word_seconds(profile, book.alphabet)
    string = chosen.cheapest(levels, book.cost(by, own), exact=isinstance(values, Reading))
    if string is None:
        raise _unsayable(chosen, levels)
    reading = _read_back(book, chosen, string, levels)
    parts = list(zip(reading.match.plan.tables, reading.match.texts, strict=True))
    words = _words(book, reading, parts)
    syllables = book.cost("syllables", plain=words == book.alphabet.say(string))
    return Encoded(
        chosen.name,
        string,
        words,
        _seconds(book, reading, words, own),
        int(sum(syllables(table, text) for table, text in parts)),
        reading.levels,
        {name: r.error for name, r in rounded.items() if r.error},
        reading,
    )


def example(book: Book, message: Message) -> Encoded | None:
    """Return what a message may say: usual values, else those in the middle; None where these can't
    be said together.
    """
    levels = {}
    for name, field in message.fields.items():
        usual = field.usual_level
        levels[name] = field.value(field.size // 2 if usual is None else usual)
    try:
        return encode(book, levels, message.name)
    except CodeError:
        return None


def seconds_by(profile: Profile, book: Book, encoded: Encoded) -> float:
    """Return the seconds that what was encoded takes the person of a profile to say, as the very
    words that it has.
    """
    from grammar.profile import word_seconds

    own = word_seconds(profile, book.alphabet)
    return _seconds(book, encoded.reading, encoded.words, own)


def _seconds(book: Book, reading: Reading, words: str, own: Mapping[str, float] | None) -> float:
    seconds = book.cost("seconds", own, plain=words == book.alphabet.say(reading.said))
    match = reading.match
    return sum(map(seconds, match.plan.tables, match.texts))


def _words(book: Book, reading: Reading, parts: list[tuple[CodeTable, str]]) -> str:
    """Return the words to say: those of the book's number rule where they are read back as meant,
    else symbol by symbol.
    """
    ruled = " ".join(word for table, text in parts for word in book.spoken(table, text))
    plain = book.alphabet.say(reading.said)
    for words in dict.fromkeys((ruled, plain)):
        if _reads_as(book, words, reading):
            return words
    raise EncodeError(
        f"{plain!r} would not be read as meant",
        kind="not-decodable",
        hint="choose other words in [alphabet.words]",
    )


def _reads_as(book: Book, words: str, reading: Reading) -> bool:
    try:
        return decode(book, words, direction=reading.direction) == reading
    except ReportError:
        return False


def _rounded(book: Book, values: Mapping[str, Any], message: Message | None) -> dict[str, Rounded]:
    rounded = {}
    for name, value in _apart(book, values, message or book):
        field = book.fields.get(name)
        if field is None:
            called = [
                one for one in book.fields.values() if one.title.casefold() == name.casefold()
            ]
            raise EncodeError(
                f"there is no field {name!r}",
                kind="unknown-field",
                expected=list(book.fields),
                hint=f"the field labelled so is {called[0].name!r}" if called else "",
            )
        if name in rounded:
            raise EncodeError(f"{name!r} is given twice", kind="given-twice")
        rounded[name] = field.level(value)
    return rounded


def _apart(
    book: Book, values: Mapping[str, Any], where: Book | Message
) -> Iterator[tuple[str, Any]]:
    """Yield the fields and values given, those of families and of parts said again each by itself;
    what is a list is told by the message, or by the book where it is not known.
    """
    for name, value in values.items():
        several = book.declared.get(name)
        if several is not None and several.members is not None and isinstance(value, Mapping):
            names = dict(zip(several.members, several.family, strict=True))
            for member, one in value.items():
                if member not in names:
                    raise EncodeError(
                        f"{name} has no member {member!r}",
                        kind="unknown-member",
                        expected=several.members,
                    )
                yield from _apart(book, {names[member].name: one}, where)
        elif name in where.lists and (
            name not in where.fields or _list_of(book.fields[name], value)
        ):
            given = list(value) if _several(value) else [value]
            if len(given) > len(where.lists[name]):
                raise EncodeError(
                    f"{name}: {len(given)} values; at most {len(where.lists[name])} are said",
                    kind="too-many-values",
                )
            times = zip(where.lists[name], given, strict=False)
            yield from ((one, said) for one, said in times if said is not None)
        else:
            yield name, value


def _list_of(field: FieldBase, value: Any) -> bool:
    """Tell whether what is given for a field that is said by itself too is a list of its values:
    flags are one value, a list of names.
    """
    return _several(value) and not (
        isinstance(field.value(0), frozenset) and all(isinstance(one, str) for one in value)
    )


def _several(value: Any) -> bool:
    """Tell whether a value is a list of them; a band is one value."""
    return isinstance(value, list | tuple) and not isinstance(value, Band)


def _message(book: Book, levels: Mapping[str, int], name: str | None) -> Message:
    if name is not None:
        if name not in book.messages:
            raise EncodeError(
                f"there is no message {name!r}",
                kind="unknown-message",
                expected=list(book.messages),
            )
        foreign = [field for field in levels if field not in book.messages[name].fields]
        if foreign:
            raise EncodeError(
                f"message {name} does not say {foreign[0]!r}",
                kind="unknown-field",
                expected=list(book.messages[name].fields),
            )
        return book.messages[name]
    cost = book.cost("symbols")
    able = [
        m
        for m in book.messages.values()
        if levels.keys() <= m.fields.keys() and m.cheapest(levels, cost) is not None
    ]
    if len(able) == 1:
        return able[0]
    if able:
        raise EncodeError(
            "several messages can say these fields",
            kind="which-message",
            expected=[m.name for m in able],
            hint="name the message",
        )
    near = max(book.messages.values(), key=lambda m: len(levels.keys() & m.fields.keys()))
    raise _unsayable(near, levels)


def _unsayable(message: Message, levels: Mapping[str, int]) -> EncodeError:
    missing = [name for name in message.fields if name not in levels]
    for table in message.tables:
        known = all(field.name in levels for field in table.fields)
        if (
            known
            and table.fields
            and table.word(tuple(levels[f.name] for f in table.fields)) is None
        ):
            field = table.fields[0]
            said = [
                t
                for t in message.tables
                if field in t.fields and t.word((levels[field.name],) * len(t.fields)) is not None
            ]
            if not said:
                return EncodeError(
                    f"{field.title} {field.text(levels[field.name])} has no codeword in table"
                    f" {table.name}",
                    kind="no-codeword",
                    hint=f"{_nearest(message, levels)}add one to the book",
                )
    left_out = [step.left_out for step in message.course.steps if step.left_out is not None]
    spared = {name for part in left_out for name in message.said_by(part)}
    needed = [name for name in missing if name not in spared]
    missing = needed or missing
    if missing:
        shown = message.fields[missing[0]]
        return EncodeError(
            f"message {message.name} can't be said without {', '.join(missing)}",
            kind="missing-field",
            expected=[f"{shown.name}: {shown.domain}"],
        )
    return EncodeError(
        f"no way through message {message.name} says {', '.join(levels)} together",
        kind="no-layout",
        hint=f"{_nearest(message, levels)}see its layout in the book",
    )


def _nearest(message: Message, levels: Mapping[str, int]) -> str:
    """Return what of the levels is otherwise in the nearest that can be said, in words before
    another hint; nothing where that can't be told.
    """
    sets = ReadingSets(message)
    try:
        near = sets.nearest(sets.all, levels) or {}
    except CodeError:
        return ""
    changed = [
        f"{message.fields[name].title} {message.fields[name].text(near[name])}"
        for name, level in levels.items()
        if near.get(name, level) != level
    ]
    return f"the nearest that can be said has {' and '.join(changed)}; or " if changed else ""


def _read_back(book: Book, message: Message, string: str, levels: Mapping[str, int]) -> Reading:
    """Return what the string decodes to; a string that would not be read as meant is never given
    out.
    """
    found = readings(book, string, direction=message.direction, typed=True)
    if len(found) > 1:
        raise Ambiguous(
            f"{string!r} has several readings", kind="ambiguous", candidates=[str(r) for r in found]
        )
    if (
        not found
        or found[0].message != message.name
        or any(found[0].levels.get(name) != level for name, level in levels.items())
    ):
        raise EncodeError(
            f"{string!r} would not be read as meant",
            kind="not-decodable",
            hint="this is an error in the book's tables; report it",
        )
    return found[0]
