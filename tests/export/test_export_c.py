"""The C of a book gives the strings niner gives, refuses what it refuses, and holds any text a book
may hold.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from export.c_program import (
    EVERY,
    answers,
    cases,
    compiled,
    readings_of,
    rounding,
    roundings,
    said,
)
from export.strings import SEVERAL, example
from helpers import first_short

from codec import Book, CodeError
from grammar.design import candidates, load_needs, propose, written
from grammar.export.c import c_files
from grammar.parsing import parse_book

# up to how many readings of a message all are compared, and how many of one that has more;
# tests/bench/bench_export.py takes 100,000
DRAWN = [(200, 100), pytest.param(EVERY, 10_000, marks=pytest.mark.slow)]


@pytest.fixture(scope="module", params=first_short(SEVERAL))
def example_in_c(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Book, Path]:
    """An example book and its C, compiled."""
    book = example(request.param)
    return book, compiled(book, tmp_path_factory.mktemp(book.name), book.name)


@pytest.mark.parametrize(("every", "most"), DRAWN)
def test_c_gives_the_string_of_encode_for_every_reading_or_some_thousand(
    example_in_c: tuple[Book, Path], every: int, most: int
) -> None:
    given, wanted = answers(*example_in_c, lambda message: readings_of(message, most, every))
    assert given == wanted
    assert not any(string.startswith("-") for string in wanted)


@pytest.mark.slow
def test_c_rounds_as_encode_does_and_refuses_the_same_values(
    example_in_c: tuple[Book, Path],
) -> None:
    given, wanted = answers(*example_in_c, lambda message: cases(message, 400))
    assert given == wanted
    if example_in_c[0].name != "drill":  # whose fields take any number
        assert any(answer.startswith("-") for answer in wanted)


@pytest.mark.parametrize(
    ("name", "count"),
    [
        ("many", 60),
        pytest.param("race", 60, marks=pytest.mark.slow),
        *(pytest.param(name, 20_000, marks=pytest.mark.slow) for name in ("race", "many", "tyres")),
    ],
)
def test_the_c_rounds_numbers_finer_than_the_code_as_the_book_says(
    name: str, count: int, tmp_path: Path
) -> None:
    """Against Python's exact decimals, at the ends of 64 bits too, sanitisers on."""
    book = parse_book(MANY, "many") if name == "many" else example(name)
    given, wanted = zip(*roundings(book, count), strict=True)
    assert said(rounding(book, tmp_path, name), list(given)) == list(wanted)
    assert {"-1"} < set(wanted)


UP = """
[fields.battery]
kind = "quantity"
unit = "°C"
low = 20
high = 99
step = 1
rounding = "up"
[tables.battery]
kind = "digits"
[messages.lap]
layout = "battery"
"""


def test_a_temperature_between_two_steps_is_never_said_cooler(tmp_path: Path) -> None:
    """60.3 °C rounded up is 61, and the header tells how it is rounded."""
    book = parse_book(UP, "up")
    program = rounding(book, tmp_path, "up")
    assert said(program, [[0, 603, 1], [0, 60000, 3], [0, 60001, 3], [0, 60, 0], [0, 991, 1]]) == [
        "61", "60", "61", "60", "-1",
    ]  # fmt: skip
    assert "battery: rounded up in steps of 1; up to 9 decimals" in c_files(book).header


@pytest.fixture(scope="module")
def designed() -> Book:
    """A book of the designer's: long lists of codewords and one way through a layout, which
    compilers look through.
    """
    needs = load_needs("examples/design/needs.toml")
    made = next(make() for make in list(candidates(needs, ["packed"]))[2:])
    assert made is not None
    return parse_book(written(needs, propose(needs, made, draws=50), 1)[0], "designed")


@pytest.mark.slow
@pytest.mark.parametrize(
    "level", [*(pytest.param(one, marks=pytest.mark.slow) for one in ("-O0", "-O1", "-O2")), "-O3"]
)
def test_the_c_of_a_designed_book_compiles_without_a_warning_and_agrees(
    designed: Book, level: str, tmp_path: Path
) -> None:
    built = compiled(designed, tmp_path, "dash", level)
    given, wanted = answers(designed, built, lambda message: readings_of(message, 500, every=500))
    assert given == wanted


