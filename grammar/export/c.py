"""C99 for the dash: one header and one source file, values in, string out, no heap, no library but
<stdint.h> and <string.h>.

Values are whole numbers: quantities in units of 10^-d of the field's unit (d is in the header),
bands likewise, options by their place, flags as bits; a field that is not given has the value
UNSAID. The string is the cheapest that says them, the same that ``encode`` gives: every way through
the layout is tried, and one that takes less time, then one that is shorter, then the first in the
alphabet's order wins. A self-test compares with strings worked out when the file was made.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from grammar.book import Book
from grammar.codes.base import MOST_WIDTH
from grammar.errors import CodeError
from grammar.export.c_fixed import CHEAPEST, STEPS, WRITTEN
from grammar.export.c_messages import MOST_WAYS, message_lines, ways
from grammar.export.c_tables import (
    check_lines,
    field_lines,
    finer,
    rounding_lines,
    table_lines,
    text,
    whole,
)
from grammar.fields import FieldBase
from grammar.figures import drawn
from grammar.message import Direction, Message

MOST_WORDS = 400_000  # symbols in listed tables
_TESTS = 16
_TAKEN = {
    "check",
    "int64",
    "level",
    "starts",
    "symbol",
    "uint32",
    "uint64",
    "way",
    "word",
    "words",
}  # beginnings of names in the source

_HEAD = """/* {title}: made from the code book, do not edit.
 * Reports are shown where the car is straight. Event regulations on radio come first. */
