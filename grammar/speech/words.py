"""The words of a transcript: cutting text into whole words and telling what each may be.

Groups of words that belong together ("i say again", "x ray") are one word here; the longest group
wins. Nothing is glued: a word is matched whole or not at all.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple, overload

from grammar.errors import CodeError, Span, UnknownWord, visible
from grammar.speech.kinds import ONE_SYMBOL, WordKind
from grammar.speech.lexicon import Lexicon, Meaning

MOST_CHARACTERS = 100_000
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
    """A stretch of text between white space and hyphens: as written, in compared form, and
    where.
    """

    raw: str
    form: str
    span: Span


_UNKNOWN = Meaning(WordKind.UNKNOWN)


def cut(lexicon: Lexicon, text: str) -> Wording:
    """Return the words of a transcript, those that the lexicon does not hold as UNKNOWN; raises
    CodeError for a text too long to be read at once.
    """
    check_length(text)
    pieces = list(_pieces(lexicon, text))
    alone = len(pieces) == 1
    words, place = [], 0
    while place < len(pieces):
        word, place = _word_at(lexicon, text, pieces, place, alone=alone)
        words.append(word)
    return Wording(text, words)


def check_length(text: str) -> None:
    """Refuse a transcript too long to be read at once."""
    if len(text) > MOST_CHARACTERS:
        raise CodeError(
            f"a transcript of {len(text)} characters; at most {MOST_CHARACTERS} are read at once",
            kind="too-long",
            hint="pass one report a line",
        )


def _pieces(lexicon: Lexicon, text: str) -> Iterator[_Piece]:
    in_use = lexicon.alphabet.index
    stripped = "".join(character for character in _STRIPPED if character not in in_use)
    for found in _PIECE.finditer(text):
        raw, start = found.group(), found.start()
        if raw[0] == "\n":
            yield _Piece("\n", "\n", (start, start + 1))
            continue
        core = raw.strip(stripped)
        if not core:
            if any(character not in _PAUSE for character in raw):
                yield _Piece(raw, raw, found.span())
            continue
        start += raw.index(core)
        if core.startswith(("?", "[")) or core.endswith("]"):
            yield _Piece(core, core, (start, start + len(core)))
        elif (
            "-" in core[1:-1] and "-" not in in_use and core[0] != "-" != core[-1]
        ):  # a minus in front would be lost
            for part in _PART.finditer(core):
                yield _Piece(
                    part.group(),
                    _form(part.group()),
                    (start + part.start(), start + part.end()),
                )
        else:
            form = _form(core)
            hyphened = form.replace(
                "-", " "
            )  # a word such as x-ray, where the hyphen is a symbol as well
            yield _Piece(
                core,
                hyphened if hyphened in lexicon.meanings else form,
                (start, start + len(core)),
            )


def _form(raw: str) -> str:
    return unicodedata.normalize("NFKC", raw).casefold()


def _word_at(
    lexicon: Lexicon,
    text: str,
    pieces: Sequence[_Piece],
    place: int,
    *,
    alone: bool,
) -> tuple[Word, int]:
    piece = pieces[place]
    if piece.form == "\n":
        return Word(Meaning(WordKind.SEPARATOR), piece.span, piece.raw), place + 1
    for count in range(min(lexicon.longest.get(piece.form, 1), len(pieces) - place), 0, -1):
        group = pieces[place : place + count]
        meaning = lexicon.meanings.get(" ".join(p.form for p in group))
        if meaning is not None:
            if count == 1:
                meaning = _with_typed(lexicon, piece, meaning, alone=alone)
            start, end = piece.span[0], group[-1].span[1]
            return Word(meaning, (start, end), text[start:end]), place + count
    typed = lexicon.typed(unicodedata.normalize("NFKC", piece.raw), alone=alone)
    if typed is not None:
        return Word(Meaning(WordKind.TYPED, (typed,)), piece.span, piece.raw), place + 1
    return Word(_UNKNOWN, piece.span, piece.raw), place + 1


def _with_typed(lexicon: Lexicon, piece: _Piece, meaning: Meaning, *, alone: bool) -> Meaning:
    """Add the reading as typed symbols to a word in capitals, or standing alone, that has one: KILO
    may be K, or K-I-L-O.
    """
    if len(piece.raw) == 1 or meaning.kind not in ONE_SYMBOL | {WordKind.FILLER}:
        return meaning
    typed = lexicon.typed(piece.raw, alone=alone)
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

    if lexicon.typed(raw, alone=True) is not None:
        return f"if it is typed from the dash, write it in capitals: {raw.upper()[:40]}"
    form = _form(raw[:40])
    retired = lexicon.alphabet.retired_word(form)
    if retired:
        return f"{retired} is not in use in this book"
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
