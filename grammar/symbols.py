"""The alphabet of a book: symbol ↔ spelling word, with accepted variants and the time each takes to
say.

The published words live in ``tables/*.toml``, one table per symbol, each file headed by its source.
A team may give its own words (``[alphabet.words]``), take symbols out of use (``retired``) or name
exactly those in use (``symbols``).
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from typing import Annotated, Any, Literal, NamedTuple

from grammar.data import table
from grammar.declared import Checked, Declared, takes
from grammar.errors import Problem

# published words, files of these names in ``tables``: of all letters and digits; of digits alone
Letters = Literal["icao"]
Figures = Literal[Letters, "itu"]
MOST_SYMBOLS = 96
_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)*(?: [^\W_]+(?:'[^\W_]+)*)*")
_MINUTE = 60.0


def normal(text: str) -> str:
    """Return the form in which words are compared: compatibility characters and case folded,
    hyphens as spaces.
    """
    return " ".join(unicodedata.normalize("NFKC", text).casefold().replace("-", " ").split())


def sayable(word: str) -> str:
    """Return the compared form of a word of a book; raises ValueError where it is not made of
    letters and digits alone.
    """
    folded = normal(word)
    if len(folded) > 60 or not word.isprintable() or not _WORD.fullmatch(folded):
        raise Problem(
            (),
            f"{word[:40]!r} can't be said",
            "words are letters and digits, with spaces, hyphens or apostrophes between them",
        )
    return folded


def possible(symbol: str) -> bool:
    """Tell whether a character may be a symbol: printable ASCII, no small letter, quote or
    space.
    """
    return "!" <= symbol <= "~" and not symbol.islower() and symbol not in "\"'"


class SpellingWord(NamedTuple):
    """The word for one symbol, as emitted, with the variants accepted for it and the time it takes
    (seconds).
    """

    symbol: str
    word: str
    also: tuple[str, ...]
    syllables: int
    seconds: float
    sound: str = ""

    def phones(self) -> tuple[str, ...]:
        """Return its phones: of the sound a team gave for it, else as published, else estimated."""
        from grammar import sound

        return sound.phones(normal(self.word), respelling=self.sound or None)


def _said(word: str) -> str:
    sayable(word)
    return word


def _after(check: Callable[[str], str]) -> Any:
    from pydantic import AfterValidator

    return Annotated[str, AfterValidator(check)]


Sayable = Annotated[str, Checked(lambda: _after(sayable))]
_Said = Annotated[str, Checked(lambda: _after(_said))]  # kept as written


class OwnWord(Declared):
    """A team's own word for a symbol."""

    word: _Said = takes(description="What is said and emitted.")
    also: list[Sayable] = takes(
        default_factory=list, max_length=50, description="Variants that are accepted too."
    )
    sound: str = takes(
        default="", description="The word respelled, stress in capitals: 'DELL tah'."
    )
    milliseconds: int | None = takes(
        default=None,
        ge=50,
        le=5000,
        description=(
            "Time to say it, used as given; if not given, estimated from its sound and scaled to"
            " `words_per_minute`."
        ),
    )


def _own_word() -> Any:
    from pydantic import Discriminator, Tag

    return Annotated[
        Annotated[_Said, Tag("text")] | Annotated[OwnWord, Tag("table")],
        Discriminator(lambda word: "table" if isinstance(word, dict | OwnWord) else "text"),
    ]


_Word = Annotated[str | OwnWord, Checked(_own_word)]


class AlphabetSpec(Declared):
    """``[alphabet]`` of a book."""

    letters: Letters = takes(default="icao", description="The words for letters.")
    figures: Figures = takes(
        default="icao", description="The words for digits: three (ICAO) or terrathree (ITU)."
    )
    symbols: str = takes(
        default="0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ",
        max_length=MOST_SYMBOLS,
        description="The symbols in use, in order.",
    )
    retired: str = takes(
        default="", max_length=MOST_SYMBOLS, description="Symbols taken out of use."
    )
    words: dict[str, _Word] = takes(
        default_factory=dict, description="A team's own words: symbol = word."
    )
    words_per_minute: float = takes(
        default=100,
        gt=20,
        le=300,
        description="Speaking rate; ICAO Doc 9432 2.2.1 asks for at most 100.",
    )

    def problems(self) -> Iterator[Problem]:
        """Yield what can't be a symbol, has no word, or can't be told from another, each with its
        key.
        """
        for key, symbols in (("symbols", self.symbols), ("retired", self.retired)):
            for place, symbol in enumerate(symbols):
                if symbols.index(symbol) < place:
                    yield Problem((key,), f"the symbol {symbol!r} stands twice", "write it once")
                elif key == "symbols" and not possible(symbol):
                    yield Problem(
                        (key,),
                        f"{symbol!r} can't be a symbol",
                        "one printable ASCII character, no small letter, quote or space",
                    )
                elif key == "retired" and symbol not in self.symbols:
                    yield Problem(
                        (key,),
                        f"{symbol!r} is no symbol, so it can't be retired",
                        f"the symbols are {self.symbols}",
                    )
        used = "".join(
            dict.fromkeys(symbol for symbol in self.symbols if symbol not in self.retired)
        )
        if not used:
            yield Problem(
                ("retired",) if self.symbols else ("symbols",),
                "no symbol is in use",
                "a code needs one at least",
            )
        for symbol in self.words:
            if symbol not in used or len(symbol) != 1:
                yield Problem(
                    ("words", symbol),
                    f"a word for {symbol!r}, which is no symbol in use",
                    f"in use are {used}",
                )
        published = self.published
        for symbol in used:
            if symbol not in self.words and symbol not in published and possible(symbol):
                yield Problem(
                    ("symbols",),
                    f"{symbol!r} has no published word",
                    "give one in [alphabet.words]",
                )
        yield from self._alike(
            "".join(symbol for symbol in used if symbol in self.words or symbol in published)
        )

    def _alike(self, used: str) -> Iterator[Problem]:
        """Yield a team's own words that stand for another symbol too."""
        said: dict[str, str] = {}
        for entry in self.entries(used):
            for word in dict.fromkeys((normal(entry.word), *entry.also)):
                other = said.setdefault(word, entry.symbol)
                guilty = entry.symbol if entry.symbol in self.words else other
                if other != entry.symbol:
                    message = f"the word {word!r} stands for both {other!r} and {entry.symbol!r}"
                    yield Problem(("words", guilty), message, "choose another word for one of them")
                if len(word) == 1 and word.upper() != entry.symbol and word.upper() in used:
                    yield Problem(
                        ("words", guilty),
                        f"the word {word!r} for {entry.symbol!r} is itself a symbol in use",
                        "choose another word",
                    )

    @property
    def published(self) -> dict[str, Any]:
        """The published words by their symbol, the rows of their tables."""
        figures = table(self.figures).items()
        return table(self.letters) | {one: row for one, row in figures if one.isdigit()}

    @property
    def rate(self) -> float:
        """How much longer than measured words take at this speaking rate: what published and
        estimated times are multiplied by, not those that a team gives.
        """
        return _MINUTE / self.words_per_minute / _mean_seconds()

    def entries(self, used: str) -> list[SpellingWord]:
        """Return the spelling words of the symbols ``used``, a team's own before the published."""
        published, rate = self.published, self.rate
        return [
            _published(symbol, published[symbol], rate)
            if (own := self.words.get(symbol)) is None
            else _own(symbol, own, rate)
            for symbol in used
        ]


