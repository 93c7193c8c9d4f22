"""What the models of all kinds of code table share: finding fields, symbols in use, and the trouble
of a table that can't be built.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Mapping

from pydantic import Field

from grammar.fields import FieldBase
from grammar.fields.base import Strict
from grammar.symbols import Alphabet

Fields = Mapping[str, FieldBase]
MOST_STRIDE = (
    1000  # counts a step; which numbers occur is followed digit by digit modulo the stride
)
MOST_LISTED = 100_000  # symbols in all the codewords of a listed table


class Trouble(ValueError):
    """A table that can't be built; ``where`` is the key of the table it is about, ``hint`` what to
    do.
    """

    def __init__(self, message: str, hint: str = "", where: str = "") -> None:
        """Keep message, hint and key."""
        super().__init__(message)
        self.message, self.hint, self.where = message, hint, where


class AlphabetTrouble(Trouble):
    """Trouble with the symbols in use; where the book's alphabet is wrong itself, the table is not
    to be blamed.
    """


class OneField(Strict):
    """What tables of one field share."""

    field: str | None = Field(
        None, description="The field it says; the default is the field of the same name."
    )

    def field_of(self, name: str, fields: Fields) -> FieldBase:
        """Return the field of the table ``name``; raises Trouble."""
        return found(self.field or name, fields, "field" if self.field else "")


def found(name: str, fields: Fields, where: str) -> FieldBase:
    """Return a field by name; raises Trouble that names the fields there are."""
    if name not in fields:
        known = ", ".join(itertools.islice(fields, 12)) or "none"
        raise Trouble(f"there is no field {name!r}", f"the book's fields are: {known}", where)
    return fields[name]


def members_of(names: list[str], fields: Fields, done: str) -> list[FieldBase]:
    """Return the fields of a table of several; raises Trouble."""
    members = [found(name, fields, "fields") for name in names]
    twice = [name for name, n in Counter(names).items() if n > 1]
    if twice:
        raise Trouble(f"{twice[0]!r} is {done} twice", "name each field once", "fields")
    return members


def in_use(text: str, alphabet: Alphabet, where: str) -> str:
    """Return ``text`` if all its symbols are in use; raises Trouble."""
    missing = sorted({symbol for symbol in text if symbol not in alphabet.index})
    if missing:
        raise AlphabetTrouble(
            f"{', '.join(map(repr, missing))} not in use in this alphabet",
            f"in use: {alphabet.symbols}",
            where,
        )
    return text
