"""What the acoustic model tells apart, and the sentences it is trained on, from ``words.toml``."""

from __future__ import annotations

import functools
import random
import tomllib
from dataclasses import dataclass
from pathlib import Path

SYMBOLS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
BLANK = 0
_TABLE = tomllib.loads(Path(__file__).with_name("words.toml").read_text("utf-8"))

# the kinds of sentences, and how often each is
KINDS = {"report": 50, "list": 20, "chatter": 20, "mixture": 10}


@dataclass(frozen=True, slots=True)
class Sentence:
    """Words to be said, by their forms, and of which kind they are; ``pauses`` tells after which
    words there is one.
    """

    kind: str
    words: tuple[str, ...]
    pauses: tuple[bool, ...]

    @property
    def text(self) -> str:
        """The text for a synthesiser."""
        respelt = _TABLE["respelt"]
        return " ".join(
            respelt.get(word, word) + ("," if pause else "")
            for word, pause in zip(self.words, self.pauses, strict=True)
        )


@functools.cache
def others() -> tuple[str, ...]:
    """Return the words with a class of their own that are no symbol's."""
    listed = " ".join(_TABLE["others"].values()).split()
    return tuple(dict.fromkeys(word for word in listed if word not in symbol_of()))


@functools.cache
def symbol_of() -> dict[str, str]:
    """Return the symbol of each form."""
    return {form: symbol for symbol, forms in _TABLE["symbols"].items() for form in forms}


@functools.cache
def classes() -> tuple[str, ...]:
    """Return the classes by number: "" for the blank, a word for each symbol, the other words, and
    "?" for all other talk.
    """
    spelling = [next(iter(_TABLE["symbols"][symbol])) for symbol in SYMBOLS]
    return ("", *spelling, *others(), "?")


@functools.cache
def class_numbers() -> dict[str, int]:
    """Return the number of each form's class."""
    numbers = {word: number for number, word in enumerate(classes()) if word not in ("", "?")}
    return numbers | {form: 1 + SYMBOLS.index(symbol) for form, symbol in symbol_of().items()}


def class_number(word: str) -> int:
    """Return the number of a word's class: that of all other talk where it has none."""
    return class_numbers().get(word, len(classes()) - 1)


def said(rng: random.Random) -> str:
    """Return a form of a symbol."""
    digits = rng.random() < 0.45
    forms = _TABLE["symbols"][rng.choice(SYMBOLS[:10] if digits else SYMBOLS)]
    return rng.choices(list(forms), list(forms.values()))[0]


def chatted(rng: random.Random, unknown: list[str]) -> str:
    """Return a word of chatter."""
    share = rng.random()
    if share < 0.6:
        return rng.choice(others())
    return rng.choice(unknown if share < 0.96 else _TABLE["homophones"]["words"].split())


def sentence(rng: random.Random, unknown: list[str], kind: str = "") -> Sentence:
    """Return a sentence of a kind, of one by chance where none is given."""
    kind = kind or rng.choices(list(KINDS), list(KINDS.values()))[0]
    pausing = 0.12
    if kind == "report":
        before = rng.randint(1, 4) if rng.random() < 0.25 else 0
        count = rng.randint(2, 9) if rng.random() < 0.5 else rng.randint(6, 8)
        after = rng.randint(1, 3) if rng.random() < 0.15 else 0
        words = [chatted(rng, unknown) for _ in range(before)]
        words += [said(rng) for _ in range(count)]
        words += [chatted(rng, unknown) for _ in range(after)]
        pausing = rng.choice([0.0, 0.0, 0.1, 0.3])
    elif kind == "list":
        words = [said(rng) if rng.random() < 0.75 else chatted(rng, unknown) for _ in range(10)]
        pausing = 1.0
    elif kind == "chatter":
        words = [chatted(rng, unknown) for _ in range(rng.randint(3, 9))]
    else:
        words = [
            said(rng) if rng.random() < 0.5 else chatted(rng, unknown)
            for _ in range(rng.randint(3, 9))
        ]
    pauses = [rng.random() < pausing for _ in words[:-1]]
    return Sentence(kind, tuple(words), (*pauses, False))


def unknown_words(listed: Path, count: int = 3000) -> list[str]:
    """Return words of a word list that have no class of their own."""
    words = sorted(
        word
        for word in set(listed.read_text("utf-8").split())
        if word.isascii()
        and word.isalpha()
        and word.islower()
        and 3 <= len(word) <= 10
        and word not in class_numbers()
    )
    return sorted(random.Random(7).sample(words, min(count, len(words))))


def main() -> None:
    """Print the phones of every word that may be said, in the everyday way, as JSON."""
    import json

    from grammar import sound

    words = {*class_numbers(), *_TABLE["homophones"]["words"].split()}
    words |= set(unknown_words(Path("/usr/share/dict/american-english-small")))
    phones = {word: sound.phones(_TABLE["respelt"].get(word, word), plain=True) for word in words}
    print(json.dumps(dict(sorted(phones.items()))))


if __name__ == "__main__":
    main()