@functools.cache
def _mean_seconds() -> float:
    """The mean time of the 36 published words; the rate in words a minute is about these."""
    rows = [row for symbol, row in table("icao").items() if symbol.isalnum()]
    return float(sum(row["milliseconds"] for row in rows)) / len(rows) / 1000


def _published(symbol: str, row: dict[str, Any], rate: float) -> SpellingWord:
    also = tuple(dict.fromkeys(normal(word) for word in row["also"]))
    seconds = row["milliseconds"] / 1000 * rate
    return SpellingWord(symbol, row["word"], also, row["syllables"], seconds, row.get("sound", ""))


def _own(symbol: str, own: str | OwnWord, rate: float) -> SpellingWord:
    from grammar import sound  # only own words need an estimate

    own = own if isinstance(own, OwnWord) else OwnWord(word=own, milliseconds=None)
    phones = sound.phones(normal(own.word), respelling=own.sound or None)
    seconds = sound.seconds(phones) * rate if own.milliseconds is None else own.milliseconds / 1000
    return SpellingWord(
        symbol,
        own.word,
        tuple(dict.fromkeys(own.also)),
        sound.syllables(phones),
        seconds,
        own.sound,
    )


class Alphabet:
    """The symbols in use, in order, and their words.

    ``symbols`` is the string of symbols; ``index`` numbers them; ``words`` maps symbol →
    SpellingWord; ``spoken`` maps every accepted word in its compared form → symbol.
    """

    def __init__(self, spec: AlphabetSpec, words: Sequence[SpellingWord] | None = None) -> None:
        """Take the symbols in use from a checked ``[alphabet]``, and the words worked out of it
        before.
        """
        self.spec = spec
        self.symbols = "".join(symbol for symbol in spec.symbols if symbol not in spec.retired)
        self.index = {symbol: number for number, symbol in enumerate(self.symbols)}
        entries = spec.entries(self.symbols) if words is None else words
        self.words = {entry.symbol: entry for entry in entries}
        self.spoken: dict[str, str] = {}
        for entry in self.words.values():
            for word in (normal(entry.word), *entry.also):
                self.spoken[word] = entry.symbol

    @property
    def digits(self) -> str:
        """The digits in use."""
        return "".join(symbol for symbol in self.symbols if symbol.isdigit())

    def standard_symbol(self, word: str) -> str:
        """Return the symbol that a word (in its compared form) stands for in the tables that the
        book begins with, also where it has retired it or has another word for it; "" for none.
        """
        for rows in (table(self.spec.letters), table(self.spec.figures)):
            for symbol, row in rows.items():
                if word in (normal(row["word"]), *map(normal, row["also"])):
                    return str(symbol)
        return ""

    def say(self, string: str) -> str:
        """Return the words for a string of symbols."""
        return " ".join(self.words[symbol].word for symbol in string)

    def seconds(self, string: str) -> float:
        """Return the time to say a string of symbols."""
        return sum(self.words[symbol].seconds for symbol in string)

    def mask(self, symbols: str) -> int:
        """Return a set of symbols as a bit mask over ``index``."""
        mask = 0
        for symbol in symbols:
            mask |= 1 << self.index[symbol]
        return mask

    def unmask(self, mask: int) -> str:
        """Return the symbols of a bit mask, in order."""
        return "".join(symbol for number, symbol in enumerate(self.symbols) if mask >> number & 1)

    def magnitudes(self, by: str) -> dict[str, float]:
        """Return the price of "hundred" and "thousand", by "seconds" at this alphabet's rate or by
        "syllables".
        """
        rate = self.spec.rate
        rows = table("speech")["numbers"]["magnitude_words"].values()
        return {
            row["word"]: (
                row["milliseconds"] / 1000 * rate if by == "seconds" else float(row["syllables"])
            )
            for row in rows
        }
