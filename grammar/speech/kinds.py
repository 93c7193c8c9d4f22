"""What a word of a transcript may be: the terminals of the speech grammar (``speech.lark``), and
what a book's words can't say.
"""

from __future__ import annotations

from enum import StrEnum


class WordKind(StrEnum):
    """What a word may be; ``label`` is what people call such a word where one is expected, ``use``
    what a word of this kind is taken for already.
    """

    label: str
    use: str

    def __new__(cls, name: str, label: str, use: str = "") -> WordKind:
        """Make a kind of the name that the grammar has for it."""
        kind = str.__new__(cls, name)
        kind._value_, kind.label, kind.use = name, label, use or label
        return kind

    UNIT = "UNIT", "a digit"
    TO = "TO", "a digit"  # "to" is 2, or parts the ends of SAY AGAIN … TO …
    LETTER = "LETTER", "a spelling word"
    TYPED = "TYPED", "typed symbols"
    TEEN = "TEEN", "a number"
    TENS = "TENS", "a number"
    HUNDRED = "HUNDRED", "a number word"
    THOUSAND = "THOUSAND", "a number word"
    AND = "AND", "a number word"
    MULTIPLE = "MULTIPLE", "double or triple", "a number word"
    FILLER = "FILLER", "a filler"
    SEPARATOR = "SEPARATOR", "the end of the message", "a procedure word or a phrase"
    ANSWER = "ANSWER", "a procedure word"
    CORRECTION = "CORRECTION", "CORRECTION", "a procedure word"
    ANEW = "ANEW", "CORRECTION, I SAY AGAIN", "a procedure word"
    REPEAT = "REPEAT", "I SAY AGAIN", "a procedure word"
    DISREGARD = "DISREGARD", "DISREGARD", "a procedure word"
    TWICE = "TWICE", "WORDS TWICE", "a procedure word"
    ASK = "ASK", "SAY AGAIN", "a procedure word"
    ALL_AFTER = "ALL_AFTER", "ALL AFTER", "a procedure word"
    ALL_BEFORE = "ALL_BEFORE", "ALL BEFORE", "a procedure word"
    # never words of a book, and no terminals of the grammar
    UNKNOWN = "UNKNOWN", "a word that no table holds"
    UNCLEAR = "UNCLEAR", "a word that nobody made out"
    CHOICE = "CHOICE", "a word with its alternatives"


ONE_SYMBOL = frozenset((WordKind.UNIT, WordKind.TO, WordKind.LETTER))
SPOKEN = ONE_SYMBOL | {
    WordKind.TYPED,
    WordKind.TEEN,
    WordKind.TENS,
    WordKind.HUNDRED,
    WordKind.THOUSAND,
    WordKind.AND,
    WordKind.MULTIPLE,
}  # what a run of symbols may be said with
CHANGING = frozenset(
    (WordKind.CORRECTION, WordKind.ANEW, WordKind.REPEAT, WordKind.DISREGARD, WordKind.TWICE)
)  # procedure words that change what was said before them, or how often it is said
