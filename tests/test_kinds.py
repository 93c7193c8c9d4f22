"""A kind of field and a kind of table that nobody but this file knows go the whole way: through
load, proof, decode, encode, hear, journal, exports and back, race, design, and C.

The kinds: a resistance of insulation in doublings, as insulation testers scale it (common practice,
no source), and the reflected binary code of F. Gray (US patent 2632058, 1953; its definition n ^ n
>> 1 is from memory).
"""

from __future__ import annotations

import itertools
import json
import shutil
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any, ClassVar, Literal

import pytest
from export.c_program import answers, compiled, readings_of
from helpers import first_short
from pydantic import TypeAdapter

from codec import Book, BookError, EncodeError, decode, encode, parse_book
from codec.hear import hear
from codec.race import follow, parse_event
from codec.radio.importing import import_export
from codec.sheet import Entry, Journal
from codec.sheet.exports import FORMS, export, read_export
from grammar import codes, fields
from grammar.codes.base import CodeTable, Fragment, Levels, OneField, in_use, trie
from grammar.codes.base import Fields as BookFields
from grammar.declared import takes
from grammar.errors import Problem
from grammar.exact import ExactDecimal, at, difference, plain
from grammar.export import FORMATS
from grammar.export import export as export_book
from grammar.fields import AnyField, Band, FieldBase, Progression, Rounded
from grammar.fields.base import Beyond, Interval
from grammar.fields.measured import Measured
from grammar.models import BookSpec
from grammar.symbols import Alphabet


