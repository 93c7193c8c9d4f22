"""SRGS 1.0 (W3C Recommendation, 16 March 2004), XML form, with semantic tags (SISR 1.0, 5 April
2007): words in, values out.

The root rule's result has ``message``, ``string`` and ``values``, which has one property for each
field said: a number, a name, or a list of flags; bands are {low, high}. Fields left unsaid as usual
are not in it. Unless checks are enforced, the values are those of a report whose check is still to
be judged.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from grammar.book import Book
from grammar.codes import CodeTable, Numeral
from grammar.errors import CodeError, visible
from grammar.export.network import Network, caution, grouped, of_message
from grammar.fields import FieldBase, plain_value
from grammar.message import Direction, Message

NAMESPACE = "http://www.w3.org/2001/06/grammar"
_MOST_VALUES = 100_000


def srgs(book: Book, direction: Direction | None = None, *, enforced: bool = False) -> str:
    """Return the grammar of a book's messages of a direction (None: of both), with ``enforced`` of
    what their checks allow.

    Raises CodeError where it is too large, a field has too many values to list, or a name can't be
    a property's.
    """
    if "__proto__" in book.fields:
        raise CodeError(
            "a field can't be named __proto__ in the tags",
            kind="name",
            hint="name the field otherwise",
        )
    messages = book.sent_by(direction)
    made = [(message, of_message(message, enforced=enforced)) for message in messages]
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f"<!-- {caution(messages, enforced=enforced)} -->",
        (
            f'<grammar xmlns="{NAMESPACE}" version="1.0" xml:lang="en" mode="voice" root="report"'
            ' tag-format="semantics/1.0">'
        ),
        f'  <meta name="description" content={quoteattr(visible(book.title))}/>',
        f"  <tag>{escape(_script(book, messages))}</tag>",
    ]
    ways = "".join(_start(message.name) for message, _ in made)
    lines.append(f'  <rule id="report" scope="public"><one-of>{ways}</one-of></rule>')
    for message, network in made:
        lines += _rules(book, message, network)
    return "\n".join([*lines, "</grammar>", ""])


def _start(name: str) -> str:
    tag = f"out=rules.latest();out.message={_quoted(name)};delete out.word;"
    return f'<item><ruleref uri="#{name}.0"/><tag>{tag}</tag></item>'


def _rules(book: Book, message: Message, network: Network) -> list[str]:
    name, lines = message.name, []
    for node, arcs in enumerate(network.arcs):
        ways = []
        for target, begins, symbols in grouped(arcs):
            ends = (
                f"{_function(book, message.tables[begins])}(out);"
                if begins >= 0 and message.tables[begins].fields
                else ""
            )
            ends = ends or ("out.word='';" if begins >= 0 else "")
            for symbol in symbols:
                said = escape(book.alphabet.words[symbol].word)
                one = _quoted(symbol)
                tag = (
                    f"out=rules.latest();out.word={one}+out.word;out.string={one}+out.string;{ends}"
                )
                ways.append(
                    f'<item>{said}<ruleref uri="#{name}.{target}"/><tag>{escape(tag)}</tag></item>'
                )
        if network.final[node]:
            ways.append(
                "<item><ruleref"
                ' special="NULL"/><tag>out={word:"",string:"",values:{}};</tag></item>'
            )
        lines.append(f'  <rule id="{name}.{node}"><one-of>{"".join(ways)}</one-of></rule>')
    return lines


def _function(book: Book, table: CodeTable) -> str:
    """Return the name of the function that turns a table's codeword into values, a name for each
    place where it says other fields: of a family, or of a part said again.
    """
    number = list(book.tables).index(table.name)
    if table is book.tables[table.name]:
        return f"t{number}"
    return f"t{number}_{list(book.fields).index(table.fields[0].name)}"


def _quoted(text: str) -> str:
    return json.dumps(text)


def _script(book: Book, messages: Sequence[Message]) -> str:
    """Return the global script: for each table a function that turns the codeword ``word`` into
    values.
    """
    said = {
        _function(book, table): table
        for message in messages
        for table in message.tables
        if table.fields
    }
    parts = []
    for number, table in enumerate(book.tables.values()):
        functions = {name: one for name, one in said.items() if one.name == table.name}
        if functions:
            numeral = table.numeral
            parts.append(_rows(number, table) if numeral is None else _lists(number, table))
            parts += [
                _listed(name, number, one)
                if numeral is None
                else _numbered(name, number, one, numeral)
                for name, one in functions.items()
            ]
    return "".join(parts)


def _rows(number: int, table: CodeTable) -> str:
    """Return the values of a table by codeword."""
    rows = {
        word: [_plain(field, level) for field, level in zip(table.fields, levels, strict=True)]
        for levels, word in table.words()
    }
    return f"var w{number}={_compact(rows)};"


def _listed(function: str, number: int, table: CodeTable) -> str:
    sets = "".join(
        f"o.values[{_quoted(field.name)}]=v[{place}];" for place, field in enumerate(table.fields)
    )
    return f"function {function}(o){{var v=w{number}[o.word];{sets}o.word='';}}"


def _lists(number: int, table: CodeTable) -> str:
    """Return the values of the fields of a table by level."""
    for field in table.fields:
        if field.size > _MOST_VALUES:
            raise CodeError(
                f"{field.size} values of {field.name} are too many to list",
                kind="too-large",
                hint="export another format",
            )
    lists = [[_plain(field, level) for level in range(field.size)] for field in table.fields]
    return f"var v{number}={_compact(lists)};"


def _numbered(function: str, number: int, table: CodeTable, numeral: Numeral) -> str:
    """Return the arithmetic of a table of numbers: digits to number, number to levels, levels to
    values from a list.
    """
    minus = f"if(o.word.charAt(0)=={_quoted(numeral.minus)}){{s=-1;i=1;}}" if numeral.minus else ""
    minus += "else i=1;" if numeral.minus and numeral.plus else "i=1;" if numeral.plus else ""
    sets = "".join(
        f"o.values[{_quoted(field.name)}]=v{number}[{place}][n%{field.size}];n=Math.floor(n/{field.size});"
        for place, field in reversed(list(enumerate(table.fields)))
    )
    return (
        f"function {function}(o){{var n=0,s=1,i=0;{minus}for(;i<o.word.length;i++)"
        f"n=n*{len(numeral.figures)}+{_quoted(numeral.figures)}.indexOf(o.word.charAt(i));"
        f"n=(s*n-({numeral.first}))/{numeral.stride}+{numeral.start};{sets}o.word='';}}"
    )


def _compact(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"))


def _plain(field: FieldBase, level: int) -> Any:
    return plain_value(field.value(level))
