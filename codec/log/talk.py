"""Talk typed into the live sheet: what is plainly no report, and the phrases and questions in it.

Only where code words are few is it talk. What may be an attempt at a report never is: that is kept
and asked for.
"""

from __future__ import annotations

from codec.radio.finder import Finder
from codec.radio.found import Heard
from codec.sheet.state import lap_message
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.words import Word, cut

_TALK = "… "  # behind this, small letters are not taken for symbols
_SIGN = 1.0  # bits: fewer than this and a word is hardly a sign of a code, such as "to" and "for"


def talk(finder: Finder, text: str) -> Heard | None:
    """Return the phrases and questions in a line of talk, None where the line may be a report.

    A line is talk if less than half of its words are code words, no half of a lap report stands in
    a row, and nothing in it takes something back or puts it right. Words that are as common in talk
    as in codes count for neither; small letters alone are a word here, no string.
    """
    told = f"{_TALK}{text}" if text.islower() else text
    begin = len(told) - len(text)
    found = cut(finder.book.lexicon, told)
    words = [word for word in found if word.kind is not WordKind.FILLER and word.span[0] >= begin]
    code = [word.kind in SPOKEN for word in words]
    signs = [
        one and _bits(finder, told, word) >= _SIGN for one, word in zip(code, words, strict=True)
    ]
    others = code.count(False)
    name = lap_message(finder.book)
    half = finder.book.messages[name].lengths[0] / 2 if name else len(words)
    changing = any(word.kind in CHANGING for word in words)
    if changing or (words and sum(signs) >= others) or _in_a_row(code, signs) >= half:
        return None
    heard = finder.find(text)
    heard.found = [found for found in heard.found if found.kind in ("phrase", "ask")]
    return heard


def _bits(finder: Finder, text: str, word: Word) -> float:
    return finder.evidence.of_word(text[word.span[0] : word.span[1]], word.meaning)


def _in_a_row(code: list[bool], signs: list[bool]) -> int:
    """Return the most signs of a code with nothing but code words between them."""
    most = run = 0
    for one, sign in zip(code, signs, strict=True):
        run = run + sign if one else 0
        most = max(most, run)
    return most
