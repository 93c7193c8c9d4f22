"""Compiles the C of a book with every warning an error and the sanitisers on, and asks it for
strings, many at once.
"""

from __future__ import annotations

import itertools
import math
import random
import subprocess
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from pathlib import Path

from programs import program

from codec import Book, CodeError, encode
from grammar.export.c import c_files, number_of
from grammar.export.c_tables import finer
from grammar.fields import FieldBase
from grammar.message import Message

FLAGS = [
    "-std=c99",
    "-Wall",
    "-Wextra",
    "-Wpedantic",
    "-Werror",
    "-fsanitize=address,undefined",
    "-fno-sanitize-recover=all",
]
UNSAID = -(2**63)
EVERY = 100_000  # readings of a message that are all compared

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


def compiled(book: Book, folder: Path, name: str, level: str = "-O1") -> Path:
    files = c_files(book, name)
    (folder / files.header_name).write_text(files.header, "utf-8")
    (folder / files.source_name).write_text(files.source, "utf-8")
    branches = []
    for number, message in enumerate(book.messages.values()):
        reads = "\n            ".join(
            f'if (scanf("%lld", &x) != 1) return 8;\n            v.v_{field} = x;'
            for field in message.fields
        )
        facts = {
            "name": name,
            "upper": name.upper(),
            "message": message.name,
            "big": message.name.upper(),
        }
        branches.append(BRANCH.format(number=number, reads=reads, **facts))
    (folder / "main.c").write_text(MAIN.format(name=name, branches="\n".join(branches)), "utf-8")
    built = folder / name
    subprocess.run(
        [
            program("gcc"),
            *FLAGS,
            level,
            str(folder / files.source_name),
            str(folder / "main.c"),
            "-o",
            str(built),
        ],
        check=True,
    )
    return built


ROUNDING = """#include "{name}.h"
#include <stdio.h>
int main(void)
{{
    int which, decimals; long long number; int64_t value;
    while (scanf("%d %lld %d", &which, &number, &decimals) == 3) {{
        int result = -2;
{branches}
        if (result < 0) printf("%d\\n", result); else printf("%lld\\n", (long long)value);
    }}
    return 0;
}}
"""
ENDS = [0, 1, -1, 2**62, -(2**62), 2**63 - 1, -(2**63), 10**18, -(10**18)]


def rounding(book: Book, folder: Path, name: str) -> Path:
    """Return a program that rounds numbers of a book's fields by the book's C."""
    files = c_files(book, name)
    (folder / files.header_name).write_text(files.header, "utf-8")
    (folder / files.source_name).write_text(files.source, "utf-8")
    branches = "\n".join(
        f"        if (which == {place}) result = {name}_round_{one.name}(number, decimals, &value);"
        for place, one in enumerate(numbers_of(book))
    )
    (folder / "round.c").write_text(ROUNDING.format(name=name, branches=branches), "utf-8")
    built = folder / "round"
    sources = [str(folder / files.source_name), str(folder / "round.c")]
    subprocess.run([program("gcc"), *FLAGS, "-O1", *sources, "-o", str(built)], check=True)
    return built


def numbers_of(book: Book) -> list[FieldBase]:
    """Return the fields of a book's messages that are numbers."""
    said = {name: one for message in book.messages.values() for name, one in message.fields.items()}
    return [one for one in said.values() if one.decimals is not None]


def roundings(book: Book, count: int, seed: int = 4) -> Iterator[tuple[list[int], str]]:
    """Yield (place of a field, number, decimals), most of them finer than the field's steps, and
    what is expected: by Python's exact decimals, -1 for what the header says is refused.
    """
    generator = random.Random(seed)
    for place, field in enumerate(numbers_of(book)):
        own = field.decimals or 0
        most = own + finer(field)
        for _ in range(count):
            decimals = generator.choice([own, own + 1, own + 1, own + 2, generator.randint(-1, 13)])
            near = field.number_in(generator.randrange(field.size)).scaleb(max(0, decimals))
            number = int(near) + generator.randint(-30, 30)
            if generator.random() < 0.1:
                number = generator.choice(ENDS) or generator.randint(-(2**63), 2**63 - 1)
            if not -(2**63) <= number < 2**63:
                continue
            yield [place, number, decimals], _rounded(field, number, decimals, own, most)


