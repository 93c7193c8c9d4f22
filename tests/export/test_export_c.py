"""The C of a book, compiled with every warning an error and the sanitisers on, gives the strings niner gives and refuses what it
refuses."""

from __future__ import annotations

import random
import subprocess
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

from codec import Book, CodeError, encode, load_book
from grammar.export.c import c_files, number_of
from grammar.export.c_tables import scale_of
from grammar.fields import FieldBase
from grammar.loading import parse_book
from grammar.message import Message

FLAGS = ["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"]
MOST = 100_000

MAIN = """#include "{name}.h"
#include <stdio.h>
int main(void)
{{
    int which, result;
    if ({name}_self_test() != 0) return 9;
    while (scanf("%d", &which) == 1) {{
{branches}
    }}
    return 0;
}}
"""
BRANCH = """        if (which == {number}) {{
            {name}_{message}_values v; char string[{upper}_{big}_MOST + 1]; long long x;
            {reads}
            result = {name}_{message}(&v, string);
            if (result < 0) printf("%d\\n", result); else printf("%s\\n", string);
        }}"""


def compiled(book: Book, folder: Path, name: str) -> Path:
    files = c_files(book, name)
    (folder / files.header_name).write_text(files.header, "utf-8")
    (folder / files.source_name).write_text(files.source, "utf-8")
    branches = []
    for number, message in enumerate(book.messages.values()):
        reads = "\n            ".join(f'if (scanf("%lld", &x) != 1) return 8;\n            v.v_{field} = x;' for field in message.fields)
        facts = {"name": name, "upper": name.upper(), "message": message.name, "big": message.name.upper()}
        branches.append(BRANCH.format(number=number, reads=reads, **facts))
    (folder / "main.c").write_text(MAIN.format(name=name, branches="\n".join(branches)), "utf-8")
    program = folder / name
    subprocess.run(["gcc", *FLAGS, str(folder / files.source_name), str(folder / "main.c"), "-o", str(program)], check=True)
    return program


def said(program: Path, rows: list[list[int]]) -> list[str]:
    text = "\n".join(" ".join(map(str, row)) for row in rows)
    return subprocess.run([str(program)], input=text, capture_output=True, text=True, check=True).stdout.split()


def given(field: FieldBase, generator: random.Random, *, wild: bool) -> tuple[int, object]:
    """Return a value as C takes it and as ``encode`` does: between levels as well, and with ``wild`` outside the domain."""
    scale = scale_of(field)
    if scale is None:
        level = generator.randrange(field.size)
        return level, field.value(level)
    level = generator.randrange(field.size)
    number = number_of(field, level) + (generator.randrange(-3, 4) if not wild else generator.choice([-1, 1]) * generator.randrange(10**6))
    return number, Decimal(number).scaleb(-scale)


def expected(book: Book, message: Message, values: dict[str, object]) -> str:
    for place, (name, value) in enumerate(values.items()):
        try:
            book.fields[name].level(value)
        except CodeError:
            return str(-1 - place)
    try:
        return encode(book, values, message.name).string
    except CodeError as error:
        if error.kind not in ("no-codeword", "no-layout"):
            raise
        return "-1000"


def cases(message: Message, count: int) -> Iterator[tuple[list[int], dict[str, object]]]:
    generator = random.Random(3)
    for case in range(count):
        pairs = {name: given(field, generator, wild=case % 10 == 0) for name, field in message.fields.items()}
        yield [number for number, _ in pairs.values()], {name: value for name, (_, value) in pairs.items()}


@pytest.mark.parametrize("name", ["starter", "qualifying", "race"])
def test_c_gives_the_strings_of_encode_and_refuses_the_same_values(name: str, tmp_path: Path) -> None:
    book = load_book(f"examples/{name}/{name}.toml")
    program = compiled(book, tmp_path, name)
    rows, wanted = [], []
    for number, message in enumerate(book.messages.values()):
        for row, values in cases(message, 250):
            rows.append([number, *row])
            wanted.append(expected(book, message, values))
    assert said(program, rows) == wanted
    assert any(answer.startswith("-") for answer in wanted)


@pytest.mark.parametrize("name", ["starter", "qualifying", "race", "drill"])
def test_c_gives_the_cheapest_string_of_every_reading_or_of_a_hundred_thousand(name: str, tmp_path: Path) -> None:
    """``Message.cheapest`` is what ``encode`` says after it has read the string back; so many readings are compared with it itself."""
    book = load_book(f"examples/{name}/{name}.toml")
    program = compiled(book, tmp_path, name)
    cost, generator = book.cost("seconds"), random.Random(8)
    rows, wanted = [], []
    for number, message in enumerate(book.messages.values()):
        sizes = [field.size for field in message.fields.values()]
        total = 1
        for size in sizes:
            total *= size
        count = min(total, MOST)
        for index in range(count):
            place = index if count == total else generator.randrange(total)
            levels = {}
            for field in message.fields.values():
                place, levels[field.name] = divmod(place, field.size)
            string = message.cheapest(levels, cost)
            rows.append([number, *(number_of(field, levels[field.name]) for field in message.fields.values())])
            wanted.append("-1000" if string is None else string)
    assert said(program, rows) == wanted


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


def test_every_kind_of_field_table_check_and_layout_is_in_the_c(tmp_path: Path) -> None:
    book = parse_book(MANY, "many")
    program = compiled(book, tmp_path, "many")
    rows, wanted = [], []
    for number, message in enumerate(book.messages.values()):
        for row, values in cases(message, 800):
            rows.append([number, *row])
            wanted.append(expected(book, message, values))
    assert said(program, rows) == wanted


def test_nothing_in_the_c_takes_memory_from_a_heap() -> None:
    source = c_files(load_book("examples/race/race.toml")).source
    assert "malloc" not in source
    assert source.count("#include") == 2
