"""C99 for the dash: one header and one source file, values in, string out, no heap, no library but <stdint.h> and <string.h>.

Values are whole numbers: quantities in units of 10^-d of the field's unit (d is in the header), bands likewise, options by their place,
flags as bits. The string is the cheapest that says them, the same that ``encode`` gives: every way through the layout is tried, and one
that takes less time, then one that is shorter, then the first in the alphabet's order wins. A self-test compares with strings worked out
when the file was made.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from grammar.book import Book
from grammar.codes import Check, Literal
from grammar.codes.base import MOST_WIDTH
from grammar.codes.numbered import Numbered
from grammar.errors import CodeError
from grammar.export.c_tables import check_lines, field_lines, scale_of, table_lines, text
from grammar.fields import FieldBase, Quantity, Wrapped
from grammar.figures import drawn
from grammar.layout import Either, InOrder, Leaf, Maybe, Node
from grammar.message import Message

MOST_WAYS = 256
MOST_WORDS = 400_000  # symbols in listed tables
_TESTS = 16

_HEAD = """/* {title}: made from the code book, do not edit.
 * Reports are shown where the car is straight. Event regulations on radio come first. */
"""

_RUNTIME = r"""
typedef struct { int64_t cost; int length; unsigned char text[MOST_TEXT]; } way_t;

static int64_t price(const unsigned char *text, int length)
{
    int64_t sum = 0;
    int i;
    for (i = 0; i < length; i++) sum += symbol_cost[text[i]];
    return sum;
}

