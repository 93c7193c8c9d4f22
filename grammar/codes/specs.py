"""``[tables.*]`` of a book: the models of the kinds of code table, and how each becomes a table
bound to its fields.
"""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Discriminator, Field, Tag

from grammar.codes.base import MOST_WIDTH, CodeTable
from grammar.codes.listed import Listed
from grammar.codes.numbered import Numbered, width_for
from grammar.codes.spec_base import (
    MOST_LISTED,
    AlphabetTrouble,
    Fields,
    OneField,
    Trouble,
    in_use,
    members_of,
)
from grammar.codes.spec_check import CheckSpec
from grammar.codes.spec_digits import DigitsSpec
from grammar.errors import EncodeError
from grammar.fields import FieldBase
from grammar.fields.base import Strict
from grammar.symbols import Alphabet


class ScaleSpec(OneField):
    """One symbol per level, in order."""

    kind: Literal["scale"]
    symbols: str | None = Field(
        None,
        max_length=96,
        description="The symbols in level order; the default is the alphabet's.",
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Trouble."""
        field = self.field_of(name, fields)
        figures = in_use(
            self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols"
        )
        if len(set(figures)) != len(figures):
            raise Trouble(
                "a symbol stands twice", "each level needs a symbol of its own", "symbols"
            )
        if self.symbols is not None and len(figures) > field.size:
            raise Trouble(
                f"{len(figures)} symbols for the {field.size} levels of {field.name}",
                "leave out those not needed",
                "symbols",
            )
        if len(figures) < field.size:
            hint = "use kind = 'packed' or 'digits', or a coarser step"
            kind = Trouble if self.symbols else AlphabetTrouble
            raise kind(
                f"{len(figures)} symbols can't say the {field.size} levels of {field.name}",
                hint,
                "symbols" if self.symbols else "kind",
            )
        return Numbered(name, [field], alphabet, kind="scale", figures=figures, width=1)


class ListedSpec(OneField):
    """Explicit codewords of any length, for one field or for several together."""

    kind: Literal["listed"]
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
        """Return the table; raises Trouble."""
        if self.fields is not None:
            return self._together(name, fields, alphabet)
        field = self.field_of(name, fields)
        words: dict[int, str] = {}
        owner: dict[str, str] = {}
        for level, shown, word in self._pairs(field):
            self._check_word(word, shown, alphabet)
            if level in words:
                raise Trouble(
                    f"{shown} has two codewords, {words[level]!r} and {word!r}", "keep one", "words"
                )
            if word in owner:
                raise Trouble(
                    f"codeword {word!r} means both {owner[word]} and {shown}",
                    "give one of them another codeword",
                    "words",
                )
            words[level], owner[word] = word, shown
        missing = [level for level in range(min(field.size, len(words) + 1)) if level not in words]
        if missing and not self.partial:
            shown = field.text(missing[0])
            raise Trouble(
                f"{len(words)} codewords for the {field.size} levels of {field.name}; {shown} has"
                " none",
                "add them, or set partial = true",
                "words",
            )
        if not words:
            raise Trouble("no codeword", "list at least one", "words")
        self._check_amount()
        return Listed(name, [field], alphabet, words)

    def _check_amount(self) -> None:
        amount = sum(map(len, self.words if isinstance(self.words, list) else self.words.values()))
        if amount > MOST_LISTED:
            raise Trouble(
                f"codewords of {amount} symbols in all; at most {MOST_LISTED} are allowed",
                "shorter codewords",
                "words",
            )

    def _together(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table of several fields: a codeword for every combination of levels, the last
        field counting fastest.
        """
        members = members_of(self.fields or [], fields, "said")
        size = math.prod(member.size for member in members)
        if self.field is not None or self.partial or not isinstance(self.words, list):
            raise Trouble(
                "codewords of several fields together are a whole list",
                "words = [...], without `field` and `partial`",
                "words",
            )
        if len(self.words) != size:
            raise Trouble(
                f"{len(self.words)} codewords for {size} combinations of"
                f" {', '.join(self.fields or [])}",
                where="words",
            )
        owner: dict[str, int] = {}
        for number, word in enumerate(self.words):
            self._check_word(word, f"combination {number}", alphabet)
            if owner.setdefault(word, number) != number:
                raise Trouble(
                    f"codeword {word!r} stands for combinations {owner[word]} and {number}",
                    "change one of them",
                    "words",
                )
        self._check_amount()
        return Listed(name, members, alphabet, dict(enumerate(self.words)))

    def _pairs(self, field: FieldBase) -> list[tuple[int, str, str]]:
        if isinstance(self.words, list):
            if len(self.words) > field.size:
                raise Trouble(
                    f"{len(self.words)} codewords for the {field.size} levels of {field.name}",
                    "leave out the last",
                    "words",
                )
            return [(level, field.text(level), word) for level, word in enumerate(self.words)]
        pairs = []
        for key, word in self.words.items():
            try:
                rounded = field.level(key)
            except EncodeError as error:
                raise Trouble(
                    f"{key!r} is no value of {field.name}: {error.message}",
                    f"values are {field.domain}",
                    "words",
                ) from None
            if rounded.error:
                raise Trouble(
                    f"{key!r} lies between two levels of {field.name}",
                    f"values are {field.domain}",
                    "words",
                )
            pairs.append((rounded.level, field.text(rounded.level), word))
        return pairs

    def _check_word(self, word: str, shown: str, alphabet: Alphabet) -> None:
        if not 1 <= len(word) <= MOST_WIDTH:
            raise Trouble(
                f"the codeword of {shown} has {len(word)} symbols",
                f"1 … {MOST_WIDTH} are allowed",
                "words",
            )
        in_use(word, alphabet, "words")


class PackedSpec(Strict):
    """Several fields in one mixed-radix number, written in as many symbols as it needs."""

    kind: Literal["packed"]
    fields: list[str] = Field(
        min_length=1, max_length=64, description="The fields, the first counting most."
    )
    symbols: str | None = Field(
        None,
        min_length=2,
        max_length=96,
        description="The figures, value 0 first; the default is the alphabet.",
    )
    width: int | None = Field(
        None,
        ge=1,
        le=MOST_WIDTH,
        description="How many symbols; the default is as many as are needed.",
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Trouble."""
        members = members_of(self.fields, fields, "packed")
        figures = in_use(
            self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols"
        )
        if len(set(figures)) != len(figures) or len(figures) < 2:
            raise Trouble("a packed table needs two or more different symbols", where="symbols")
        size = math.prod(member.size for member in members)
        needed = width_for(size, len(figures))
        if needed > MOST_WIDTH or (self.width is not None and self.width < needed):
            shown = f"{size}" if size < 10**12 else f"about {size:.1e}"
            raise (Trouble if self.symbols else AlphabetTrouble)(
                f"{shown} combinations need {needed} symbols",
                "fewer or coarser fields, or more symbols",
                "width",
            )
        return Numbered(
            name, members, alphabet, kind="packed", figures=figures, width=self.width or needed
        )


TableSpec = Annotated[
    DigitsSpec | ScaleSpec | ListedSpec | PackedSpec | CheckSpec, Field(discriminator="kind")
]
__all__ = [
    "CheckSpec",
    "DigitsSpec",
    "ListedSpec",
    "PackedSpec",
    "ScaleSpec",
    "TableSpec",
    "Trouble",
]