def _rounded(field: FieldBase, number: int, decimals: int, own: int, most: int) -> str:
    coarser = 10 ** max(0, own - decimals)
    if not 0 <= decimals <= most or (coarser > 1 and abs(number) > (2**63 - 1) // coarser):
        return "-1"
    try:
        return str(number_of(field, field.level(Decimal(number).scaleb(-decimals)).level))
    except CodeError:
        return "-1"


def said(program: Path, rows: list[list[int]]) -> list[str]:
    text = "\n".join(" ".join(map(str, row)) for row in rows)
    return subprocess.run(
        [str(program)], input=text, capture_output=True, text=True, check=True
    ).stdout.split()


Case = tuple[
    list[int], dict[str, object]
]  # the values of a message as C takes them, and as ``encode`` does


def given(field: FieldBase, generator: random.Random, *, wild: bool) -> tuple[int, object]:
    """Return a value: between levels as well, and with ``wild`` outside the domain."""
    scale, level = field.decimals, generator.randrange(field.size)
    if scale is None:
        if wild and generator.randrange(2):
            return generator.choice([-1, field.size, 2**40]), "no such option"
        return level, field.value(level)
    number = number_of(field, level) + (
        generator.randrange(-3, 4)
        if not wild
        else generator.choice([-1, 1]) * generator.randrange(10**6)
    )
    return number, Decimal(number).scaleb(-scale)


def cases(message: Message, count: int, *, unsaid: float = 0) -> Iterator[Case]:
    """Yield seeded values of a message, one in ten outside the domain; a share of them is not
    given.
    """
    generator = random.Random(3)
    for case in range(count):
        pairs = {
            name: given(field, generator, wild=case % 10 == 0)
            for name, field in message.fields.items()
        }
        left = {name for name in pairs if generator.random() < unsaid}
        numbers = [UNSAID if name in left else number for name, (number, _) in pairs.items()]
        yield numbers, {name: value for name, (_, value) in pairs.items() if name not in left}


def readings_of(message: Message, most: int, every: int = EVERY) -> Iterator[Case]:
    """Yield all values of the fields together where there are at most ``every``, else ``most``
    drawn from those that can be said.
    """
    fields, generator = message.fields, random.Random(8)
    if math.prod(field.size for field in fields.values()) <= every:
        together: Iterable[tuple[int, ...]] = itertools.product(
            *(range(field.size) for field in fields.values())
        )
    else:
        levels = [sayable(message, field) for field in fields.values()]
        together = (tuple(generator.choice(each) for each in levels) for _ in range(most))
    for chosen in together:
        pairs = list(zip(fields.values(), chosen, strict=True))
        yield (
            [number_of(field, level) for field, level in pairs],
            {field.name: field.value(level) for field, level in pairs},
        )


def sayable(message: Message, field: FieldBase) -> Sequence[int]:
    """Return the levels of a field that a table of it alone has a codeword for, or that may be left
    unsaid as usual; else all.
    """
    alone = [table for table in message.tables if table.fields == (field,)]
    said_alone = {level for table in alone for (level,), _ in table.words()}
    usual = {field.usual_level} if field.usual_level is not None else set()
    return sorted(said_alone | usual) if alone else range(field.size)


def answers(
    book: Book, built: Path, made: Callable[[Message], Iterable[Case]]
) -> tuple[list[str], list[str]]:
    """Return what the compiled C of a book says to the values made for each of its messages, and
    what is expected.
    """
    rows, wanted = [], []
    for number, message in enumerate(book.messages.values()):
        for row, values in made(message):
            rows.append([number, *row])
            wanted.append(expected(book, message, values))
    return said(built, rows), wanted


def expected(book: Book, message: Message, values: Mapping[str, object]) -> str:
    """Return the string of ``encode``, or the number by which the C refuses what it refuses."""
    for place, name in enumerate(message.fields):
        try:
            if name in values:
                book.fields[name].level(values[name])
        except CodeError:
            return str(-1 - place)
    try:
        return encode(book, values, message.name).string
    except CodeError as error:
        if error.kind not in ("no-codeword", "no-layout", "missing-field"):
            raise
        return "-1000"