MANY = """
[alphabet]
symbols = "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ-"
[alphabet.words]
"-" = "minus"
[fields.a]
kind = "quantity"
low = -7.5
high = 12.5
step = 2.5
rounding = "down"
[fields.b]
kind = "bands"
edges = [1.5, 4, 9]
low = 0
edge_in = "lower"
[fields.c]
kind = "wrapped"
modulus = 12
step = 0.5
[fields.d]
kind = "choice"
options = ["x", "y"]
usual = "x"
[tables.a]
kind = "digits"
count = "value"
per = 0.5
minus = "-"
[tables.b]
kind = "listed"
words = ["A", "BB", "C", "DD"]
[tables.c]
kind = "packed"
fields = ["c"]
symbols = "XYZ"
[tables.d]
kind = "scale"
symbols = "PQ"
[tables.k]
kind = "check"
method = "iso7064 mod 11-2"
over = ["e"]
[tables.v]
kind = "check"
method = "verhoeff"
over = ["e"]
[fields.e]
kind = "quantity"
low = 0
high = 99999
step = 1
open = "high"
[tables.e]
kind = "digits"
[messages.one]
layout = 'a ( b d? | "Q" b d ) c'
[messages.two]
layout = '"HH" e k v'
"""


@pytest.mark.slow
def test_every_kind_of_field_table_check_and_layout_is_in_the_c(tmp_path: Path) -> None:
    book = parse_book(MANY, "many")
    given, wanted = answers(
        book, compiled(book, tmp_path, "many"), lambda message: cases(message, 800)
    )
    assert given == wanted


APART = """
[fields.a]
kind = "quantity"
low = 0
high = 9
step = 1
[fields.b]
kind = "choice"
options = ["x", "y", "z"]
[fields.c]
kind = "choice"
options = ["p", "q"]
usual = "q"
[fields.d]
kind = "choice"
options = ["r", "s"]
[tables.a]
kind = "digits"
[tables.b]
kind = "scale"
symbols = "ABC"
[tables.c]
kind = "scale"
symbols = "PQ"
[tables.d]
kind = "scale"
symbols = "RS"
[tables.k]
kind = "check"
method = "iso7064 mod 37,36"
[messages.either]
layout = '"X" ( a | b d? ) c? k'
[messages.some]
layout = '"Y" ( a b )? ( c d )? k'
"""


@pytest.mark.slow
def test_fields_of_other_alternatives_and_optional_ones_may_be_left_unsaid(tmp_path: Path) -> None:
    book = parse_book(APART, "apart")
    given, wanted = answers(
        book, compiled(book, tmp_path, "apart"), lambda message: cases(message, 600, unsaid=0.4)
    )
    assert given == wanted
    begun = {string[:2] for string in wanted}
    assert {"XA", "X7", "Y7"} <= begun
    assert "-1000" in wanted


AWKWARD = r"""
title = "*/ /* ??/ \\ \" %s ü \u0007 \n#error"
[alphabet]
symbols = "AB\\?%"
[alphabet.words]
"\\" = "backslash"
"?" = "question"
"%" = "percent"
[fields.int]
label = "*/ int x; /* ??/"
kind = "choice"
options = ["*/", "\\", "%d ??", "é\"'"]
[fields.level]
kind = "choice"
options = ["//", "/*/", "ends with \\"]
[tables.static]
kind = "listed"
field = "int"
words = ["\\", "?", "%A", "AB"]
[tables.words]
kind = "scale"
field = "level"
symbols = "?%\\"
[messages.main]
label = "*/ return 1; /*"
layout = 'static words "??"'
"""


@pytest.mark.parametrize("name", first_short(["Ü-*/", "9", "level", "int64", "_"], 2))
def test_no_text_and_no_name_of_a_book_breaks_the_c(name: str, tmp_path: Path) -> None:
    book = parse_book(AWKWARD, name)
    prefix = c_files(book).header_name.removesuffix(".h")
    assert prefix.isidentifier()
    given, wanted = answers(
        book, compiled(book, tmp_path, prefix), lambda message: readings_of(message, 0)
    )
    assert given == wanted
    assert wanted[0] == "\\???"


@pytest.mark.parametrize("names", [("self_test", "b"), ("lap", "Lap"), ("lap", "LAP_values")])
def test_messages_that_would_have_one_name_in_c_are_refused(names: tuple[str, str]) -> None:
    source = (
        '[fields.a]\nkind = "choice"\noptions = ["x", "y"]\n[tables.a]\nkind = "scale"\nsymbols ='
        ' "AB"\n'
    )
    messages = "".join(
        f"[messages.{name}]\nlayout = '\"{mark}\" a'\n"
        for name, mark in zip(names, "XY", strict=True)
    )
    with pytest.raises(CodeError, match="the same name in C"):
        c_files(parse_book(source + messages))


def test_nothing_in_the_c_takes_memory_from_a_heap() -> None:
    source = c_files(example("race")).source
    assert "malloc" not in source
    assert source.count("#include") == 2


def test_only_the_messages_of_a_direction_are_in_the_c_where_one_is_asked_for() -> None:
    header = c_files(example("race"), direction="pit").header
    assert "int race_pace(" in header
    assert "race_lap" not in header