class Doublings(Measured):
    """A quantity in steps that each double it, rounded down; the last means "or above"."""

    kind: Literal["doublings"]
    low: ExactDecimal = takes(gt=0, description="The lowest value.")
    count: int = takes(ge=2, le=50, description="How many values there are.")
    usual: ExactDecimal | None = takes(default=None, description="The usual value.")

    described: ClassVar[str] = "doublings"

    def problems(self) -> Iterator[Problem]:
        """Yield a usual value below the lowest, and what is wrong with the limits."""
        if self.usual is not None and self.usual < self.low:
            yield Problem(("usual",), "the usual value lies below `low`", f"from {plain(self.low)}")
        yield from super().problems()

    @property
    def reach(self) -> Band:
        return Band(self.low, None)

    @property
    def ends(self) -> Band:
        return Band(self.low, self.value(self.count - 1))

    @property
    def size(self) -> int:
        return self.count

    @property
    def domain(self) -> str:
        return f"{plain(self.low)} … {self.with_unit(plain(self.value(self.count - 1)))} or above"

    @property
    def usual_level(self) -> int | None:
        return None if self.usual is None else self.level(self.usual).level

    def level(self, value: Any) -> Rounded:
        number = self.number(value)
        if number < self.low:
            raise self.refuse(value, f"{self.with_unit(plain(number))} is too low")
        level = min(self.count, int(number // self.low).bit_length()) - 1
        return Rounded(level, difference(self.value(level), number), self.beyond(level))

    def value(self, level: int) -> Decimal:
        return at(Decimal(0), self.low, 2**level)

    def text(self, level: int) -> str:
        return ("≥ " if self.beyond(level) else "") + self.with_unit(plain(self.value(level)))

    def beyond(self, level: int) -> Beyond:
        return "high" if level == self.count - 1 else ""

    def warnings(self, level: int) -> Sequence[str]:
        low, high = self.value(level), None if self.beyond(level) else self.value(level)
        return [
            limit.text(self.title, self.unit) for limit in self.limits if limit.passed(low, high)
        ]

    def interval(self, level: int) -> Interval:
        value = Fraction(self.value(level))
        return value, None if self.beyond(level) else 2 * value

    @property
    def typical(self) -> Fraction:
        return Fraction(self.low if self.usual is None else self.usual)

    @property
    def numbers(self) -> Sequence[Decimal]:
        return [self.low]

    def number_in(self, level: int) -> Decimal:
        return self.value(level)

    def c_level(self, constant: Callable[[Decimal], str]) -> list[str]:
        return [
            f"    int64_t edge = {constant(self.value(1))}, level = 0;",
            f"    if (value < {constant(self.low)}) return -1;",
            f"    for (; level < {self.count - 1} && value >= edge; level++) edge *= 2;",
            "    return level;",
        ]


class Gray(CodeTable):
    """The reflected binary code: neighbouring levels differ in one symbol."""

    kind = "gray"

    def __init__(self, name: str, field: FieldBase, alphabet: Alphabet, figures: str) -> None:
        super().__init__(name, [field], alphabet)
        self.figures, self.width = figures, max(1, (field.size - 1).bit_length())
        self.by_level = [self._word(level) for level in range(field.size)]
        self.by_word = {word: level for level, word in enumerate(self.by_level)}

    def _word(self, level: int) -> str:
        code = level ^ level >> 1
        return "".join(self.figures[code >> place & 1] for place in reversed(range(self.width)))

    @property
    def size(self) -> int:
        return len(self.by_level)

    @property
    def lengths(self) -> tuple[int, int]:
        return self.width, self.width

    def word(self, levels: Levels) -> str | None:
        return self.by_level[levels[0]]

    def levels(self, word: str) -> Levels | None:
        level = self.by_word.get(word)
        return None if level is None else (level,)

    def words(self) -> Iterator[tuple[Levels, str]]:
        return (((level,), word) for level, word in enumerate(self.by_level))

    def fragment(self) -> Fragment:
        return trie(self.alphabet, self.by_level, self.name)


class GraySpec(OneField):
    """``kind = "gray"``."""

    kind: Literal["gray"]
    figures: str = takes(default="01", min_length=2, max_length=2, description="The two symbols.")

    def build(self, name: str, fields: BookFields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Problem."""
        if self.figures[0] == self.figures[1]:
            raise Problem(("figures",), "a symbol stands twice", "give two different ones")
        figures = in_use(self.figures, alphabet, "figures")
        return Gray(name, self.field_of(name, fields), alphabet, figures)


BOOK = """
title = "Insulation"
[fields.insulation]
kind = "doublings"
unit = "MΩ"
low = 0.1
count = 11
usual = 25.6
limits = [{ below = 0.5 }]
[fields.energy]
kind = "quantity"
unit = "kWh"
low = 0
high = 9.9
step = 0.1
[fields.motor]
kind = "doublings"
unit = "°C"
low = 10
count = 4
limits = [{ above = 70 }]
[tables.insulation]
kind = "gray"
figures = "XY"
[tables.energy]
kind = "digits"
[tables.motor]
kind = "gray"
[tables.check]
kind = "check"
method = "iso7064 mod 37,36"
[messages.report]
layout = "energy insulation motor check"
[messages.short]
layout = "energy ( insulation )? \\"S\\""
"""
EVENT = """
[distance]
laps = 3
[energy]
unit = "kWh"
usable = 30
spread = 0.1
drift = 0.01
first = 0.1
[temperatures.motor]
start = 36
"""


@pytest.fixture(scope="module", autouse=True)
def made_up() -> Iterator[None]:
    """Name the two kinds where the others are named, for the tests of this file."""
    fields.KINDS.append(Doublings)
    codes.KINDS.append(GraySpec)
    BookSpec.model_rebuild(force=True)
    yield
    fields.KINDS.remove(Doublings)
    codes.KINDS.remove(GraySpec)
    BookSpec.model_rebuild(force=True)


@pytest.fixture(scope="module")
def book() -> Book:
    return parse_book(BOOK, "insulation")


def values(book: Book, message: str) -> Iterator[dict[str, Any]]:
    """Yield values of a message: each level of each field, the others somewhere."""
    known = book.messages[message].fields
    for number in range(max(field.size for field in known.values())):
        yield {name: field.value(number * 7 % field.size) for name, field in known.items()}


def test_a_book_with_kinds_it_does_not_know_says_so() -> None:
    with pytest.raises(BookError) as caught:
        parse_book(BOOK.replace('"doublings"', '"halvings"').replace('"gray"', '"grey"'))
    told = {problem.path: problem for problem in caught.value.problems}
    assert "'halvings' is unknown" in told["fields.insulation.kind"].message
    assert told["tables.insulation.kind"].hint == "did you mean 'gray'?"


def test_a_kind_that_leaves_a_question_open_does_not_load(book: Book) -> None:
    class Open(FieldBase):
        kind: Literal["open"]

    class OpenTable(CodeTable):
        kind = "open"

    open_kind: Any = Open
    fields.KINDS.append(open_kind)
    try:
        with pytest.raises(TypeError, match=r"abstract methods .*from_text.*level.*value"):
            TypeAdapter(AnyField).validate_python({"kind": "open"})
    finally:
        fields.KINDS.remove(open_kind)
    made: Any = OpenTable
    with pytest.raises(TypeError, match=r"abstract methods .*fragment.*lengths.*levels"):
        made("open", (), book.alphabet)


def test_their_own_problems_are_told_at_their_keys() -> None:
    wrong = BOOK.replace("usual = 25.6", "usual = 0.01").replace('figures = "XY"', 'figures = "XX"')
    with pytest.raises(BookError) as caught:
        parse_book(wrong)
    assert {problem.path for problem in caught.value.problems} >= {"fields.insulation.usual"}
    with pytest.raises(BookError) as caught:
        parse_book(BOOK.replace('figures = "XY"', 'figures = "XX"'))
    assert [problem.path for problem in caught.value.problems] == ["tables.insulation.figures"]
    with pytest.raises(BookError) as caught:
        parse_book(BOOK.replace("count = 11", "cuont = 11"))
    assert "did you mean 'count'?" in {problem.hint for problem in caught.value.problems}


def test_the_proof_finds_what_they_leave_ambiguous() -> None:
    alike = BOOK.replace("count = 4", "count = 11").replace('figures = "XY"', "")
    with pytest.raises(BookError) as caught:
        parse_book(alike.replace("energy insulation motor check", "insulation | motor"))
    assert "insulation" in str(caught.value)
    assert "motor" in str(caught.value)
    assert {problem.path for problem in caught.value.problems} == {"messages.report.layout"}


def test_what_is_encoded_is_decoded_again(book: Book) -> None:
    for message in book.messages:
        for each in values(book, message):
            encoded = encode(book, each, message)
            assert decode(book, encoded.words).values == each
            assert decode(book, encoded.string).values == each


def test_values_are_rounded_named_and_warned_of(book: Book) -> None:
    reading = encode(book, {"energy": 1, "insulation": "0.45", "motor": 95}, "report").reading
    assert reading.values["insulation"] == Decimal("0.4")
    assert reading.shown("insulation") == "0.4 MΩ"
    assert reading.shown("motor") == "≥ 80 °C"
    assert reading.warnings == ("insulation below 0.5 MΩ", "motor above 70 °C")
    assert decode(book, encode(book, {"energy": 1}, "short").string).implied == ("insulation",)
    with pytest.raises(EncodeError, match="too low"):
        encode(book, {"energy": 1, "insulation": 0.05}, "short")


def test_neighbours_differ_in_one_symbol(book: Book) -> None:
    words = [word for _, word in book.tables["insulation"].words()]
    assert words[:5] == ["XXXX", "XXXY", "XXYY", "XXYX", "XYYX"]
    for one, other in itertools.pairwise(words):
        assert sum(a != b for a, b in zip(one, other, strict=True)) == 1


def test_they_are_heard(book: Book) -> None:
    said = encode(book, {"energy": "4.2", "insulation": "6.4", "motor": 40}, "report")
    words = said.words.split()
    assert hear(book, words).accepted == said.reading
    words[3] = "?"
    found = hear(book, words)
    assert found.candidates[0].reading.values["insulation"] == Decimal("6.4")
    assert found.marginals["insulation"].text(found.marginals["insulation"].level) == "6.4 MΩ"
    assert sum(c.probability for c in found.candidates) + found.unlisted + found.nothing == (
        pytest.approx(1)
    )


def filled(book: Book, path: Path) -> Journal:
    journal = Journal(path, book)
    for lap, each in enumerate(values(book, "report"), start=1):
        encoded = encode(book, each, "report")
        journal.append(
            Entry(kind="report", car="7", lap=lap, lap_by="said", heard=encoded.words,
                  message="report", string=encoded.string, values=each)
        )  # fmt: skip
    return journal


def test_a_journal_gives_their_values_back_as_they_were(book: Book, tmp_path: Path) -> None:
    with filled(book, tmp_path / "event.sheet") as journal:
        written = list(journal.entries())
    with Journal(tmp_path / "event.sheet") as journal:
        read = list(journal.entries())
    assert read == written
    assert [entry.values for entry in read] == list(values(book, "report"))
    assert all(isinstance(entry.values["insulation"], Decimal) for entry in read)


@pytest.mark.parametrize("form", first_short(FORMS))
def test_exports_of_a_sheet_come_back(book: Book, form: str, tmp_path: Path) -> None:
    with filled(book, tmp_path / "event.sheet") as journal:
        assert export(journal, tmp_path / f"event.{form}") == len(journal)
        read = read_export(tmp_path / f"event.{form}")
        assert read is not None
        with Journal(tmp_path / "copy.sheet", book) as copy:
            import_export(copy, read)
            assert list(copy.entries()) == list(journal.entries())


def test_the_table_schema_calls_their_values_numbers(book: Book, tmp_path: Path) -> None:
    with filled(book, tmp_path / "event.sheet") as journal:
        export(journal, tmp_path / "event.csv")
    told = json.loads((tmp_path / "event.schema.json").read_text("utf-8"))
    column = next(one for one in told["fields"] if one["name"] == "value_insulation")
    assert (column["type"], column["unit"]) == ("number", "MΩ")


@pytest.mark.parametrize("form", sorted({*FORMATS} - {"card"}))
def test_every_form_of_a_book_holds_them(book: Book, form: str) -> None:
    for text in export_book(book, form).values():
        assert text


def test_the_race_follows_them(book: Book) -> None:
    event = parse_event(EVENT, book)
    race = follow(
        event, [Entry(kind="report", lap=1, message="report", values={"motor": Decimal(40)})]
    )
    low, high = 40, 80
    assert low < race.temperatures["motor"].level().mean < high


def test_what_is_said_as_a_level_lies_in_its_interval(book: Book) -> None:
    for field in (book.fields["insulation"], book.fields["motor"]):
        for level in range(field.size):
            low, high = field.interval(level) or (None, None)
            assert low is not None
            if high is not None:
                inside = (3 * low + high) / 4
                assert field.level(Decimal(inside.numerator) / inside.denominator).level == level
            assert field.level(field.number_in(level)).level == level


def test_harm_and_progression(book: Book) -> None:
    field = book.fields["insulation"]
    assert field.harm(3, 3) == 0 < field.harm(3, 4) < field.harm(3, 9) == 1
    assert field.progression is None
    assert isinstance(book.fields["energy"].progression, Progression)


@pytest.mark.slow
def test_the_c_of_the_dash_says_them(book: Book, tmp_path: Path) -> None:
    if shutil.which("gcc") is None:
        pytest.skip("gcc is not here: install it to compile the C of a book")
    given, wanted = answers(
        book, compiled(book, tmp_path, "dash"), lambda message: readings_of(message, 2000)
    )
    assert given == wanted
    assert not any(string.startswith("-") for string in wanted)
