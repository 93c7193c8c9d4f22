"""A table of rows that are only ever added: each row has a digest of its own, and covers the digest
of the row before.

So a row that fits its digest is one that was written, wherever it is found, and a row that is
missing, doubled or from elsewhere shows.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

NUMBER, DIGEST, BEFORE = "seq", "digest", "before"


@dataclass(frozen=True, slots=True)
class Stored:
    """A column as the file has it: its name, the version of the file that brought it, and whether
    it holds real numbers.
    """

    name: str
    since: int = 1
    real: bool = False


class Table:
    """The declaration of a table: its name, what one row is called, and its columns.

    The first column is the row's number ``seq``. The store adds ``digest``, and from version
    ``chained`` on ``before``, the digest of the row before. As every column that comes later is
    added behind the others, their order in the file is that of their versions.
    """

    def __init__(
        self, name: str, columns: Sequence[Stored], *, row: str, rows: str, chained: int = 1
    ) -> None:
        """Put the columns in the order of the file."""
        own = [Stored(DIGEST), Stored(BEFORE, since=chained)]
        self.name, self.row, self.rows = name, row, rows
        self.columns = tuple(sorted([*columns, *own], key=lambda column: column.since))
        self.names = tuple(column.name for column in self.columns)
        listed = ", ".join(f'"{name}"' for name in self.names)
        places = ", ".join("?" * len(self.names))
        self.select = f'SELECT {listed} FROM "{name}"'  # noqa: S608 - names that the program declares
        self.insert = f'INSERT INTO "{name}" ({listed}) VALUES ({places})'  # noqa: S608

    def facts(self, number: int | None, record: Sequence[Any]) -> dict[str, Any] | None:
        """Return the row that a record of the file is, None if it is none of this table's or not as
        it was written.

        A row of an earlier version has fewer columns, and a real number that is whole is kept as a
        whole one ("Database File Format", 2.1).
        """
        first = sum(column.since == 1 for column in self.columns)
        if number is None or not first <= len(record) <= len(self.names):
            return None
        values = [number, *record[1:], *[None] * (len(self.names) - len(record))]
        facts = {
            column.name: float(value) if column.real and isinstance(value, int) else value
            for column, value in zip(self.columns, values, strict=True)
        }
        return facts if is_sound(facts) else None


def digest(facts: Mapping[str, Any]) -> str:
    """Return the digest of a row; empty columns don't count, so that a later version may add
    some.
    """
    said = {
        name: value for name, value in facts.items() if value not in (None, "") and name != DIGEST
    }
    return hashlib.blake2b(json.dumps(said, sort_keys=True).encode(), digest_size=8).hexdigest()


def is_sound(facts: Mapping[str, Any]) -> bool:
    """Tell whether a row is as it was written."""
    try:
        return bool(digest(facts) == facts[DIGEST])
    except (TypeError, ValueError):
        return False
