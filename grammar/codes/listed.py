"""Code tables that list their codewords: any length, a prefix code or not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from grammar.codes.base import CodeTable, Fragment, Levels, trie
from grammar.codes.numbered import re_escape
from grammar.fields import FieldBase
from grammar.symbols import Alphabet


class Listed(CodeTable):
    """Explicit codewords for the levels of one field, or of several counted as one mixed-radix
    number, the first field most significant.

    A partial table has no codeword for some levels.
    """

    kind = "listed"

    def __init__(
        self, name: str, fields: Sequence[FieldBase], alphabet: Alphabet, words: Mapping[int, str]
    ) -> None:
        """Take checked codewords by level: no two alike."""
        super().__init__(name, fields, alphabet)
        self.by_level = dict(sorted(words.items()))
        self.by_word = {word: level for level, word in self.by_level.items()}

    @property
    def size(self) -> int:
        """The number of codewords."""
        return len(self.by_level)

    @property
    def lengths(self) -> tuple[int, int]:
        """The shortest and the longest codeword."""
        lengths = [len(word) for word in self.by_word]
        return min(lengths), max(lengths)

    def word(self, levels: Levels) -> str | None:
        """Return the codeword of a level, None if the table has none for it."""
        number = 0
        for field, level in zip(self.fields, levels, strict=True):
            number = number * field.size + level
        return self.by_level.get(number)

    def levels(self, word: str) -> Levels | None:
        """Return the levels of a codeword."""
        number = self.by_word.get(word)
        return None if number is None else self._levels(number)

    def _levels(self, number: int) -> Levels:
        levels = []
        for field in reversed(self.fields[1:]):
            number, level = divmod(number, field.size)
            levels.append(level)
        return (number, *reversed(levels))

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield the codewords in level order."""
        return ((self._levels(number), word) for number, word in self.by_level.items())

    def fragment(self) -> Fragment:
        """Return the automaton of the codewords."""
        return trie(self.alphabet, self.by_word)

    def pattern(self) -> str:
        """Return an alternation, longer codewords first."""
        ordered = sorted(self.by_word, key=lambda word: (-len(word), word))
        return "(?:" + "|".join(re_escape(word) for word in ordered) + ")"


class Literal(CodeTable):
    """Symbols that always stand in the same place and carry no field."""

    kind = "literal"

    def __init__(self, text: str, alphabet: Alphabet) -> None:
        """Take the symbols."""
        super().__init__(f'"{text}"', (), alphabet)
        self.literal = text

    @property
    def size(self) -> int:
        """One."""
        return 1

    @property
    def lengths(self) -> tuple[int, int]:
        """The length of the text."""
        return len(self.literal), len(self.literal)

    def word(self, levels: Levels) -> str:  # noqa: ARG002 - there is nothing to say
        """Return the text."""
        return self.literal

    def levels(self, word: str) -> Levels | None:
        """Return no levels for the text, None for anything else."""
        return () if word == self.literal else None

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield the text."""
        yield (), self.literal

    def fragment(self) -> Fragment:
        """Return the automaton of the one word."""
        return trie(self.alphabet, [self.literal])

    def pattern(self) -> str:
        """Return the text, escaped."""
        return re_escape(self.literal)
