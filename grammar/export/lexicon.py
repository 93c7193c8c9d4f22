"""PLS 1.0 (W3C Pronunciation Lexicon Specification, 14 October 2008): how the words of a book are said, in IPA."""

from __future__ import annotations

from xml.sax.saxutils import escape

from grammar.book import Book
from grammar.data import table
from grammar.sound import Phones, phones
from grammar.symbols import SpellingWord

NAMESPACE = "http://www.w3.org/2005/01/pronunciation-lexicon"


def pls(book: Book) -> str:
    """Return the lexicon of a book's spelling words and their variants."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<lexicon version="1.0" xmlns="{NAMESPACE}" alphabet="ipa" xml:lang="en">',
    ]
    for entry in book.alphabet.words.values():
        lines += _lexeme([entry.word], ipa(entry.phones()))
        for word in entry.also:
            lines += _lexeme([word], _variant(entry, word))
    return "\n".join([*lines, "</lexicon>", ""])


def _variant(entry: SpellingWord, word: str) -> str:
    """Return the sound of a variant: its own where letters give one, else that of the word it stands for."""
    from grammar.errors import CodeError

    try:
        return ipa(phones(word))
    except CodeError:
        return ipa(entry.phones())


def _lexeme(graphemes: list[str], sound: str) -> list[str]:
    spelled = "".join(f"<grapheme>{escape(grapheme)}</grapheme>" for grapheme in graphemes)
    return [f"  <lexeme>{spelled}<phoneme>{escape(sound)}</phoneme></lexeme>"]


def ipa(sounds: Phones) -> str:
    """Return phones in the International Phonetic Alphabet, by ``tables/ipa.toml``."""
    signs = table("ipa")["sign"]
    return "".join(signs[phone] for phone in sounds)
