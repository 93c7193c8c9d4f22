"""The words of a transcript: cutting text into whole words and telling what each may be.

A lexicon is made from a book once: spelling words and variants, number words, homophones, fillers, procedure words and the team's
phrases, in their compared form (see ``symbols.normal``). Groups of words that belong together ("i say again", "x ray") are one word here;
the longest group wins. Nothing is glued: a word is matched whole or not at all.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from grammar.data import table
from grammar.errors import CodeError, Span, UnknownWord, visible
from grammar.symbols import Alphabet, normal

MOST_CHARACTERS = 100_000
_PIECE = re.compile(r"\n\s*|[^\s]+")
_PART = re.compile(r"[^-]+")
_STRIPPED = ".,;:!?\"'()[]{}<>…“”‘’«»"
_PAUSE = frozenset(".,;:!\"'()“”‘’«»")


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a word may be: the terminal of the speech grammar, and its value there.

    ``options`` are the strings of symbols it may stand for; ``value`` a number's amount, an answer's or an event's name.
    """

    terminal: str
    options: tuple[str, ...] = ()
    value: str = ""


@dataclass(frozen=True, slots=True)
class Word:
    """One word (or fixed group of words) of a transcript with its place."""

    meaning: Meaning
    span: Span


class Clash(NamedTuple):
    """A word of a book that can't be told from others: the key it belongs to, the word in compared form, what is wrong, and what to do."""

    path: tuple[str, ...]
    word: str
    message: str
    hint: str


class WordsTaken(ValueError):
    """Words of a book that can't be told from others; ``clashes`` has every one."""

    def __init__(self, clashes: Sequence[Clash]) -> None:
        """Keep the clashes."""
        super().__init__("; ".join(clash.message for clash in clashes))
        self.clashes = tuple(clashes)


