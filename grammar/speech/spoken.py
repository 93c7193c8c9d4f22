"""Transcripts to symbols: the speech grammar (Lark, ``tables/speech.lark``) over whole words, then
procedure words and number rules.

A transcript is cut into stretches (by BREAK, OVER, OUT, line ends and the team's phrases). A
stretch holds what was said as a lattice of symbols, or as the list of ways left after corrections
and repetitions; and what it asks or answers.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from grammar import data
from grammar.errors import Incomplete, Span, UnexpectedWord
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.lexicon import Lexicon
from grammar.speech.numbers import arcs
from grammar.speech.procedure import (
    MOST_CHANGES,
    MOST_WAYS,
    MOST_WORDS,
    Broken,
    Said,
    corrected,
    distinct,
    doubled,
    many_ways,
    repeated,
)
from grammar.speech.words import Word, Wording, unknown

if TYPE_CHECKING:
    from lark import Lark

_PLAIN = SPOKEN - {WordKind.MULTIPLE} | {WordKind.FILLER}
_LABELS = {kind.value: kind.label for kind in WordKind} | {"$END": "the end of the message"}


class Ask(NamedTuple):
    """SAY AGAIN: all of it, all after or before a symbol, or from one symbol to another."""

    after: str = ""
    before: str = ""
    span: Span = (0, 0)


@dataclass(slots=True)
class Stretch:
    """What was said between two separators.

    ``words`` are the words that stand for symbols, in order. Without procedure words ``ways`` is
    None and every way to read ``words`` is open (see ``lattice``); with them ``ways`` are those
    left. ``event`` names the phrase that ended the stretch, if one did.
    """

    words: list[Word] = field(default_factory=list)
    ways: list[Said] | None = None
    answers: list[tuple[str, Span]] = field(default_factory=list)
    asks: list[Ask] = field(default_factory=list)
    event: tuple[str, Span] | None = None
    span: Span = (0, 0)

    @property
    def empty(self) -> bool:
        """Tell whether nothing was said that could be a report."""
        return not self.words if self.ways is None else not any(self.ways)

    def lattice(self) -> list[list[tuple[str, int]]]:
        """Return the symbols each word or group of words may stand for: at each word (symbols,
        number of the next word).
        """
        meanings = [word.meaning for word in self.words]
        return [
            [(symbols, place + count) for count, symbols in arcs(meanings, place)]
            for place in range(len(meanings))
        ]

    def spans(self, place: int, target: int, symbols: str) -> list[Span]:
        """Return the place in the text of each symbol of an arc: of its own character where symbols
        were typed.
        """
        start, end = self.words[place].span[0], self.words[target - 1].span[1]
        if (
            target == place + 1
            and end - start == len(symbols) > 1
            and self.words[place].kind is not WordKind.UNIT
        ):
            return [(start + n, start + n + 1) for n in range(len(symbols))]
        return [(start, end)] * len(symbols)


@functools.cache
def parser() -> Lark:
    """Return the LALR parser of the speech grammar; ``strict`` refuses any conflict in it."""
    from lark import Lark
    from lark.lexer import Lexer, Token

    class OneTokenAWord(Lexer):
        """Takes words already cut; each token's text is the number of its word."""

        def __init__(self, lexer_conf: Any) -> None:
            """Take the settings Lark passes."""

        def lex(self, lexer_state: Any, parser_state: Any = None) -> Iterator[Token]:  # noqa: ARG002 - Lark's signature
            """Yield one token a word."""
            for number, word in enumerate(lexer_state):
                yield Token(word.kind, str(number), start_pos=word.span[0], end_pos=word.span[1])

    return Lark(
        data.text("speech.lark"),
        start="transcript",
        parser="lalr",
        lexer=OneTokenAWord,
        maybe_placeholders=False,
    )


def listen(lexicon: Lexicon, words: Wording) -> list[Stretch]:
    """Return the stretches of a transcript, or of a part of one.

    Raises UnknownWord, UnexpectedWord or Incomplete, with the place, where a word is unknown or
    procedure words do not fit.
    """
    kinds = [word.kind for word in words]
    if WordKind.UNKNOWN in kinds:
        word = words[kinds.index(WordKind.UNKNOWN)]
        raise unknown(lexicon, words.text, word.text, word.span)
    if kinds and _PLAIN.issuperset(kinds):  # one run of them, whatever their order
        spoken = [word for word in words if word.kind is not WordKind.FILLER]
        return [Stretch(spoken, span=words.span)]
    tree = _parse(words)
    stretches = []
    for child in tree.children:
        if getattr(child, "data", None) == "segment":
            stretches.append(_stretch(child, words))
            continue
        separator = words[int(child)]
        if separator.meaning.value:
            stretches[-1].event = (separator.meaning.value, separator.span)
    return stretches