"""


@dataclass(frozen=True, slots=True)
class CFiles:
    """The two files, by name."""

    header_name: str
    header: str
    source_name: str
    source: str


def c_files(book: Book, name: str | None = None, *, direction: Direction | None = None) -> CFiles:
    """Return the C files of a book's messages of a direction (None: of both); ``name`` begins every
    name in them, by default the book's.

    Raises CodeError where a table is too large to hold on a dash, a layout has too many ways, or
    names would be alike in C.
    """
    prefix = re.sub(r"[^a-z0-9_]", "_", (name or book.name).lower()) or "book"
    prefix = f"book_{prefix}" if prefix[0].isdigit() or prefix.split("_")[0] in _TAKEN else prefix
    messages = book.sent_by(direction)
    tables = {
        table.name: table
        for message in messages
        for table in message.tables
        if table.literal is None
    }
    words = sum(
        table.size * table.lengths[1]
        for table in tables.values()
        if table.numeral is None and table.check is None
    )
    if words > MOST_WORDS:
        raise CodeError(
            f"{words} symbols of listed codewords",
            kind="too-large",
            expected=[f"at most {MOST_WORDS}"],
        )
    _refuse_alike(messages)
    for message in messages if book.rules.whole_numbers == "magnitudes" else ():
        _refuse_magnitudes(message)
    return CFiles(
        f"{prefix}.h",
        _header(book, messages, prefix),
        f"{prefix}.c",
        _source(book, messages, prefix),
    )


def _refuse_alike(messages: Sequence[Message]) -> None:
    """Macros are in capitals, and a message's values have a name of their own: two messages must
    not become one.
    """
    taken = {"SELF_TEST": "the self-test"} | {
        f"ROUND_{name}".upper(): f"the rounding of {name}"
        for message in messages
        for name in message.fields
    }
    for message in messages:
        for name in (message.name.upper(), f"{message.name}_values".upper()):
            if name in taken:
                raise CodeError(
                    f"message {message.name} would have the same name in C as {taken[name]}",
                    kind="name",
                    hint="name the message otherwise",
                )
            taken[name] = f"message {message.name}"


def _refuse_magnitudes(message: Message) -> None:
    """Refuse a message where the time of whole hundreds, which a table of symbol times does not
    hold, may decide which way is cheapest.
    """
    if message.ways > MOST_WAYS:
        return  # refused for that
    said = {
        frozenset(leaf for leaf in way if message.tables[leaf].decimal)
        for way in ways(message.node)
    }
    if len(said) > 1:
        raise CodeError(
            f"message {message.name}: which way is cheapest depends on how whole numbers are said",
            kind="too-large",
            hint="set whole_numbers = 'digits' for this export",
        )


def _header(book: Book, messages: Sequence[Message], prefix: str) -> str:
    guard = f"{prefix.upper()}_H"
    lines = [
        _HEAD.format(title=text(book.title)),
        f"#ifndef {guard}",
        f"#define {guard}",
        "",
        "#include <stdint.h>",
        "",
    ]
    lines += ["/* The value of a field not to be said: optional, or of another alternative. */"]
    lines += [f"#define {prefix.upper()}_UNSAID INT64_MIN", ""]
    for message in messages:
        upper = f"{prefix}_{message.name}".upper()
        lines += [
            f"/* {text(message.title)} */",
            f"#define {upper}_MOST {message.lengths[1]} /* symbols in the longest string */",
        ]
        lines += ["typedef struct {"]
        lines += [
            f"    int64_t {_name(field)}; /* {_told(field)} */" for field in message.fields.values()
        ]
        if not message.fields:
            lines.append("    char unused;")
        lines += [f"}} {prefix}_{message.name}_values;"]
        lines += [
            (
                "/* Writes the string with its closing 0; returns its length, -1 - n where value n"
                " (from 0) is outside its domain,"
            ),
            " * -1000 where these values can't be said together. */",
            (
                f"int {prefix}_{message.name}(const {prefix}_{message.name}_values *values, char"
                f" string[{upper}_MOST + 1]);"
            ),
            "",
        ]
    lines += _roundings(messages, prefix)
    lines += [
        (
            "/* Returns 0 if every string is as it was when this file was made, else the number of"
            " the first that is not. */"
        )
    ]
    lines += [f"int {prefix}_self_test(void);", "", "#endif", ""]
    return "\n".join(lines)


def _measured(messages: Sequence[Message]) -> list[FieldBase]:
    """Return the fields that are numbers, each once."""
    fields = {name: one for message in messages for name, one in message.fields.items()}
    return [one for one in fields.values() if one.decimals is not None]


def _roundings(messages: Sequence[Message], prefix: str) -> list[str]:
    measured = _measured(messages)
    if not measured:
        return []
    lines = [
        "/* What is said for a number of any number of decimals, as the book rounds it: 603 with 1",
        " * decimal is 60.3. Whole numbers only, no floating point. Writes a value to put into the",
        " * values above and returns 0; returns -1 for what lies outside the domain, has more",
        " * decimals than told, or does not fit into 64 bits: then there is nothing to say. */",
    ]
    for field in measured:
        told = text(field.rounded_in_words)
        most = (field.decimals or 0) + finer(field)
        lines += [
            f"/* {told}; up to {most} decimals */",
            f"int {prefix}_round_{field.name}(int64_t number, int decimals, int64_t *value);",
        ]
    return [*lines, ""]


def _name(field: FieldBase) -> str:
    return f"v_{field.name}"


def _told(field: FieldBase) -> str:
    scale = field.decimals
    if scale is None:
        unit = field.numbering
    elif scale:
        unit = f"in units of {Decimal(1).scaleb(-scale):f} {field.unit_text}"
    else:
        unit = f"in {field.unit_text}" if field.unit_text else "a whole number"
    return text(": ".join(part for part in (unit.strip(), field.domain) if part))


def _source(book: Book, messages: Sequence[Message], prefix: str) -> str:
    longest = max(message.lengths[1] for message in messages)
    symbols = book.alphabet.symbols
    nanoseconds = [round(book.alphabet.words[symbol].seconds * 1e9) for symbol in symbols]
    lines = [
        _HEAD.format(title=text(book.title)),
        f'#include "{prefix}.h"',
        "#include <string.h>",
        "",
        f"#define MOST_TEXT {longest + MOST_WIDTH}",
        f"static const char symbols[] = {_c_string(symbols)};",
        f"static const int64_t symbol_cost[] = {{{', '.join(map(str, nanoseconds))}}};",
        CHEAPEST,
    ]
    tables = {
        table.name: table
        for message in messages
        for table in message.tables
        if table.literal is None
    }
    fields = {field.name: field for message in messages for field in message.fields.values()}
    levels = [line for field in fields.values() for line in field_lines(field)]
    lines += [STEPS] if any("steps_of(" in line for line in levels) else []
    lines += [WRITTEN] if any(table.numeral for table in tables.values()) else []
    lines += levels
    for field in _measured(messages):
        lines += rounding_lines(field, prefix)
    for table in tables.values():
        lines += (
            table_lines(table, book.alphabet)
            if table.check is None
            else check_lines(table.name, table.check, book.alphabet)
        )
    for message in messages:
        lines += message_lines(book, message, prefix)
    lines += _self_test(book, messages, prefix)
    return "\n".join(lines) + "\n"


def _c_string(string: str) -> str:
    return '"' + string.replace("\\", "\\\\").replace('"', '\\"').replace("?", "\\?") + '"'


def _self_test(book: Book, messages: Sequence[Message], prefix: str) -> list[str]:
    lines = ["", f"int {prefix}_self_test(void)", "{", "    int number = 0;"]
    for message in messages:
        upper = f"{prefix}_{message.name}".upper()
        lines += [f"    {{ {prefix}_{message.name}_values values; char string[{upper}_MOST + 1];"]
        lines.append("    (void)values; (void)string;")
        for report in drawn(book, message, _TESTS, 7):
            unsaid = f"{prefix.upper()}_UNSAID"
            given = {
                name: number_of(message.fields[name], level)
                for name, level in report.levels.items()
            }
            sets = " ".join(
                f"values.{_name(field)} = {given.get(name, unsaid)};"
                for name, field in message.fields.items()
            )
            call = f"{prefix}_{message.name}(&values, string)"
            lines.append(f"    number++; {sets}")
            lines.append(
                f"    if ({call} != {len(report.string)} || strcmp(string,"
                f" {_c_string(report.string)}) != 0) return number;"
            )
        lines.append("    }")
    return [*lines, "    return 0;", "}"]


def number_of(field: FieldBase, level: int) -> int:
    """Return the whole number that stands for a level's value in the C files."""
    return whole(field, field.number_in(level))
