"""The report grammar: a book's layouts as one Lark grammar, generated.

``grammar_text`` is complete in itself: loaded by plain Lark it reads reports word by word (each
terminal is a whole word). ``parser`` reads strings of symbols with the same rules: LALR where the
grammar has no conflict, else Earley keeping every ambiguity. What arithmetic decides (a number's
range, a check symbol) is not in the grammar; ``matches`` holds each tree against the tables.

Nothing of a book enters the grammar unescaped: rule and terminal names are made of the letters,
digits and underscores of names that the loader has checked, and words stand in regular expressions
with every special character escaped.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from grammar.codes import CodeTable, Numeral
from grammar.layout import Leaf, bottom_up
from grammar.message import Direction, Match, Message
from grammar.speech.kinds import ONE_SYMBOL

if TYPE_CHECKING:
    from lark import Lark

    from grammar.book import Book

_HEADER = """// {title}: the reports of this book, generated; do not edit.
// Ranges of numbers and check symbols are not in the grammar: what it accepts must still be held against the book.
// Terminals are whole words, parted by white space.
"""


class _Names:
    """Names for rules and terminals: the book's own where Lark allows them, numbered where two
    would be alike.
    """

    def __init__(self, book: Book) -> None:
        self.used: set[str] = set()
        self.terminals = {
            s: self.free(re.sub(r"[^A-Z]", "", entry.word.upper()) or "SYMBOL")
            for s, entry in book.alphabet.words.items()
        }
        self.tables = {name: self.free(f"table_{name.lower()}") for name in book.tables}
        self.messages = {name: self.free(f"message_{name.lower()}") for name in book.messages}

    def free(self, name: str) -> str:
        candidate, number = name, 2
        while candidate in self.used:
            candidate, number = f"{name}_{number}", number + 1
        self.used.add(candidate)
        return candidate


class _Rules:
    """The rules of a book's grammar, and which rule stands for which leaf."""

    def __init__(self, book: Book) -> None:
        self.book, self.names = book, _Names(book)
        self.lines: list[str] = []
        self.leaves: dict[str, tuple[Message, int]] = {}
        self.classes: dict[str, str] = {}
        for direction in book.directions:
            members = " | ".join(self.names.messages[m.name] for m in book.sent_by(direction))
            self.lines.append(f"{direction}: {members}")
        for message in book.messages.values():
            body = self._layout(message)
            self.lines.append(f"{self.names.messages[message.name]}: {body}")
        for name, table in book.tables.items():
            self.lines.append(f"{self.names.tables[name]}: {self._table(table)}")
        self.lines.extend(
            f"{name}: {' | '.join(self.names.terminals[s] for s in symbols)}"
            for symbols, name in self.classes.items()
        )

    def _layout(self, message: Message) -> str:
        return bottom_up(
            message.node,
            lambda leaf: self._leaf(message, leaf),
            " ".join,
            lambda part: f"({part})?",
            lambda parts: f"({' | '.join(parts)})",
            lambda parts: self._repetition(message, parts),
        )

    def _repetition(self, message: Message, parts: Sequence[str]) -> str:
        """Add a rule for one time of a part said again: written out in one rule, their lengths
        would be multiplied by those of the parts after them.
        """
        rule = self.names.free(f"{self.names.messages[message.name]}_again")
        self.lines.append(f"{rule}: {' '.join(parts)}")
        return rule

    def _leaf(self, message: Message, leaf: Leaf) -> str:
        rule = self.names.free(f"{self.names.messages[message.name]}_{leaf.number + 1}")
        self.leaves[rule] = (message, leaf.number)
        table = message.tables[leaf.number]
        said = self.names.tables[leaf.name] if table.literal is None else self._table(table)
        self.lines.append(f"{rule}: {said}")
        return rule

    def _table(self, table: CodeTable) -> str:
        if table.numeral is not None:
            runs = [
                self._places(table.numeral, sign)
                for sign in dict.fromkeys(sign for sign, _, _ in table.numeral.runs())
            ]
            return " | ".join(runs)
        if table.check is not None:
            return self._class(table.check.method.checks)
        return " | ".join(
            " ".join(self.names.terminals[symbol] for symbol in word) for _, word in table.words()
        )

    def _places(self, numeral: Numeral, sign: str) -> str:
        figures = self._class(numeral.figures)
        return " ".join(
            [*(self.names.terminals[symbol] for symbol in sign), *[figures] * numeral.width]
        )

    def _class(self, symbols: str) -> str:
        if len(symbols) == 1:
            return self.names.terminals[symbols]
        if symbols not in self.classes:
            self.classes[symbols] = self.names.free(f"_one_of_{len(symbols)}")
        return self.classes[symbols]


