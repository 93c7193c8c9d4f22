"""The compiled form of a book: what is left of it when its file is checked and proven, as JSON from
which the book is rebuilt without checking or proving anything again.

It holds no code and names none: parts are told by the names of their kinds. In JSON exact numbers
begin with ``d`` and texts with ``s``; a part is ``{kind: keys}``, a mapping ``{"": entries}``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from grammar import codes, fields
from grammar.book import Book, Parts, Rules
from grammar.codes import CodeTable, Literal
from grammar.dash import DashSpec
from grammar.declared import Declared
from grammar.fields import FieldBase, Limit
from grammar.hearing import HearingSpec, RadioCondition
from grammar.layout import leaves, parse_layout
from grammar.message import Message
from grammar.speech import Lexicon
from grammar.symbols import Alphabet, AlphabetSpec, OwnWord, SpellingWord

if TYPE_CHECKING:
    from grammar.models import BookSpec


def compiled(book: Book) -> str:
    """Return the compiled form of a book."""
    spec = book.spec
    words = book.alphabet.words.values()
    return json.dumps(
        {
            "rules": [*book.rules[:3], *map(dict, book.rules[3:])],
            "alphabet": _told(spec.alphabet),
            "words": [[w.symbol, w.word, w.also, w.syllables, w.seconds, w.sound] for w in words],
            "fields": {name: _told(field) for name, field in spec.fields.items()},
            "tables": {name: _told(table) for name, table in spec.tables.items()},
            "messages": {
                name: [one.direction, one.layout, one.label, one.pauses, one.glance]
                for name, one in spec.messages.items()
            },
            "speech": [
                spec.speech.fillers,
                {name: phrase.says for name, phrase in spec.phrases.items()},
                spec.speech.homophones,
            ],
            "one way": book.one_way,
            "digest": book.digest,
            "hearing": _told(book.hearing),
            "dash": _told(book.dash),
        },
        ensure_ascii=True,
        separators=(",", ":"),
    )


def rebuilt(told: str, name: str, source: str, spec: Callable[[], BookSpec]) -> Book:
    """Return the book of a compiled form that ``compiled`` gave; raises ValueError, KeyError or
    TypeError for any other.
    """
    kept = json.loads(told)
    words = [
        SpellingWord(symbol, word, tuple(also), *more)
        for symbol, word, also, *more in kept["words"]
    ]
    alphabet = Alphabet(_made(kept["alphabet"]), words)
    known: dict[str, FieldBase] = {name: _made(one) for name, one in kept["fields"].items()}
    fields.bound(known)
    every = fields.with_members(known)
    tables: dict[str, CodeTable] = {
        name: _made(one).build(name, every, alphabet) for name, one in kept["tables"].items()
    }
    families = {name: table.family for name, table in tables.items() if table.family}
    messages: dict[str, Message] = {}
    for key, (direction, layout, *more) in kept["messages"].items():
        node = parse_layout(layout, families)
        bound = [
            Literal(leaf.literal, alphabet)
            if leaf.literal
            else tables[leaf.name].at(leaf.member, leaf.repetition)
            for leaf in leaves(node)
        ]
        messages[key] = Message(key, direction, node, bound, alphabet, *more)
    fillers, phrases, homophones = kept["speech"]
    lexicon = Lexicon(alphabet, fillers=fillers, phrases=phrases, homophones=homophones)
    parts = Parts(alphabet, known, tables, messages, lexicon)
    book = Book(name, lambda: source, Rules(*kept["rules"]), parts, spec)
    book.one_way, book.digest = kept["one way"], kept["digest"]
    book.hearing, book.dash = _made(kept["hearing"]), _made(kept["dash"])
    return book


def _told(value: Any) -> Any:
    if isinstance(value, Declared):
        keys = {name: _told(one) for name, one in value.given_keys().items()}
        return {type(value).__name__: keys}
    if isinstance(value, Mapping):
        return {"": {name: _told(one) for name, one in value.items()}}
    if isinstance(value, list):
        return [_told(one) for one in value]
    if isinstance(value, Decimal):
        return f"d{value}"
    return f"s{value}" if isinstance(value, str) else value


def _made(told: Any) -> Any:
    if isinstance(told, str):
        return Decimal(told[1:]) if told[0] == "d" else told[1:]
    if isinstance(told, list):
        return [_made(one) for one in told]
    if isinstance(told, dict):
        ((kind, keys),) = told.items()
        made = {name: _made(one) for name, one in keys.items()}
        return _kinds()[kind](**made) if kind else made
    return told


def _kinds() -> dict[str, type[Declared]]:
    parts: list[type[Declared]] = [
        AlphabetSpec,
        OwnWord,
        HearingSpec,
        DashSpec,
        RadioCondition,
        Limit,
        *fields.KINDS,
        *codes.KINDS,
    ]
    return {kind.__name__: kind for kind in parts}
