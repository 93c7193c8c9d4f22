"""Code tables that list their codewords: any length, a prefix code or not."""

from __future__ import annotations

import math
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated

from pydantic import Discriminator, Field, Tag

from grammar.codes.base import (
    MOST_WIDTH,
    CodeTable,
    Fields,
    Fragment,
    Levels,
    OneField,
    in_use,
    members_of,
    trie,
)
from grammar.errors import EncodeError, Problem
from grammar.fields import FieldBase
from grammar.symbols import Alphabet

MOST_LISTED = 100_000  # symbols in all the codewords of a listed table


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
        return self.by_level.get(self._counted(levels))

    def levels(self, word: str) -> Levels | None:
        """Return the levels of a codeword."""
        number = self.by_word.get(word)
        return None if number is None else self._levels(number)

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield the codewords in level order."""
        return ((self._levels(number), word) for number, word in self.by_level.items())

    def fragment(self) -> Fragment:
        """Return the automaton of the codewords."""
        return trie(self.alphabet, self.by_word)


class Literal(CodeTable):
    """Symbols that always stand in the same place and carry no field."""

    kind = "literal"

    def __init__(self, text: str, alphabet: Alphabet) -> None:
        """Take the symbols."""
        super().__init__(f'"{text}"', (), alphabet)
        self.literal: str = text

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


class ListedSpec(OneField):
    """Explicit codewords of any length, for one field or for several together."""

    kind: typing.Literal["listed"]
    fields: list[str] | None = Field(
        None,
        min_length=2,
        max_length=16,
        description=(
            "Several fields said together, the first counting most; then list every codeword."
        ),
    )
    words: Annotated[
        Annotated[list[str], Tag("list")] | Annotated[dict[str, str], Tag("table")],
        Discriminator(lambda words: "list" if isinstance(words, list) else "table"),
    ] = Field(description="Codewords in level order, or value = codeword.")
    partial: bool = Field(
        False, description="Whether levels without a codeword are meant (another table says them)."
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Problem."""
        if self.fields is not None:
            return self._together(name, fields, alphabet)
        field = self.field_of(name, fields)
        words: dict[int, str] = {}
        owner: dict[str, str] = {}
        for level, shown, word in self._pairs(field):
            self._check_word(word, shown, alphabet)
            if level in words:
                raise Problem(
                    ("words",),
                    f"{shown} has two codewords, {words[level]!r} and {word!r}",
                    "keep one",
                )
            if word in owner:
                raise Problem(
                    ("words",),
                    f"codeword {word!r} means both {owner[word]} and {shown}",
                    "give one of them another codeword",
                )
            words[level], owner[word] = word, shown
        missing = [level for level in range(min(field.size, len(words) + 1)) if level not in words]
        if missing and not self.partial:
            shown = field.text(missing[0])
            raise Problem(
                ("words",),
                f"{len(words)} codewords for the {field.size} levels of {field.name}; {shown} has"
                " none",
                "add them, or set partial = true",
            )
        if not words:
            raise Problem(("words",), "no codeword", "list at least one")
        self._check_amount()
        return Listed(name, [field], alphabet, words)

    def _check_amount(self) -> None:
        amount = sum(map(len, self.words if isinstance(self.words, list) else self.words.values()))
        if amount > MOST_LISTED:
            raise Problem(
                ("words",),
                f"codewords of {amount} symbols in all; at most {MOST_LISTED} are allowed",
                "shorter codewords",
            )

    def _together(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table of several fields: a codeword for every combination of levels, the last
        field counting fastest.
        """
        members = members_of(self.fields or [], fields, "said")
        size = math.prod(member.size for member in members)
        if self.field is not None or self.partial or not isinstance(self.words, list):
            raise Problem(
                ("words",),
                "codewords of several fields together are a whole list",
                "words = [...], without `field` and `partial`",
            )
        if len(self.words) != size:
            raise Problem(
                ("words",),
                f"{len(self.words)} codewords for {size} combinations of"
                f" {', '.join(self.fields or [])}",
            )
        owner: dict[str, int] = {}
        for number, word in enumerate(self.words):
            self._check_word(word, f"combination {number}", alphabet)
            if owner.setdefault(word, number) != number:
                raise Problem(
                    ("words",),
                    f"codeword {word!r} stands for combinations {owner[word]} and {number}",
                    "change one of them",
                )
        self._check_amount()
        return Listed(name, members, alphabet, dict(enumerate(self.words)))

    def _pairs(self, field: FieldBase) -> list[tuple[int, str, str]]:
        if isinstance(self.words, list):
            if len(self.words) > field.size:
                raise Problem(
                    ("words",),
                    f"{len(self.words)} codewords for the {field.size} levels of {field.name}",
                    "leave out the last",
                )
            return [(level, field.text(level), word) for level, word in enumerate(self.words)]
        pairs = []
        for key, word in self.words.items():
            try:
                rounded = field.level(key)
            except EncodeError as error:
                raise Problem(
                    ("words",),
                    f"{key!r} is no value of {field.name}: {error.message}",
                    f"values are {field.domain}",
                ) from None
            if rounded.error:
                raise Problem(
                    ("words",),
                    f"{key!r} lies between two levels of {field.name}",
                    f"values are {field.domain}",
                )
            pairs.append((rounded.level, field.text(rounded.level), word))
        return pairs

    def _check_word(self, word: str, shown: str, alphabet: Alphabet) -> None:
        if not 1 <= len(word) <= MOST_WIDTH:
            raise Problem(
                ("words",),
                f"the codeword of {shown} has {len(word)} symbols",
                f"1 … {MOST_WIDTH} are allowed",
            )
        in_use(word, alphabet, "words")