class Lexicon:
    """Everything a book lets a transcript say, by compared form."""

    def __init__(self, alphabet: Alphabet, *, fillers: Sequence[str], phrases: Mapping[str, Sequence[str]], homophones: bool) -> None:
        """Gather the words of a book; raises WordsTaken where some can't be told from others."""
        self.alphabet = alphabet
        self._clashes: list[Clash] = []
        self.meanings: dict[str, Meaning] = {}
        self.plain: dict[str, str] = {}
        data = table("speech")
        self._numbers(data, homophones=homophones)
        for word in data["fillers"]["words"]:
            self.meanings.setdefault(normal(word), Meaning("FILLER", ("",)))
        self._procedure(data)
        self._spelling()
        for word in fillers:
            self._filler(normal(word))
        for name, forms in phrases.items():
            for form in forms:
                self._phrase(name, normal(form))
        if self._clashes:
            raise WordsTaken(self._clashes)
        self.longest: dict[str, int] = {}
        for words in (entry.split() for entry in self.meanings):
            self.longest[words[0]] = max(self.longest.get(words[0], 1), len(words))
        self._fast_words()

    def _numbers(self, data: Mapping[str, Mapping[str, Mapping[str, Sequence[str]]]], *, homophones: bool) -> None:
        numbers = data["numbers"]
        for digit, words in numbers["units"].items():
            if digit in self.alphabet.index:
                for word in words:
                    self.meanings[word] = Meaning("UNIT", (digit,))
        alike: Any = data["homophones"] if homophones else {}
        for digit, words in alike.items():
            if digit in self.alphabet.index:
                for word in words:
                    self.meanings[word] = Meaning("TO" if word == "to" else "UNIT", (digit,))
        for terminal, key in (("TEEN", "teens"), ("TENS", "tens"), ("MULTIPLE", "multiples")):
            self._amounts(terminal, numbers[key])
        magnitudes = numbers["magnitudes"]
        self._amounts("HUNDRED", {"100": magnitudes["100"]})
        self._amounts("THOUSAND", {"1000": magnitudes["1000"]})
        self.meanings["and"] = Meaning("AND")

    def _amounts(self, terminal: str, amounts: Mapping[str, Sequence[str]]) -> None:
        for amount, words in amounts.items():
            for word in words:
                self.meanings[word] = Meaning(terminal, (), amount)

    def _procedure(self, data: Mapping[str, Mapping[str, Sequence[str] | Mapping[str, Sequence[str]]]]) -> None:
        for name, forms in data["procedure"].items():
            if isinstance(forms, Mapping):
                for value, words in forms.items():
                    self.meanings.update((word, Meaning("ANSWER", (), value)) for word in words)
            else:
                self.meanings.update((word, Meaning(name.upper(), (), "")) for word in forms)

    def _spelling(self) -> None:
        """Add the alphabet's words; one that has another use is refused."""
        for word, symbol in self.alphabet.spoken.items():
            known = self.meanings.get(word)
            terminal = "UNIT" if symbol.isdigit() else "LETTER"
            if known is None or symbol in known.options:
                self.meanings[word] = Meaning(terminal, (symbol,))
            else:
                message = f"the word {word!r} for {symbol!r} is already {_USES[known.terminal]}"
                self._clashes.append(Clash(("alphabet", "words", symbol), word, message, "choose another word"))
        for symbol in self.alphabet.symbols:
            known = self.meanings.get(symbol.lower())
            if known is None or known.terminal == "FILLER":
                self.meanings[symbol.lower()] = Meaning("UNIT" if symbol.isdigit() else "LETTER", (symbol,))
            elif symbol not in known.options:
                self.meanings[symbol.lower()] = Meaning(known.terminal, (symbol, *known.options))

    def _phrase(self, name: str, form: str) -> None:
        known = self.meanings.get(form)
        if known is not None and known.value == name:
            return
        path = ("phrases", name, "says")
        if known is not None:
            taken = f"a form of {known.value!r}" if known.terminal == "SEPARATOR" and known.value else _USES[known.terminal]
            self._clashes.append(Clash(path, form, f"the phrase {form!r} is already {taken}", "choose other words"))
        elif all(word in self.meanings and self.meanings[word].terminal not in ("FILLER", "AND") for word in form.split()):
            message = f"the phrase {form!r} can't be told from a report: all its words have meanings of their own"
            self._clashes.append(Clash(path, form, message, "add a word that means nothing else"))
        else:
            self.meanings[form] = Meaning("SEPARATOR", (), name)

    def _filler(self, word: str) -> None:
        """Add a word that carries nothing; refused where it means something, for then it could never be passed over."""
        known = self.meanings.setdefault(word, Meaning("FILLER", ("",)))
        if known.terminal != "FILLER":
            what = "a symbol" if len(word) == 1 else _USES[known.terminal]
            self._clashes.append(Clash(("speech", "fillers"), word, f"the filler {word!r} is already {what}", "remove it"))

    def _fast_words(self) -> None:
        """Gather the words that mean one symbol whatever stands beside them, as commonly written, for the fast path.

        Left out are words that could begin a longer group made of such words alone, and what could be typed symbols.
        """
        single = {
            word: m.options[0]
            for word, m in self.meanings.items()
            if " " not in word and m.terminal in ("UNIT", "LETTER") and len(m.options) == 1
        }
        grouped = {entry.split()[0] for entry in self.meanings if " " in entry and all(word in single for word in entry.split())}
        for word, symbol in single.items():
            for form in (word, word.capitalize()):
                if word not in grouped and self.typed(form, alone=False) in (None, symbol):
                    self.plain.setdefault(form, symbol)
        for entry in self.alphabet.words.values():
            if "-" in entry.word and "-" not in self.alphabet.index:
                self.plain[entry.word] = self.plain[entry.word.capitalize()] = entry.symbol

    def typed(self, raw: str, *, alone: bool) -> str | None:
        """Return the symbols of a string typed as it stands on the dash, None if ``raw`` is none.

        Small letters are taken only beside a digit or where the string stands alone: "cab" inside a sentence is a word.
        """
        upper = raw.upper()
        if len(upper) != len(raw) or any(character not in self.alphabet.index for character in upper):
            return None
        small = any(character.islower() for character in raw)
        return upper if not small or alone or len(raw) == 1 or any(character.isdigit() for character in raw) else None


