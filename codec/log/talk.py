"""Talk typed into the live sheet: what is plainly no report, and the phrases and questions in it.

Only where code words are few is it talk. What may be an attempt at a report never is: that is kept
and asked for.
"""

from __future__ import annotations

from codec.radio.finder import Finder, Passages
from codec.sheet.state import lap_message
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.words import cut

_TALK = "… "  # behind this, small letters are not taken for symbols
_SIGN = 1.0  # bits: fewer than this and a word is hardly a sign of a code, such as "to" and "for"


def talk(finder: Finder, text: str) -> Passages | None:
    """Return the phrases and questions in a line of talk, None where the line may be a report.

    A line is talk if less than half of its words are code words, no half of a lap report stands in
    a row, and nothing in it takes something back or puts it right. Words that are as common in talk
    as in codes count for neither; small letters alone are a word here, no string.
    """
    told = f"{_TALK}{text}" if text.islower() else text
    begin = len(told) - len(text)
    words = [
        word
        for word in cut(finder.book.lexicon, told)
        if word.kind is not WordKind.FILLER and word.span[0] >= begin
    ]
    code = [word.kind in SPOKEN for word in words]
    signs = [word.kind in SPOKEN and finder.evidence.of_word(word) >= _SIGN for word in words]
    others = code.count(False)
    name = lap_message(finder.book)
    half = finder.book.messages[name].lengths[0] / 2 if name else len(words)
    changing = any(word.kind in CHANGING for word in words)
    if changing or (words and sum(signs) >= others) or _in_a_row(code, signs) >= half:
        return None
    found = finder.find(cut(finder.book.lexicon, text))
    asides = [passage for passage in found.listed if passage.kind in ("phrase", "ask")]
    return Passages(asides, found.reason)


def _in_a_row(code: list[bool], signs: list[bool]) -> int:
    """Return the most signs of a code with nothing but code words between them."""
    most = run = 0
    for one, sign in zip(code, signs, strict=True):
        run = run + sign if one else 0
        most = max(most, run)
    return most
