"""How the words of a book are said: PLS 1.0 (W3C Pronunciation Lexicon Specification, 14 October
2008) in IPA, and a dictionary in ARPAbet.

The dictionary has the form of the CMU Pronouncing Dictionary without stress, one word a line, which
the Sphinx recognisers read.
"""

from __future__ import annotations

from xml.sax.saxutils import escape

from grammar.book import Book
from grammar.data import table
from grammar.errors import CodeError
from grammar.sound import Phones, phones, pronunciations, respelled
from grammar.symbols import SpellingWord, normal

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


def dictionary(book: Book) -> str:
    """Return the words that the grammars for recognisers are made of, each with its phones; digits
    also as in everyday speech.

    Raises CodeError where a respelling of several words has not as many parts as these.
    """
    said: dict[str, tuple[Phones, ...]] = {}
    for entry in book.alphabet.words.values():
        words = entry.word.lower().split()
        if len(words) > 1:
            said |= {
                word: (sound,)
                for word, sound in zip(words, _apart(entry, words), strict=True)
                if word not in said
            }
        else:
            everyday = () if entry.sound else pronunciations(normal(entry.word), plain=True)
            said[words[0]] = tuple(dict.fromkeys((entry.phones(), *everyday)))
    lines = [
        f"{word}{f'({number})' if number > 1 else ''} {' '.join(sound)}\n"
        for word, sounds in sorted(said.items())
        for number, sound in enumerate(sounds, start=1)
    ]
    return "".join(lines)


def _apart(entry: SpellingWord, words: list[str]) -> list[Phones]:
    if not entry.sound:
        return [phones(word) for word in words]
    parts = entry.sound.split(" ")
    if len(parts) != len(words):
        raise CodeError(
            f"the sound {entry.sound!r} of {entry.word!r} can't be divided among its words",
            kind="no-sound",
            expected=[f"{len(words)} respelled words"],
            hint="join the syllables of a word with hyphens",
        )
    return [respelled(part) for part in parts]


def _variant(entry: SpellingWord, word: str) -> str:
    """Return the sound of a variant: its own where letters give one, else that of the word it
    stands for.
    """
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