_USES = {
    "UNIT": "a digit",
    "TO": "a digit",
    "LETTER": "a spelling word",
    "TEEN": "a number",
    "TENS": "a number",
    "HUNDRED": "a number word",
    "THOUSAND": "a number word",
    "AND": "a number word",
    "MULTIPLE": "a number word",
    "FILLER": "a filler",
    "SEPARATOR": "a procedure word or a phrase",
    "ANSWER": "a procedure word",
    **dict.fromkeys(("CORRECTION", "ANEW", "REPEAT", "DISREGARD", "TWICE", "ASK", "ALL_AFTER", "ALL_BEFORE"), "a procedure word"),
}


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stretch of text between white space and hyphens: as written, in compared form, and where."""

    raw: str
    form: str
    span: Span
    whole: bool  # not cut at hyphens


_UNKNOWN = Meaning("UNKNOWN")


def cut(lexicon: Lexicon, text: str, *, tolerant: bool = False) -> list[Word]:
    """Return the words of a transcript; raises UnknownWord at the first that the lexicon does not hold, or calls it UNKNOWN
    (``tolerant``)."""
    check_length(text)
    pieces = list(_pieces(lexicon, text))
    alone = len(pieces) == 1
    words, place = [], 0
    while place < len(pieces):
        word, place = _word_at(lexicon, text, pieces, place, alone=alone, tolerant=tolerant)
        words.append(word)
    return words


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
            yield _Piece("\n", "\n", (start, start + 1), True)
            continue
        core = raw.strip(stripped)
        if not core:
            if any(character not in _PAUSE for character in raw):
                yield _Piece(raw, raw, found.span(), True)
            continue
        start += raw.index(core)
        if core.startswith(("?", "[")) or core.endswith("]"):
            yield _Piece(core, core, (start, start + len(core)), True)
        elif "-" in core[1:-1] and "-" not in in_use and core[0] != "-" != core[-1]:  # a minus in front would be lost
            for part in _PART.finditer(core):
                yield _Piece(part.group(), _form(part.group()), (start + part.start(), start + part.end()), False)
        else:
            form = _form(core)
            hyphened = form.replace("-", " ")  # a word such as x-ray, where the hyphen is a symbol as well
            yield _Piece(core, hyphened if hyphened in lexicon.meanings else form, (start, start + len(core)), True)


def _form(raw: str) -> str:
    return unicodedata.normalize("NFKC", raw).casefold()


def _word_at(lexicon: Lexicon, text: str, pieces: Sequence[_Piece], place: int, *, alone: bool, tolerant: bool) -> tuple[Word, int]:
    piece = pieces[place]
    if piece.form == "\n":
        return Word(Meaning("SEPARATOR"), piece.span), place + 1
    for count in range(min(lexicon.longest.get(piece.form, 1), len(pieces) - place), 0, -1):
        group = pieces[place : place + count]
        meaning = lexicon.meanings.get(" ".join(p.form for p in group))
        if meaning is not None:
            if count == 1:
                meaning = _with_typed(lexicon, piece, meaning, alone=alone)
            return Word(meaning, (piece.span[0], group[-1].span[1])), place + count
    typed = lexicon.typed(unicodedata.normalize("NFKC", piece.raw), alone=alone)
    if typed is not None:
        return Word(Meaning("TYPED", (typed,)), piece.span), place + 1
    if tolerant:
        return Word(_UNKNOWN, piece.span), place + 1
    raise unknown(lexicon, text, piece.raw, piece.span)


def _with_typed(lexicon: Lexicon, piece: _Piece, meaning: Meaning, *, alone: bool) -> Meaning:
    """Add the reading as typed symbols to a word in capitals, or standing alone, that has one: KILO may be K, or K-I-L-O."""
    if len(piece.raw) == 1 or meaning.terminal not in ("UNIT", "TO", "LETTER", "FILLER"):
        return meaning
    typed = lexicon.typed(piece.raw, alone=alone)
    if typed is None or typed in meaning.options:
        return meaning
    return Meaning("LETTER" if meaning.terminal == "FILLER" else meaning.terminal, (*meaning.options, typed))


def unknown(lexicon: Lexicon, text: str, raw: str, span: Span) -> UnknownWord:
    """Return the error for a word that is in no table of the book."""
    import difflib

    shown = visible(raw if len(raw) <= 40 else raw[:40] + "…")
    if set(raw) <= set("?…[]().-") or raw.strip("[]()").casefold() in ("unclear", "inaudible", "unintelligible"):
        return UnknownWord(
            f"{shown!r} marks a word that was not heard",
            kind="unclear",
            source=text,
            span=span,
            hint="ask for a repeat",
        )
    close = difflib.get_close_matches(_form(raw[:40]), lexicon.meanings, n=3)
    hint = f"did you mean {' or '.join(close)}?" if close else ""
    if lexicon.typed(raw, alone=True) is not None:
        hint = f"if it is typed from the dash, write it in capitals: {raw.upper()[:40]}"
    else:
        missing = sorted({c for c in raw.upper() if c not in lexicon.alphabet.index})
        retired = lexicon.alphabet.retired_word(_form(raw[:40]))
        if retired:
            hint = f"{retired} is not in use in this book"
        elif len(raw) <= 12 and raw.isascii() and any(c.isdigit() for c in raw) and missing:
            unused = [c for c in missing if c.isalnum()]
            hint = f"{', '.join(unused)} not in use in this book" if unused else "symbols stand together, or parted by blanks"
    return UnknownWord(f"unknown word {shown!r}", kind="unknown-word", source=text, span=span, hint=hint)
