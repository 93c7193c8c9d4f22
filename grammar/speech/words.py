"""The words of a transcript: cutting text into whole words and telling what each may be.

Groups of words that belong together ("i say again", "x ray") are one word here; the longest group
wins. Nothing is glued: a word is matched whole or not at all.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple, overload

from grammar.errors import CodeError, Span, UnknownWord, visible
from grammar.speech.kinds import ONE_SYMBOL, WordKind
from grammar.speech.lexicon import Lexicon, Meaning

MOST_CHARACTERS = 100_000
_MOST_PIECES, _MOST_KNOWN = 1_000, 40  # of them kept, and characters of one of those
_PIECE = re.compile(r"\n\s*|[^\s]+")
_PART = re.compile(r"[^-]+")
_STRIPPED = ".,;:!?\"'()[]{}<>…“”‘’«»"
_PAUSE = frozenset(".,;:!\"'()“”‘’«»")


class Word(NamedTuple):
    """One word (or fixed group of words) of a transcript with its place, as written there."""

    meaning: Meaning
    span: Span
    text: str

    @property
    def kind(self) -> WordKind:
        """What it may be."""
        return self.meaning.kind


@dataclass(frozen=True, slots=True)
class Wording(Sequence[Word]):
    """The words of ``text``, or of a stretch of it: cut once, and passed on as they are."""

    text: str
    words: Sequence[Word]

    @overload
    def __getitem__(self, place: int) -> Word: ...

    @overload
    def __getitem__(self, place: slice) -> Wording: ...

    def __getitem__(self, place: int | slice) -> Word | Wording:
        """Return a word, or a stretch of the words of the same text."""
        if isinstance(place, slice):
            return Wording(self.text, self.words[place])
        return self.words[place]

    def __iter__(self) -> Iterator[Word]:
        """Yield the words."""
        return iter(self.words)

    def __len__(self) -> int:
        """Return how many words there are."""
        return len(self.words)

    @property
    def span(self) -> Span:
        """The place of the words in the text."""
        if not self.words:
            return len(self.text), len(self.text)
        return self.words[0].span[0], self.words[-1].span[1]

    @property
    def said(self) -> str:
        """The words as they stand in the text."""
        start, end = self.span
        return self.text[start:end]


class _Piece(NamedTuple):
    """A stretch of text between white space and hyphens: as written, in compared form, where it
    begins and ends, and what it means among others if it is a word of its own.
    """

    raw: str
    form: str
    start: int
    end: int
    meaning: Meaning


_UNKNOWN, _LINE_END = Meaning(WordKind.UNKNOWN), Meaning(WordKind.SEPARATOR)


def cut(lexicon: Lexicon, text: str) -> Wording:
    """Return the words of a transcript, those that the lexicon does not hold as UNKNOWN; raises
    CodeError for a text too long to be read at once.
    """
    check_length(text)
    pieces: list[tuple[_Piece, int]] = []
    for found in _PIECE.finditer(text):
        raw, start = found.group(), found.start()
        parts = _known_pieces if len(raw) <= _MOST_KNOWN else _pieces
        pieces += [(piece, start) for piece in parts(lexicon, raw)]
    if len(pieces) == 1:
        return Wording(text, [_alone(lexicon, *pieces[0])])
    longest, words, place = lexicon.longest, list[Word](), 0
    while place < len(pieces):
        piece, start = pieces[place]
        count = longest.get(piece.form, 1)
        grouped = _group(lexicon, text, pieces[place : place + count]) if count > 1 else None
        if grouped is None:
            span = start + piece.start, start + piece.end
            words.append(Word(piece.meaning, span, piece.raw))
            place += 1
        else:
            words.append(grouped[0])
            place += grouped[1]
    return Wording(text, words)


def _alone(lexicon: Lexicon, piece: _Piece, start: int) -> Word:
    """Return the one word of a transcript: typed symbols may be written small then."""
    meaning = piece.meaning
    if meaning is not _LINE_END:
        meaning = _meaning(lexicon, piece.raw, piece.form, alone=True)
    return Word(meaning, (start + piece.start, start + piece.end), piece.raw)


def _group(
    lexicon: Lexicon, text: str, pieces: Sequence[tuple[_Piece, int]]
) -> tuple[Word, int] | None:
    """Return the longest group of words that pieces begin with, and of how many it is."""
    first, start = pieces[0]
    for count in range(len(pieces), 1, -1):
        meaning = lexicon.meanings.get(" ".join(piece.form for piece, _ in pieces[:count]))
        if meaning is not None:
            last, behind = pieces[count - 1]
            span = start + first.start, behind + last.end
            return Word(meaning, span, text[slice(*span)]), count
    return None


def check_length(text: str) -> None:
    """Refuse a transcript too long to be read at once."""
    if len(text) > MOST_CHARACTERS:
        raise CodeError(
            f"a transcript of {len(text)} characters; at most {MOST_CHARACTERS} are read at once",
            kind="too-long",
            hint="pass one report a line",
        )


def _pieces(lexicon: Lexicon, raw: str) -> tuple[_Piece, ...]:
    """Return the pieces of what stands between white space, or of a line end."""
    if raw[0] == "\n":
        return (_Piece("\n", "\n", 0, 1, _LINE_END),)
    in_use = lexicon.alphabet.index
    core = raw.strip("".join(character for character in _STRIPPED if character not in in_use))
    if not core:
        kept = any(character not in _PAUSE for character in raw)
        return (_piece(lexicon, raw, raw, 0),) if kept else ()
    start = raw.index(core)
    if core.startswith(("?", "[")) or core.endswith("]"):
        return (_piece(lexicon, core, core, start),)
    if (
        "-" in core[1:-1] and "-" not in in_use and core[0] != "-" != core[-1]
    ):  # a minus in front would be lost
        return tuple(
            _piece(lexicon, part.group(), _form(part.group()), start + part.start())
            for part in _PART.finditer(core)
        )
    form = _form(core)
    hyphened = form.replace("-", " ")  # a word such as x-ray, where the hyphen is a symbol as well
    return (_piece(lexicon, core, hyphened if hyphened in lexicon.meanings else form, start),)


_known_pieces = functools.lru_cache(_MOST_PIECES)(_pieces)


def _piece(lexicon: Lexicon, raw: str, form: str, start: int) -> _Piece:
    return _Piece(raw, form, start, start + len(raw), _meaning(lexicon, raw, form, alone=False))


def _form(raw: str) -> str:
    return unicodedata.normalize("NFKC", raw).casefold()


def _meaning(lexicon: Lexicon, raw: str, form: str, *, alone: bool) -> Meaning:
    """Return what a word may be that belongs to no group, ``alone`` in its transcript or not."""
    meaning = lexicon.meanings.get(form)
    if meaning is not None:
        return _with_typed(lexicon, raw, meaning, alone=alone)
    typed = lexicon.typed(unicodedata.normalize("NFKC", raw), alone=alone)
    return _UNKNOWN if typed is None else Meaning(WordKind.TYPED, (typed,))


def _with_typed(lexicon: Lexicon, raw: str, meaning: Meaning, *, alone: bool) -> Meaning:
    """Add the reading as typed symbols to a word in capitals, or standing alone, that has one: KILO
    may be K, or K-I-L-O.
    """
    if len(raw) == 1 or meaning.kind not in ONE_SYMBOL | {WordKind.FILLER}:
        return meaning
    typed = lexicon.typed(raw, alone=alone)
    if typed is None or typed in meaning.options:
        return meaning
    return Meaning(
        WordKind.LETTER if meaning.kind is WordKind.FILLER else meaning.kind,
        (*meaning.options, typed),
    )


def unknown(lexicon: Lexicon, text: str, raw: str, span: Span) -> UnknownWord:
    """Return the error for a word that is in no table of the book."""
    shown = visible(raw if len(raw) <= 40 else raw[:40] + "…")
    if set(raw) <= set("?…[]().-") or raw.strip("[]()").casefold() in (
        "unclear",
        "inaudible",
        "unintelligible",
    ):
        return UnknownWord(
            f"{shown!r} marks a word that was not heard",
            kind="unclear",
            source=text,
            span=span,
            hint="ask for a repeat",
        )
    return UnknownWord(
        f"unknown word {shown!r}",
        kind="unknown-word",
        source=text,
        span=span,
        hint=_instead(lexicon, raw),
    )


def _instead(lexicon: Lexicon, raw: str) -> str:
    """Return what may have been meant by a word that is in no table, "" if nobody can tell."""
    import difflib

    form = _form(raw[:40])
    symbol = lexicon.alphabet.standard_symbol(form)
    if symbol and symbol in lexicon.alphabet.index:
        return f"in this book {symbol} is {lexicon.alphabet.words[symbol].word!r}"
    if symbol:
        return f"{symbol} is not in use in this book"
    if lexicon.typed(raw, alone=True) is not None:
        return f"if it is typed from the dash, write it in capitals: {raw.upper()[:40]}"
    missing = sorted(
        {character for character in raw.upper() if character not in lexicon.alphabet.index}
    )
    if len(raw) <= 12 and raw.isascii() and any(c.isdigit() for c in raw) and missing:
        unused = [character for character in missing if character.isalnum()]
        if unused:
            return f"{', '.join(unused)} not in use in this book"
        return "symbols stand together, or parted by blanks"
    close = difflib.get_close_matches(form, lexicon.meanings, n=3)
    return f"did you mean {' or '.join(close)}?" if close else ""