static void consider(way_t *best, const way_t *way)
{
    int i;
    if (best->length >= 0) {
        if (way->cost > best->cost) return;
        if (way->cost == best->cost) {
            if (way->length > best->length) return;
            if (way->length == best->length) {
                for (i = 0; i < way->length && way->text[i] == best->text[i]; i++) { }
                if (i == way->length || way->text[i] > best->text[i]) return;
            }
        }
    }
    *best = *way;
}
"""

_STEPS = r"""/* The number of steps nearest to value/unit: 0 nearest (ties to even), 1 up, 2 down. */
static int64_t steps_of(int64_t value, int64_t unit, int rounding)
{
    int64_t quotient = value / unit, rest = value % unit;
    if (rest < 0) { rest += unit; quotient -= 1; }
    if (rest == 0 || rounding == 2) return quotient;
    if (rounding == 1) return quotient + 1;
    if (rest > unit - rest || (rest == unit - rest && quotient % 2 != 0)) return quotient + 1;
    return quotient;
}
"""

_WRITTEN = r"""/* A number in fixed width, most significant figure first. */
static int written(uint64_t number, const unsigned char *figures, int base, int width, unsigned char *text)
{
    int i;
    for (i = width - 1; i >= 0; i--) { text[i] = figures[number % (uint64_t)base]; number /= (uint64_t)base; }
    return width;
}
"""


@dataclass(frozen=True, slots=True)
class CFiles:
    """The two files, by name."""

    header_name: str
    header: str
    source_name: str
    source: str


def c_files(book: Book, name: str | None = None) -> CFiles:
    """Return the C files of a book; ``name`` begins every name in them, by default the book's.

    Raises CodeError where a table is too large to hold on a dash, or a layout has too many ways.
    """
    prefix = re.sub(r"[^a-z0-9_]", "_", (name or book.name).lower()) or "book"
    prefix = f"book_{prefix}" if prefix[0].isdigit() else prefix
    words = sum(table.size * table.lengths[1] for table in book.tables.values() if not isinstance(table, Numbered | Check))
    if words > MOST_WORDS:
        raise CodeError(f"{words} symbols of listed codewords", kind="too-large", expected=[f"at most {MOST_WORDS}"])
    return CFiles(f"{prefix}.h", _header(book, prefix), f"{prefix}.c", _source(book, prefix))


def _header(book: Book, prefix: str) -> str:
    guard = f"{prefix.upper()}_H"
    lines = [_HEAD.format(title=text(book.title)), f"#ifndef {guard}", f"#define {guard}", "", "#include <stdint.h>", ""]
    for message in book.messages.values():
        upper = f"{prefix}_{message.name}".upper()
        lines += [f"/* {text(message.title)} */", f"#define {upper}_MOST {message.lengths[1]} /* symbols in the longest string */"]
        lines += ["typedef struct {"]
        lines += [f"    int64_t {_name(field)}; /* {_told(field)} */" for field in message.fields.values()]
        if not message.fields:
            lines.append("    char unused;")
        lines += [f"}} {prefix}_{message.name}_values;"]
        lines += [
            "/* Writes the string with its closing 0; returns its length, -1 - n where value n (from 0) is outside its domain,",
            " * -1000 where these values can't be said together. */",
            f"int {prefix}_{message.name}(const {prefix}_{message.name}_values *values, char string[{upper}_MOST + 1]);",
            "",
        ]
    lines += ["/* Returns 0 if every string is as it was when this file was made, else the number of the first that is not. */"]
    lines += [f"int {prefix}_self_test(void);", "", "#endif", ""]
    return "\n".join(lines)


def _name(field: FieldBase) -> str:
    return f"v_{field.name}"


def _told(field: FieldBase) -> str:
    scale = scale_of(field)
    kinds = {"choice": "the option's place from 0: ", "flags": "flags as bits, the first is 1: "}
    unit = (
        f"in units of 10^-{scale}{' ' + field.unit_text if field.unit_text else ''}: "
        if scale is not None
        else kinds.get(field.described, "")
    )
    return text(unit + field.domain)


def _source(book: Book, prefix: str) -> str:
    longest = max(message.lengths[1] for message in book.messages.values())
    symbols = book.alphabet.symbols
    nanoseconds = [round(book.alphabet.words[symbol].seconds * 1e9) for symbol in symbols]
    if book.spec.speech.whole_numbers == "magnitudes":
        nanoseconds = _even(book, nanoseconds)
    lines = [
        _HEAD.format(title=text(book.title)),
        f'#include "{prefix}.h"',
        "#include <string.h>",
        "",
        f"#define MOST_TEXT {longest + MOST_WIDTH}",
        f"static const char symbols[] = {_c_string(symbols)};",
        f"static const int64_t symbol_cost[] = {{{', '.join(map(str, nanoseconds))}}};",
        _RUNTIME,
    ]
    tables = {table.name: table for message in book.messages.values() for table in message.tables if not isinstance(table, Literal)}
    fields = {field.name: field for message in book.messages.values() for field in message.fields.values()}
    lines += [_STEPS] if any(isinstance(field, Quantity | Wrapped) for field in fields.values()) else []
    lines += [_WRITTEN] if any(isinstance(table, Numbered) for table in tables.values()) else []
    for field in fields.values():
        lines += field_lines(field)
    for table in tables.values():
        lines += check_lines(table, book.alphabet) if isinstance(table, Check) else table_lines(table, book.alphabet)
    for message in book.messages.values():
        lines += _message(book, message, prefix)
    lines += _self_test(book, prefix)
    return "\n".join(lines) + "\n"


def _even(book: Book, nanoseconds: list[int]) -> list[int]:
    """Whole hundreds said as such make a codeword's time depend on its table: then ways are compared only where they can't differ in it."""
    for message in book.messages.values():
        if len(list(_ways(message.node))) > 1 and any(table.kind == "digits" for table in message.tables):
            said = [frozenset(leaf for leaf in way if message.tables[leaf].kind == "digits") for way in _ways(message.node)]
            if len(set(said)) > 1:
                raise CodeError(
                    f"message {message.name}: which way is cheapest depends on how whole numbers are said",
                    kind="too-large",
                    hint="set whole_numbers = 'digits' for this export",
                )
    return nanoseconds


def _c_string(string: str) -> str:
    return '"' + string.replace("\\", "\\\\").replace('"', '\\"').replace("?", "\\?") + '"'


def _ways(node: Node) -> Iterator[tuple[int, ...]]:
    """Yield the ways through a layout as the leaves they say."""
    if isinstance(node, Leaf):
        yield (node.number,)
    elif isinstance(node, Maybe):
        yield ()
        yield from _ways(node.part)
    elif isinstance(node, Either):
        for part in node.parts:
            yield from _ways(part)
    else:
        assert isinstance(node, InOrder)  # noqa: S101 - the last kind of node
        for ways in itertools.product(*(list(_ways(part)) for part in node.parts)):
            yield tuple(leaf for way in ways for leaf in way)


def _message(book: Book, message: Message, prefix: str) -> list[str]:
    ways = list(itertools.islice(_ways(message.node), MOST_WAYS + 1))
    if len(ways) > MOST_WAYS:
        raise CodeError(f"message {message.name} has more than {MOST_WAYS} ways through its layout", kind="too-large")
    names, name = list(message.fields), f"{prefix}_{message.name}"
    lines = [
        "",
        f"int {name}(const {name}_values *values, char string[{name.upper()}_MOST + 1])",
        "{",
        f"    int64_t level[{max(1, len(names))}];",
        "    way_t best, way;",
        "    int n, ok;",
        "    best.length = -1;",
        "    (void)values; (void)level; (void)n; (void)ok;",
    ]
    lines += [f"    level[{i}] = level_{one}(values->v_{one});\n    if (level[{i}] < 0) return -1 - {i};" for i, one in enumerate(names)]
    for way in ways:
        lines += _way(book, message, names, way)
    lines += [
        "    if (best.length < 0) return -1000;",
        "    for (n = 0; n < best.length; n++) string[n] = symbols[best.text[n]];",
        "    string[best.length] = 0;",
        "    return best.length;",
        "}",
    ]
    return lines


def _way(book: Book, message: Message, names: Sequence[str], way: tuple[int, ...]) -> list[str]:
    """Return the lines that say one way, if what it leaves unsaid is as usual."""
    plan = message.plan(way)
    said = set(plan.names) | {implied.name for implied in plan.implied}
    if said != set(names):
        return []
    lines = ["    way.length = 0; ok = 1;"]
    lines += [f"    if (level[{names.index(implied.name)}] != {implied.level}) ok = 0;" for implied in plan.implied]
    for leaf in way:
        table = message.tables[leaf]
        if isinstance(table, Check):
            lines += _check(leaf, [n for n in way if n in message.covered(leaf)], table)
        elif table.fields:
            arguments = ", ".join(f"level[{names.index(field.name)}]" for field in table.fields)
            lines.append(f"    if (ok) {{ n = word_{table.name}(way.text + way.length, {arguments}); if (n < 0) ok = 0; else {{")
            lines.append(f"        at_{leaf} = way.length; way.length += n; size_{leaf} = n; }} }}")
        elif isinstance(table, Literal):
            lines.append(f"    if (ok) {{ at_{leaf} = way.length; size_{leaf} = {len(table.literal)};")
            lines += [f"        way.text[way.length++] = {book.alphabet.index[symbol]};" for symbol in table.literal]
            lines.append("    }")
    lines.append("    if (ok) { way.cost = price(way.text, way.length); consider(&best, &way); }")
    places = "".join(f" int at_{leaf} = 0, size_{leaf} = 0; (void)at_{leaf}; (void)size_{leaf};" for leaf in way)
    return [f"    {{{places}", *(f"    {line}" for line in lines), "    }"]


def _check(leaf: int, covered: Sequence[int], table: Check) -> list[str]:
    pieces = [f"        memcpy(covered + length, way.text + at_{n}, (size_t)size_{n}); length += size_{n};" for n in covered if n != leaf]
    return [
        f"    if (ok) {{ unsigned char covered[MOST_TEXT]; int length = 0, wanted; at_{leaf} = way.length; size_{leaf} = 1;",
        *pieces,
        f"        wanted = check_{table.name}(covered, length);",
        "        if (wanted < 0) ok = 0; else way.text[way.length++] = (unsigned char)wanted; }",
    ]


def _self_test(book: Book, prefix: str) -> list[str]:
    lines = ["", f"int {prefix}_self_test(void)", "{", "    int number = 0;"]
    for message in book.messages.values():
        upper = f"{prefix}_{message.name}".upper()
        lines += [f"    {{ {prefix}_{message.name}_values values; char string[{upper}_MOST + 1];", "    memset(&values, 0, sizeof values);"]
        for report in drawn(book, message, _TESTS, 7):
            fields = [message.fields[name] for name in report.levels]
            sets = " ".join(f"values.{_name(field)} = {number_of(field, report.levels[field.name])};" for field in fields)
            call = f"{prefix}_{message.name}(&values, string)"
            lines.append(f"    number++; {sets}")
            lines.append(f"    if ({call} != {len(report.string)} || strcmp(string, {_c_string(report.string)}) != 0) return number;")
        lines.append("    }")
    return [*lines, "    return 0;", "}"]


def number_of(field: FieldBase, level: int, value: Decimal | None = None) -> int:
    """Return the whole number that stands for a value (or a level's own) in the C files."""
    from grammar.export.c_tables import inside

    scale = scale_of(field)
    if scale is None:
        return level
    return int((inside(field, level) if value is None else value).scaleb(scale))
