"""Code tables that list their codewords: any length, a prefix code or not."""

from __future__ import annotations

import functools
import math
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated

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
from grammar.declared import Checked, takes
from grammar.errors import EncodeError, Problem, raise_all
from grammar.fields import FieldBase
from grammar.symbols import Alphabet

MOST_LISTED = 1_000_000  # symbols in all the codewords of a listed table


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

    @functools.cached_property
    def lengths(self) -> tuple[int, int]:
        """The shortest and the longest codeword."""
        lengths = [len(word) for word in self.by_word]
        return min(lengths), max(lengths)

    def word(self, levels: Levels) -> str | None:
        """Return the codeword of a level, None if the table has none for it."""
        return self.by_level.get(levels[0] if len(levels) == 1 else self._counted(levels))

    def levels(self, word: str) -> Levels | None:
        """Return the levels of a codeword."""
        number = self.by_word.get(word)
        return None if number is None else self._levels(number)

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield the codewords in level order."""
        return ((self._levels(number), word) for number, word in self.by_level.items())

    def fragment(self) -> Fragment:
        """Return the automaton of the codewords."""
        return self._fragment

    @functools.cached_property
    def _fragment(self) -> Fragment:
        return trie(self.alphabet, self.by_word, self.name)


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
        return trie(self.alphabet, [self.literal], self.name)


def _words() -> typing.Any:
    from pydantic import Discriminator, Tag

    return Annotated[
        Annotated[list[str], Tag("list")] | Annotated[dict[str, str], Tag("table")],
        Discriminator(lambda words: "list" if isinstance(words, list) else "table"),
    ]


Words = Annotated[list[str] | dict[str, str], Checked(_words)]


class ListedSpec(OneField):
    """Explicit codewords of any length, for one field or for several together."""

    kind: typing.Literal["listed"]
    fields: list[str] | None = takes(
        default=None,
        min_length=2,
        max_length=16,
        description=(
            "Several fields said together, the first counting most; then list every codeword."
        ),
    )
    words: Words = takes(description="Codewords in level order, or value = codeword.")
    partial: bool = takes(
        default=False,
        description="Whether levels without a codeword are meant (another table says them).",
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Problem, or a group of them."""
        if self.fields is None:
            members = [self.field_of(name, fields)]
        else:
            members = members_of(self.fields, fields, "said")
            if self.field is not None or self.partial or not isinstance(self.words, list):
                raise Problem(
                    ("words",),
                    "codewords of several fields together are a whole list",
                    "words = [...], without `field` and `partial`",
                )
        words: dict[int, str] = {}
        raise_all(self._problems(members, alphabet, words))
        return Listed(name, members, alphabet, words)

    def _problems(
        self, members: Sequence[FieldBase], alphabet: Alphabet, words: dict[int, str]
    ) -> Iterator[Problem]:
        """Yield what is wrong with the codewords; put those that are right into ``words``, by the
        level, or the number of the combination of levels, the last field counting fastest.
        """
        size = math.prod(member.size for member in members)
        several = ", ".join(member.name for member in members)
        sizes = f"{size} {'levels' if len(members) == 1 else 'combinations'} of {several}"
        amount = sum(map(len, self.words if isinstance(self.words, list) else self.words.values()))
        if amount > MOST_LISTED:
            message = f"codewords of {amount} symbols in all; at most {MOST_LISTED} are allowed"
            yield Problem(("words",), message, "shorter codewords")
            return
        if isinstance(self.words, list) and len(self.words) > size:
            message = f"{len(self.words)} codewords for the {sizes}"
            yield Problem(("words",), message, "leave out the last")
            return
        owner: dict[str, int] = {}
        wrong = False
        used = frozenset(alphabet.symbols)
        pairs = enumerate(self.words) if isinstance(self.words, list) else self.words.items()
        for key, word in pairs:
            try:
                level = key if isinstance(key, int) else _level(members, key)
                if not (1 <= len(word) <= MOST_WIDTH and used.issuperset(word)):
                    _check_word(word, _shown(members, level), alphabet)
            except Problem as problem:
                wrong = True
                yield problem
                continue
            if level in words:
                shown = _shown(members, level)
                message = f"{shown} has two codewords, {words[level]!r} and {word!r}"
                yield Problem(("words",), message, "keep one")
            elif word in owner:
                one, other = (_shown(members, place) for place in (owner[word], level))
                message = f"codeword {word!r} means both {one} and {other}"
                yield Problem(("words",), message, "give one of them another codeword")
            words.setdefault(level, word)
            owner.setdefault(word, level)
        missing = next((level for level in range(size) if level not in words), None)
        if missing is not None and not self.partial and not wrong:
            shown = _shown(members, missing)
            message = f"{len(words)} codewords for the {sizes}; {shown} has none"
            yield Problem(("words",), message, "add them, or set partial = true")
        elif not self.words:
            yield Problem(("words",), "no codeword", "list at least one")


def _shown(members: Sequence[FieldBase], level: int) -> str:
    return members[0].text(level) if len(members) == 1 else f"combination {level}"


def _level(members: Sequence[FieldBase], key: str) -> int:
    """Return the level of the field that a codeword stands for; raises Problem where there is
    none.
    """
    (field,) = members
    try:
        rounded = field.level(key)
    except EncodeError as error:
        message = f"{key!r} is no value of {field.name}: {error.message}"
        raise Problem(("words",), message, f"values are {field.domain}") from None
    if rounded.error:
        raise Problem(
            ("words",),
            f"{key!r} lies between two levels of {field.name}",
            f"values are {field.domain}",
        )
    return rounded.level


def _check_word(word: str, shown: str, alphabet: Alphabet) -> None:
    if not 1 <= len(word) <= MOST_WIDTH:
        message = f"the codeword of {shown} has {len(word)} symbols"
        raise Problem(("words",), message, f"1 … {MOST_WIDTH} are allowed")
    in_use(word, alphabet, "words")
