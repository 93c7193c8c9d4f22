"""The words a book lets a transcript say: spelling words and variants, number words, homophones,
fillers, procedure words and the team's phrases, in their compared form (see ``symbols.normal``),
and what each may mean.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from grammar.data import table
from grammar.errors import Problem
from grammar.speech.kinds import WordKind
from grammar.symbols import Alphabet, normal


class Meaning(NamedTuple):
    """What a word may be: its kind, and what it stands for.

    ``options`` are the strings of symbols it may stand for; ``value`` a number's amount, an
    answer's or an event's name.
    """

    kind: WordKind
    options: tuple[str, ...] = ()
    value: str = ""


class Lexicon:
    """Everything a book lets a transcript say, by compared form.

    ``problems`` are the words that can't be told from others; with any, it is of no use.
    """

    def __init__(
        self,
        alphabet: Alphabet,
        *,
        fillers: Sequence[str],
        phrases: Mapping[str, Sequence[str]],
        homophones: bool,
    ) -> None:
        """Gather the words of a book: fillers, and the forms of each phrase, in compared form."""
        self.alphabet = alphabet
        self.problems: list[Problem] = []
        self.meanings: dict[str, Meaning] = {}
        self.plain: dict[str, str] = {}
        data = table("speech")
        self._numbers(data, homophones=homophones)
        for word in data["fillers"]["words"]:
            self.meanings.setdefault(normal(word), Meaning(WordKind.FILLER, ("",)))
        self._procedure(data)
        self._spelling()
        for number, word in enumerate(fillers):
            self._filler(number, normal(word))
        for name, forms in phrases.items():
            for number, form in enumerate(forms):
                self._phrase(name, number, normal(form))
        self.longest: dict[str, int] = {}
        for words in (entry.split() for entry in self.meanings):
            self.longest[words[0]] = max(self.longest.get(words[0], 1), len(words))
        self._fast_words()

    def _numbers(
        self, data: Mapping[str, Mapping[str, Mapping[str, Sequence[str]]]], *, homophones: bool
    ) -> None:
        numbers = data["numbers"]
        for digit, words in numbers["units"].items():
            if digit in self.alphabet.index:
                for word in words:
                    self.meanings[word] = Meaning(WordKind.UNIT, (digit,))
        alike: Any = data["homophones"] if homophones else {}
        for digit, words in alike.items():
            if digit in self.alphabet.index:
                for word in words:
                    self.meanings[word] = Meaning(
                        WordKind.TO if word == "to" else WordKind.UNIT, (digit,)
                    )
        for kind, key in (
            (WordKind.TEEN, "teens"),
            (WordKind.TENS, "tens"),
            (WordKind.MULTIPLE, "multiples"),
        ):
            self._amounts(kind, numbers[key])
        magnitudes = numbers["magnitudes"]
        self._amounts(WordKind.HUNDRED, {"100": magnitudes["100"]})
        self._amounts(WordKind.THOUSAND, {"1000": magnitudes["1000"]})
        self.meanings["and"] = Meaning(WordKind.AND)

    def _amounts(self, kind: WordKind, amounts: Mapping[str, Sequence[str]]) -> None:
        for amount, words in amounts.items():
            for word in words:
                self.meanings[word] = Meaning(kind, (), amount)

    def _procedure(
        self, data: Mapping[str, Mapping[str, Sequence[str] | Mapping[str, Sequence[str]]]]
    ) -> None:
        for name, forms in data["procedure"].items():
            if isinstance(forms, Mapping):
                for value, words in forms.items():
                    self.meanings.update(
                        (word, Meaning(WordKind.ANSWER, (), value)) for word in words
                    )
            else:
                self.meanings.update((word, Meaning(WordKind[name.upper()])) for word in forms)

    def _spelling(self) -> None:
        """Add the alphabet's words; one that has another use is refused."""
        for word, symbol in self.alphabet.spoken.items():
            known = self.meanings.get(word)
            kind = WordKind.UNIT if symbol.isdigit() else WordKind.LETTER
            if known is None or symbol in known.options:
                self.meanings[word] = Meaning(kind, (symbol,))
            else:
                message = f"the word {word!r} for {symbol!r} is already {known.kind.use}"
                self.problems.append(
                    Problem(("alphabet", "words", symbol), message, "choose another word")
                )
        for symbol in self.alphabet.symbols:
            known = self.meanings.get(symbol.lower())
            if known is None or known.kind is WordKind.FILLER:
                self.meanings[symbol.lower()] = Meaning(
                    WordKind.UNIT if symbol.isdigit() else WordKind.LETTER, (symbol,)
                )
            elif symbol not in known.options:
                self.meanings[symbol.lower()] = Meaning(known.kind, (symbol, *known.options))

    def _phrase(self, name: str, number: int, form: str) -> None:
        known = self.meanings.get(form)
        if known is not None and known.value == name:
            return
        keys = ("phrases", name, "says", number)
        if known is not None:
            taken = (
                f"a form of {known.value!r}"
                if known.kind is WordKind.SEPARATOR and known.value
                else known.kind.use
            )
            self.problems.append(
                Problem(keys, f"the phrase {form!r} is already {taken}", "choose other words")
            )
        elif all(
            word in self.meanings
            and self.meanings[word].kind not in (WordKind.FILLER, WordKind.AND)
            for word in form.split()
        ):
            message = (
                f"the phrase {form!r} can't be told from a report: all its words have meanings of"
                " their own"
            )
            self.problems.append(Problem(keys, message, "add a word that means nothing else"))
        else:
            self.meanings[form] = Meaning(WordKind.SEPARATOR, (), name)

    def _filler(self, number: int, word: str) -> None:
        """Add a word that carries nothing; refused where it means something, for then it could
        never be passed over. Procedure words like ROGER are, with no word of the book.
        """
        known = self.meanings.setdefault(word, Meaning(WordKind.FILLER, ("",)))
        if known.kind not in (WordKind.FILLER, WordKind.ANSWER):
            what = "a symbol" if len(word) == 1 else known.kind.use
            self.problems.append(
                Problem(
                    ("speech", "fillers", number),
                    f"the filler {word!r} is already {what}",
                    "remove it",
                )
            )

    def _fast_words(self) -> None:
        """Gather the words that mean one symbol whatever stands beside them, as commonly written,
        for the fast path.

        Left out are words that could begin a longer group made of such words alone, and what could
        be typed symbols.
        """
        single = {
            word: m.options[0]
            for word, m in self.meanings.items()
            if " " not in word
            and m.kind in (WordKind.UNIT, WordKind.LETTER)
            and len(m.options) == 1
        }
        grouped = {
            entry.split()[0]
            for entry in self.meanings
            if " " in entry and all(word in single for word in entry.split())
        }
        for word, symbol in single.items():
            for form in (word, word.capitalize()):
                if word not in grouped and self.typed(form, alone=False) in (None, symbol):
                    self.plain.setdefault(form, symbol)
        for entry in self.alphabet.words.values():
            if "-" in entry.word and "-" not in self.alphabet.index:
                self.plain[entry.word] = self.plain[entry.word.capitalize()] = entry.symbol

    def typed(self, raw: str, *, alone: bool) -> str | None:
        """Return the symbols of a string typed as it stands on the dash, None if ``raw`` is none.

        Small letters are taken only beside a digit or where the string stands alone: "cab" inside a
        sentence is a word.
        """
        upper = raw.upper()
        if len(upper) != len(raw) or any(
            character not in self.alphabet.index for character in upper
        ):
            return None
        small = any(character.islower() for character in raw)
        return (
            upper
            if not small or alone or len(raw) == 1 or any(character.isdigit() for character in raw)
            else None
        )
