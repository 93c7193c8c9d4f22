"""The C of fields, code tables and check methods; see ``c``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from grammar.codes import Check, CodeTable
from grammar.codes.listed import Listed
from grammar.codes.numbered import Numbered
from grammar.errors import CodeError
from grammar.fields import Bands, FieldBase, Quantity, Wrapped
from grammar.symbols import Alphabet

_ROUNDING = {"nearest": 0, "up": 1, "down": 2}
_MOST_STATES = 5000
_MOST = 2**62


def text(words: str) -> str:
    """Return text that can stand in a C comment."""
    known = words.replace("°", " deg ").replace("…", "...").replace("−", "-")
    plain = "".join(c if " " <= c <= "~" else "?" for c in re.sub(" +", " ", known))
    return (
        plain.replace("\\", "/").replace("*/", "* /").replace("/*", "/ *")
    )  # a backslash could join lines, as ??/ could


def scale_of(field: FieldBase) -> int | None:
    """Return how many decimals a field's numbers need in whole units; None for fields that are no
    numbers.
    """
    if isinstance(field, Quantity):
        known = [field.low, field.high, field.step]
    elif isinstance(field, Wrapped):
        known = [field.modulus, field.step]
    elif isinstance(field, Bands):
        known = [*field.edges, *(end for end in (field.low, field.high) if end is not None)]
    else:
        return None
    return max(0, *(-int(number.normalize().as_tuple().exponent) for number in known))


def _whole(field: FieldBase, number: Decimal) -> int:
    value = int(number.scaleb(scale_of(field) or 0))
    if abs(value) > _MOST:
        raise CodeError(
            f"{field.name}: {number} does not fit in 64 bits",
            kind="too-large",
            hint="a coarser step or another unit",
        )
    return value


def inside(field: FieldBase, level: int) -> Decimal:
    """Return a number that belongs to a level."""
    value = field.value(level)
    if isinstance(value, Decimal):
        return value
    assert isinstance(field, Bands)  # noqa: S101 - the only other field of numbers
    if field.edge_in == "upper":
        unit = Decimal(1).scaleb(-(scale_of(field) or 0))
        return field.edges[level - 1] if level else field.edges[0] - unit
    unit = Decimal(1).scaleb(-(scale_of(field) or 0))
    return field.edges[level] if level < len(field.edges) else field.edges[-1] + unit


def field_lines(field: FieldBase) -> list[str]:
    """Return the function ``level_NAME``: a value to its level, -1 outside the domain."""
    head = [f"static int64_t level_{field.name}(int64_t value)", "{"]
    if isinstance(field, Quantity):
        low, high, step = (_whole(field, number) for number in (field.low, field.high, field.step))
        below = "0" if field.open in ("low", "both") else "-1"
        above = str(field.size - 1) if field.open in ("high", "both") else "-1"
        body = [
            f"    if (value < INT64_C({low})) return {below};",
            f"    if (value > INT64_C({high})) return {above};",
            (
                f"    return steps_of(value - INT64_C({low}), INT64_C({step}),"
                f" {_ROUNDING[field.rounding]});"
            ),
        ]
    elif isinstance(field, Wrapped):
        step = _whole(field, field.step)
        body = [
            f"    int64_t count = steps_of(value, INT64_C({step}), 0) % INT64_C({field.size});",
            "    return count < 0 ? count + ",
        ]
        body[-1] += f"INT64_C({field.size}) : count;"
    elif isinstance(field, Bands):
        edges = ", ".join(f"INT64_C({_whole(field, edge)})" for edge in field.edges)
        beyond = (
            [f"    if (value < INT64_C({_whole(field, field.low)})) return -1;"]
            if field.low is not None
            else []
        )
        beyond += (
            [f"    if (value > INT64_C({_whole(field, field.high)})) return -1;"]
            if field.high is not None
            else []
        )
        compare = ">=" if field.edge_in == "upper" else ">"
        body = [
            f"    static const int64_t edges[] = {{{edges}}};",
            "    int64_t level = 0;",
            *beyond,
            f"    while (level < {len(field.edges)} && value {compare} edges[level]) level++;",
            "    return level;",
        ]
    else:
        body = [f"    return value >= 0 && value < INT64_C({field.size}) ? value : -1;"]
    return [f"/* {text(field.title)}: {text(field.domain)} */", *head, *body, "}", ""]


def table_lines(table: CodeTable, alphabet: Alphabet) -> list[str]:
    """Return the function ``word_TABLE``: levels to symbols, -1 where there is no codeword."""
    arguments = ", ".join(f"int64_t l{place}" for place in range(len(table.fields)))
    head = [f"static int word_{table.name}(unsigned char *text, {arguments})", "{"]
    number = "0"
    for place, field in enumerate(table.fields):
        number = f"({number} * INT64_C({field.size}) + l{place})" if place else "l0"
    if isinstance(table, Numbered):
        return [*head, *_numbered(table, number, alphabet), "}", ""]
    assert isinstance(table, Listed)  # noqa: S101 - literals and checks are written elsewhere
    return [*_rows(table, alphabet), *head, *_listed(table, number), "}", ""]


def _numbered(table: Numbered, number: str, alphabet: Alphabet) -> list[str]:
    figures = ", ".join(str(alphabet.index[figure]) for figure in table.figures)
    minus = alphabet.index[table.minus] if table.minus else 0
    lines = [
        f"    static const unsigned char figures[] = {{{figures}}};",
        f"    int64_t number = {number} - INT64_C({table.start});",
        f"    if (number < 0 || number >= INT64_C({table.size})) return -1;",
        f"    number = INT64_C({table.first}) + INT64_C({table.stride}) * number;",
    ]
    written = f"written((uint64_t)number, figures, {len(table.figures)}, {table.width}, text)"
    if table.first < 0:
        lines.append(
            f"    if (number < 0) {{ text[0] = {minus}; number = -number; return 1 +"
            f" {written.replace(', text)', ', text + 1)')}; }}"
        )
    return [*lines, f"    return {written};"]


def _rows(table: Listed, alphabet: Alphabet) -> list[str]:
    """Return all codewords one after another, and where each begins; a missing one begins where it
    ends.
    """
    size = 1
    for field in table.fields:
        size *= field.size
    starts, data = [0], []
    for number in range(size):
        data += [alphabet.index[symbol] for symbol in table.by_level.get(number, "")]
        starts.append(len(data))
    return [
        f"static const unsigned char words_{table.name}[] = {{",
        *_lines(data),
        "};",
        f"static const uint32_t starts_{table.name}[] = {{",
        *_lines(starts),
        "};",
    ]


def _lines(numbers: Sequence[int], each: int = 24) -> list[str]:
    return [
        "    " + ", ".join(map(str, numbers[place : place + each])) + ","
        for place in range(0, len(numbers), each)
    ]


def _listed(table: Listed, number: str) -> list[str]:
    return [
        f"    const uint32_t *start = starts_{table.name} + {number};",
        "    const int length = (int)(start[1] - start[0]);",
        "    if (length == 0) return -1;",
        f"    memcpy(text, words_{table.name} + start[0], (size_t)length);",
        "    return length;",
    ]


def check_lines(table: Check, alphabet: Alphabet) -> list[str]:
    """Return the function ``check_TABLE``: covered symbols to the check symbol, -1 for a symbol the
    method does not cover.

    The method is written as the table of its states, found by walking it.
    """
    method = table.method
    states = {start: place for place, start in enumerate(method.starts())}
    starts = len(states)
    waiting = list(states)
    steps: list[int] = []
    for state in waiting:
        for value in range(len(method.values)):
            after = method.step(state, value)
            if after not in states:
                states[after] = len(states)
                waiting.append(after)
            steps.append(states[after])
        if len(states) > _MOST_STATES:
            raise CodeError(
                f"check {table.name} has more than {_MOST_STATES} states",
                kind="too-large",
                hint="fewer weights",
            )
    wanted = [method.wanted(state) for state in waiting]
    closing = [-1 if value is None else alphabet.index[method.checks[value]] for value in wanted]
    values = [table.value_of.get(symbol, -1) for symbol in alphabet.symbols]
    width = len(method.values)
    return [
        f"static int check_{table.name}(const unsigned char *covered, int length)",
        "{",
        f"    static const int8_t values[] = {{{', '.join(map(str, values))}}};",
        "    static const uint16_t after[] = {",
        *_lines(steps),
        "    };",
        "    static const int16_t closing[] = {",
        *_lines(closing),
        "    };",
        "    int start, i;",
        f"    for (start = 0; start < {starts}; start++) {{",
        "        int state = start;",
        "        for (i = 0; i < length; i++) {",
        "            if (values[covered[i]] < 0) return -1;",
        f"            state = after[state * {width} + values[covered[i]]];",
        "        }",
        "        if (closing[state] >= 0) return closing[state];",
        "    }",
        "    return -1;",
        "}",
        "",
    ]
