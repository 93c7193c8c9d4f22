"""Marking an answer through the decoder: did the code give the right reading, and if not, did it
notice?

A report is right when it decodes to the reading meant, whatever variants, number words or fillers
were used; it is *corrected* when that took CORRECTION or DISREGARD; *caught* when the decoder
refuses it; *accepted* when it decodes to another reading. Parts of a report have no check and no
range around them: they are right when what was said may stand for what was shown. What can't be
understood is not marked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.decoding import decode
from codec.drill.answer import DrillError, Outcome
from codec.encoding import encode
from codec.reading import Reading
from grammar.errors import CodeError, ReportError, UnknownWord
from grammar.speech import listen
from grammar.speech.kinds import WordKind
from grammar.speech.words import Wording, cut, unknown

if TYPE_CHECKING:
    from codec.drill.pool import Item
    from grammar.book import Book

Pair = tuple[str, str]  # (symbol shown, symbol said); "" where there is none
_CORRECTING = (WordKind.CORRECTION, WordKind.ANEW, WordKind.DISREGARD)
_VALUE = re.compile(r"(?:^|\s)([A-Za-z_][A-Za-z0-9_]*)=")
_MOST_WAYS = 64
_UNCLEAR = "? stands for a word that nobody made out or that is none of the book's"


@dataclass(frozen=True, slots=True)
class Marked:
    """The outcome, the symbols said as far as they can be read, and where they part from those
    shown.

    ``refusal`` and ``reason`` are the kind and the text of the error of an answer that was caught.
    """

    outcome: Outcome
    said: str
    pairs: tuple[Pair, ...]
    refusal: str = ""
    reason: str = ""

    @property
    def wrong_places(self) -> tuple[int, ...]:
        """The places of the string shown where something else, nothing, or something more was
        said.
        """
        places, place = [], 0
        for shown, said in self.pairs:
            if shown != said:
                places.append(place)
            place += bool(shown)
        return tuple(dict.fromkeys(places))


def mark(book: Book, item: Item, answer: str) -> Marked:
    """Mark an answer to an item: words or symbols as typed, or for a report field=value pairs.

    Raises DrillError (kind ``not-understood``) where it can't be told what the answer says: a slip
    of the typist's is no mistake of the person who is drilled. A word that nobody made out is typed
    as ``?``.
    """
    if item.kind == "report" and _VALUE.search(answer) is not None:
        return _mark_values(book, item, answer)
    words = cut(book.lexicon, answer)
    _check_understood(book, words)
    meant = item.text
    corrected = any(word.kind in _CORRECTING for word in words)
    try:
        if item.kind == "report":
            reading = decode(book, words, direction=item.direction)
            right = reading == _meant(book, item)
            said = meant if right else reading.said
        else:
            said = closest(meant, ways(book, words))
            right = said == meant
    except CodeError as error:
        said = closest(meant, _ways_or_none(book, words))
        reason = error if isinstance(error, UnknownWord) else _by_symbol(book, item, said) or error
        return Marked("caught", said, align(meant, said), reason.kind, reason.message)
    outcome: Outcome = ("corrected" if corrected else "right") if right else "accepted"
    return Marked(outcome, said, align(meant, said))


def _check_understood(book: Book, words: Wording) -> None:
    """Raise DrillError for a word that the book does not have, and where there is no word of a
    report at all.
    """
    unclear = False
    for word in words:
        if word.kind is WordKind.UNKNOWN:
            error = unknown(book.lexicon, words.text, word.text, word.span)
            if error.kind != "unclear":
                raise _not_understood(error, _UNCLEAR)
            unclear = True
    if unclear:
        return
    try:
        said = ways(book, words)
    except ReportError:
        return  # correcting words used as they can't be: the code refuses those
    if not any(said):
        raise _not_understood(
            CodeError(f"no word of a report in {words.text[:40]!r}", kind="not-understood"),
            _UNCLEAR,
        )


def _mark_values(book: Book, item: Item, answer: str) -> Marked:
    """Mark a report given as values; those that can't be said in it were mistyped, for they can't
    have been heard either.
    """
    try:
        reading = _values(book, item, answer)
    except CodeError as error:
        raise _not_understood(error) from None
    right = reading == _meant(book, item)
    said = item.text if right else reading.said
    return Marked("right" if right else "accepted", said, align(item.text, said))


def _not_understood(error: CodeError, instead: str = "") -> DrillError:
    """Return the error for an answer that can't be marked, with what was found wrong in it and what
    may be typed instead.
    """
    hint = "; ".join(filter(None, [error.hint, instead]))
    return DrillError(
        error.message,
        kind="not-understood",
        source=error.source,
        span=error.span,
        expected=error.expected,
        hint=hint,
    )


def _meant(book: Book, item: Item) -> Reading:
    return decode(book, item.text, direction=item.direction, typed=True)


def _by_symbol(book: Book, item: Item, said: str) -> ReportError | None:
    """Return why the symbols said are refused: of a string typed as one word the error would only
    tell that it does not fit.
    """
    if item.kind != "report" or not said:
        return None
    try:
        decode(book, said, direction=item.direction, typed=True)
    except ReportError as error:
        return error
    return None


def _values(book: Book, item: Item, answer: str) -> Reading:
    """Return the reading of an answer given as values; raises CodeError where they are none or
    can't be said.
    """
    found = list(_VALUE.finditer(answer))
    before = answer[: found[0].start()].strip()
    if before:
        raise CodeError(
            f"{before[:40]!r} is no value of a field",
            kind="usage",
            source=answer,
            expected=["field=value"],
        )
    ends = [one.start() for one in found[1:]] + [len(answer)]
    values: dict[str, str] = {}
    for one, end in zip(found, ends, strict=True):
        if one[1] in values:
            raise CodeError(
                f"{one[1]!r} is given twice", kind="usage", source=answer, span=one.span(1)
            )
        values[one[1]] = answer[one.end() : end].strip(" ,;\t")
    return encode(book, values, item.part_of).reading


def ways(book: Book, words: Wording) -> list[str]:
    """Return the strings of symbols that words may stand for, after their corrections; raises
    ReportError where a word is unknown.
    """
    found = [""]
    for stretch in listen(book.lexicon, words):
        options = (
            _walked(stretch.lattice())
            if stretch.ways is None
            else ["".join(symbol for symbol, _ in way) for way in stretch.ways]
        )
        found = [before + option for before in found for option in options][:_MOST_WAYS]
    return found


def _walked(lattice: list[list[tuple[str, int]]]) -> list[str]:
    ahead: list[list[str]] = [[] for _ in lattice] + [[""]]
    for place in range(len(lattice) - 1, -1, -1):
        ahead[place] = [
            symbols + rest for symbols, target in lattice[place] for rest in ahead[target]
        ][:_MOST_WAYS]
    return ahead[0]


def _ways_or_none(book: Book, words: Wording) -> list[str]:
    """Return what can be made of words that were refused, without the unknown ones; nothing where
    they are refused too.
    """
    known = [word for word in words if word.kind is not WordKind.UNKNOWN]
    try:
        return ways(book, Wording(words.text, known)) if known else []
    except ReportError:
        return []


def closest(meant: str, said: list[str]) -> str:
    """Return the string nearest to the one meant, the first of several; "" for none."""
    return min(said, key=lambda one: sum(a != b for a, b in align(meant, one)), default="")


def align(shown: str, said: str) -> tuple[Pair, ...]:
    """Return the pairs of a least-cost alignment (V.

    I. Levenshtein 1966): substitutions before gaps where the cost is the same.
    """
    if shown == said:
        return tuple(zip(shown, said, strict=True))
    rows = [list(range(len(said) + 1))]
    for down, symbol in enumerate(shown, start=1):
        row = [down]
        for across, other in enumerate(said, start=1):
            row.append(
                min(rows[-1][across - 1] + (symbol != other), rows[-1][across] + 1, row[-1] + 1)
            )
        rows.append(row)
    pairs: list[Pair] = []
    down, across = len(shown), len(said)
    while down or across:
        here = rows[down][across]
        if (
            down
            and across
            and here == rows[down - 1][across - 1] + (shown[down - 1] != said[across - 1])
        ):
            down, across = down - 1, across - 1
            pairs.append((shown[down], said[across]))
        elif down and here == rows[down - 1][across] + 1:
            down -= 1
            pairs.append((shown[down], ""))
        else:
            across -= 1
            pairs.append(("", said[across]))
    return tuple(reversed(pairs))
