"""The C of fields, code tables and check methods; see ``c``."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from decimal import Decimal

from grammar.codes import CheckRule, CodeTable, Numeral
from grammar.errors import CodeError
from grammar.fields import FieldBase
from grammar.fields.measured import Measured
from grammar.symbols import Alphabet

_MOST_STATES = 5000
_MOST = 2**62
_MOST_FINER = 9  # decimals beyond those of a field


def text(words: str) -> str:
    """Return text that can stand in a C comment."""
    known = words.replace("°", " deg ").replace("…", "...").replace("−", "-")
    plain = "".join(c if " " <= c <= "~" else "?" for c in re.sub(" +", " ", known))
    return (
        plain.replace("\\", "/").replace("*/", "* /").replace("/*", "/ *")
    )  # a backslash could join lines, as ??/ could


def whole(field: FieldBase, number: Decimal) -> int:
    """Return a number of a field in whole units of 10^-decimals; raises CodeError."""
    value = int(number.scaleb(field.decimals or 0))
    if abs(value) > _MOST:
        raise CodeError(
            f"{field.name}: {number} does not fit in 64 bits",
            kind="too-large",
            hint="a coarser step or another unit",
        )
    return value


def field_lines(field: FieldBase) -> list[str]:
    """Return the function ``level_NAME``: a value, in a scale so many times as fine as the header
    tells, to its level, -1 outside the domain.
    """
    return [
        f"/* {text(field.title)}: {text(field.domain)} */",
        f"static int64_t level_{field.name}(int64_t value, int64_t scale)",
        "{",
        *(["    (void)scale;"] if field.decimals is None else []),
        *field.c_level(lambda number: f"(INT64_C({whole(field, number)}) * scale)"),
        "}",
        "",
    ]


def finer(field: FieldBase) -> int:
    """Return how many more decimals than its own a number of a field may have in C: its largest
    number must still fit.
    """
    stated = field.numbers if isinstance(field, Measured) else ()
    numbers = [*(field.number_in(level) for level in (0, field.size - 1)), *stated]
    largest = max(1, *(abs(whole(field, number)) for number in numbers))
    return min(_MOST_FINER, len(str(_MOST // largest)) - 1)


def rounding_lines(field: FieldBase, prefix: str) -> list[str]:
    """Return the function ``PREFIX_round_NAME``: a number of any number of decimals to the value
    that is said for it.
    """
    decimals, steps = field.decimals or 0, field.progression
    if steps is not None:
        first, step = whole(field, steps.first), whole(field, steps.step)
        values = [f"    *value = INT64_C({first}) + INT64_C({step}) * level;"]
    else:
        told = [f"INT64_C({whole(field, field.number_in(level))})" for level in range(field.size)]
        values = [
            "    {",
            f"        static const int64_t values[] = {{{', '.join(told)}}};",
            "        *value = values[level];",
            "    }",
        ]
    most = decimals + finer(field)
    return [
        f"int {prefix}_round_{field.name}(int64_t number, int decimals, int64_t *value)",
        "{",
        "    int64_t scale = 1, level;",
        f"    if (decimals < 0 || decimals > {most}) return -1;",
        f"    for (; decimals > {decimals}; decimals--) scale *= 10;",
        f"    for (; decimals < {decimals}; decimals++) {{",
        "        if (number > INT64_MAX / 10 || number < -(INT64_MAX / 10)) return -1;",
        "        number *= 10;",
        "    }",
        f"    level = level_{field.name}(number, scale);",
        "    if (level < 0) return -1;",
        *values,
        "    return 0;",
        "}",
        "",
    ]


def table_lines(table: CodeTable, alphabet: Alphabet) -> list[str]:
    """Return the function ``word_TABLE``: levels to symbols, -1 where there is no codeword."""
    arguments = ", ".join(f"int64_t l{place}" for place in range(len(table.fields)))
    head = [f"static int word_{table.name}(unsigned char *text, {arguments})", "{"]
    number = "0"
    for place, field in enumerate(table.fields):
        number = f"({number} * INT64_C({field.size}) + l{place})" if place else "l0"
    if table.numeral is not None:
        return [*head, *_numbered(table.numeral, number, alphabet), "}", ""]
    return [*_rows(table, alphabet), *head, *_listed(table, number), "}", ""]


def _numbered(numeral: Numeral, number: str, alphabet: Alphabet) -> list[str]:
    figures = ", ".join(str(alphabet.index[figure]) for figure in numeral.figures)
    lines = [
        f"    static const unsigned char figures[] = {{{figures}}};",
        f"    int64_t number = {number} - INT64_C({numeral.start});",
        f"    if (number < 0 || number >= INT64_C({numeral.size})) return -1;",
        f"    number = INT64_C({numeral.first}) + INT64_C({numeral.stride}) * number;",
    ]
    written = f"written((uint64_t)number, figures, {len(numeral.figures)}, {numeral.width}, text)"
    signed = f"return 1 + {written.replace(', text)', ', text + 1)')};"
    if numeral.first < 0:
        minus = alphabet.index[numeral.minus]
        lines.append(f"    if (number < 0) {{ text[0] = {minus}; number = -number; {signed} }}")
    if numeral.plus:
        return [*lines, f"    text[0] = {alphabet.index[numeral.plus]};", f"    {signed}"]
    return [*lines, f"    return {written};"]


def _rows(table: CodeTable, alphabet: Alphabet) -> list[str]:
    """Return all codewords one after another, and where each begins; a missing one begins where it
    ends.
    """
    starts, data = [0], []
    for levels in itertools.product(*(range(field.size) for field in table.fields)):
        data += [alphabet.index[symbol] for symbol in table.word(levels) or ""]
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


def _listed(table: CodeTable, number: str) -> list[str]:
    return [
        f"    const uint32_t *start = starts_{table.name} + {number};",
        "    const int length = (int)(start[1] - start[0]);",
        "    if (length == 0) return -1;",
        f"    memcpy(text, words_{table.name} + start[0], (size_t)length);",
        "    return length;",
    ]


def check_lines(name: str, rule: CheckRule, alphabet: Alphabet) -> list[str]:
    """Return the function ``check_NAME``: covered symbols to the check symbol, -1 for a symbol the
    method does not cover.

    The method is written as the table of its states, found by walking it.
    """
    method = rule.method
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
                f"check {name} has more than {_MOST_STATES} states",
                kind="too-large",
                hint="fewer weights",
            )
    wanted = [method.wanted(state) for state in waiting]
    closing = [-1 if value is None else alphabet.index[method.checks[value]] for value in wanted]
    values = [rule.value_of.get(symbol, -1) for symbol in alphabet.symbols]
    width = len(method.values)
    return [
        f"static int check_{name}(const unsigned char *covered, int length)",
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