def grammar_text(book: Book) -> str:
    """Return the whole grammar: rules, and terminals that match the words of the book.

    Start rules: ``car``, ``pit``.
    """
    rules = _Rules(book)
    spoken: dict[str, list[str]] = {symbol: [] for symbol in book.alphabet.symbols}
    for form, meaning in book.lexicon.meanings.items():
        if meaning.kind in ONE_SYMBOL and len(meaning.options) == 1:
            spoken[meaning.options[0]].append(form)
    lines = [_HEADER.format(title=re.sub(r"[^ -~]", " ", book.title))]
    lines += rules.lines
    for symbol, name in rules.names.terminals.items():
        forms = sorted(spoken[symbol], key=lambda form: (-len(form), form))
        words = "|".join(r"[ -]".join(_escaped(part) for part in form.split(" ")) for form in forms)
        lines.append(f"{name}: /(?:{words})(?!\\S)/i")
    lines += [r"%ignore /\s+/", ""]
    return "\n".join(lines)


def _escaped(text: str) -> str:
    """Escape text for a regular expression between slashes.

    Lark turns code point escapes into their characters before the expression is read, so those
    protect letters of other scripts from the reader of the grammar only; signs need a backslash,
    which it keeps.
    """
    return "".join(_escaped_character(character) for character in text)


def _escaped_character(character: str) -> str:
    if character.isascii():
        return character if character.isalnum() else "\\" + character
    return f"\\u{ord(character):04x}" if ord(character) < 0x10000 else f"\\U{ord(character):08x}"


@functools.lru_cache(maxsize=8)
def parser(book: Book) -> Lark:
    """Return Lark's parser of strings of symbols: LALR if the grammar has no conflict, else Earley
    with every ambiguity kept.
    """
    from lark import Lark
    from lark.exceptions import GrammarError
    from lark.lexer import Lexer, Token

    rules = _Rules(book)
    terminals = rules.names.terminals

    class OneTokenASymbol(Lexer):
        """Takes a string of symbols."""

        def __init__(self, lexer_conf: Any) -> None:
            """Take the settings Lark passes."""

        def lex(self, lexer_state: Any, parser_state: Any = None) -> Iterator[Token]:  # noqa: ARG002 - Lark's signature
            """Yield one token a symbol."""
            for place, symbol in enumerate(lexer_state):
                yield Token(terminals[symbol], symbol, start_pos=place, end_pos=place + 1)

    text = "\n".join([*rules.lines, f"%declare {' '.join(terminals.values())}", ""])
    options: dict[str, Any] = {
        "start": list(book.directions),
        "lexer": OneTokenASymbol,
        "maybe_placeholders": False,
    }
    try:
        lark = Lark(text, parser="lalr", strict=True, **options)
    except GrammarError:
        lark = Lark(text, parser="earley", ambiguity="explicit", **options)
    lark.leaf_rules = rules.leaves  # type: ignore[attr-defined]
    return lark


def matches(book: Book, string: str, direction: Direction) -> list[Match]:
    """Return every reading of a string of symbols through the Lark grammar, held against the tables
    and checks.
    """
    from lark.exceptions import UnexpectedInput
    from lark.visitors import CollapseAmbiguities

    lark = parser(book)
    try:
        tree = lark.parse(string, start=direction)
    except UnexpectedInput:
        return []
    trees = CollapseAmbiguities().transform(tree) if lark.options.parser == "earley" else [tree]
    found = []
    for one in trees:
        rules = lark.leaf_rules  # type: ignore[attr-defined]
        said = [(rules[node.data], "".join(_tokens(node))) for node in _leaf_nodes(one, rules)]
        message = said[0][0][0]
        match = message.match([leaf for (_, leaf), _ in said], [text for _, text in said])
        if match is not None:
            found.append(match)
    return found


def _leaf_nodes(tree: Any, leaves: dict[str, Any]) -> Iterator[Any]:
    for child in tree.children:
        if getattr(child, "data", None) in leaves:
            yield child
        elif hasattr(child, "children"):
            yield from _leaf_nodes(child, leaves)


def _tokens(tree: Any) -> Iterator[str]:
    for child in tree.children:
        if hasattr(child, "children"):
            yield from _tokens(child)
        else:
            yield str(child)