def _parse(words: Wording) -> Any:
    from lark.exceptions import UnexpectedToken

    try:
        return parser().parse(words)
    except UnexpectedToken as error:
        expected = sorted({_LABELS[name] for name in error.accepts or ()})
        if error.token.type == "$END":
            raise Incomplete(
                "the transcript ends too early",
                kind="incomplete",
                source=words.text,
                span=(len(words.text), len(words.text)),
                expected=expected,
            ) from None
        word = words[int(error.token)]
        raise UnexpectedWord(
            f"{word.text!r} can't stand here",
            kind="unexpected-word",
            source=words.text,
            span=word.span,
            expected=expected,
        ) from None


def _stretch(tree: Any, words: Wording) -> Stretch:
    stretch = Stretch()
    chunks: list[tuple[WordKind | None, list[Word], int]] = [(None, [], 0)]
    last = 0
    for number in _numbers(tree):
        word, last = words[number], number
        kind = word.kind
        if kind in CHANGING:
            chunks.append((kind, [], number))
        elif kind is WordKind.ANSWER:
            stretch.answers.append((word.meaning.value, word.span))
        elif kind is not WordKind.FILLER:
            chunks[-1][1].append(word)
    for child in tree.children:
        if str(child.data).startswith("ask"):
            stretch.asks.append(_ask(child, words))
    first = next(iter(_numbers(tree)), None)
    if first is not None:
        stretch.span = (words[first].span[0], words[last].span[1])
    stretch.words = [word for _, spoken, _ in chunks for word in spoken]
    if len(chunks) > 1:
        try:
            stretch.ways = _changed(chunks, stretch)
        except Broken as broken:
            raise UnexpectedWord(
                broken.message,
                kind="procedure",
                source=words.text,
                span=words[broken.word].span,
                hint=broken.hint,
            ) from None
    return stretch


def _numbers(tree: Any) -> Iterator[int]:
    """Yield the word numbers of a segment's body, in order."""
    for child in tree.children:
        if getattr(child, "data", None) in ("body", "run", "multiple"):
            yield from _numbers(child)
        elif not hasattr(child, "data"):
            yield int(child)


def _ask(tree: Any, words: Sequence[Word]) -> Ask:
    tokens = [words[int(token)] for token in tree.children]
    span = (tokens[0].span[0], tokens[-1].span[1])
    symbols = [
        word.meaning.options[0]
        for word in tokens[1:]
        if word.kind in (WordKind.UNIT, WordKind.LETTER)
    ]
    if tree.data == "ask_after":
        return Ask(after=symbols[0], span=span)
    if tree.data == "ask_before":
        return Ask(before=symbols[0], span=span)
    return Ask(symbols[0], symbols[-1], span) if tree.data == "ask_between" else Ask(span=span)


def _changed(
    chunks: Sequence[tuple[WordKind | None, list[Word], int]], stretch: Stretch
) -> list[Said]:
    """Apply the procedure words from left to right."""
    if len(chunks) > MOST_CHANGES + 1 or len(stretch.words) > MOST_WORDS:
        shown = (
            f"{len(stretch.words)} words with {len(chunks) - 1} corrections or repetitions are too"
            " many to follow"
        )
        raise Broken(
            chunks[min(len(chunks), MOST_CHANGES + 2) - 1][2],
            shown,
            "part reports by BREAK, or by a line each",
        )
    ways: list[Said] = [()]
    for kind, spoken, number in chunks:
        after = _ways(spoken, number)
        if kind is WordKind.DISREGARD:
            ways = after
        elif kind is WordKind.ANEW:
            if not spoken:
                raise Broken(
                    number,
                    "nothing follows CORRECTION, I SAY AGAIN",
                    "the whole message is expected",
                )
            ways = after
        elif kind is WordKind.CORRECTION:
            ways = corrected(ways, after, number)
        elif kind is WordKind.REPEAT:
            ways = repeated(ways, after, number)
        else:
            tails = doubled(after, number) if kind is WordKind.TWICE else after
            ways = distinct((one + tail for one in ways for tail in tails), number)
    return ways


def _ways(spoken: list[Word], number: int) -> list[Said]:
    """Return every way to read a run of words."""
    stretch = Stretch(words=spoken)
    lattice = stretch.lattice()
    ways: list[list[Said]] = [[()], *([] for _ in spoken)]
    for place, choices in enumerate(lattice):
        for symbols, target in choices:
            spans = stretch.spans(place, target, symbols)
            ways[target].extend((*way, *zip(symbols, spans, strict=True)) for way in ways[place])
            if len(ways[target]) > MOST_WAYS:
                raise many_ways(number)
    if spoken and not ways[-1]:
        raise Broken(
            number, "the numbers beside this word can't be read", "say the digits one by one"
        )
    return ways[-1]
