"""What can still be read of a damaged file: every sound row on any page of it or of its write-ahead
log.

Rows are never changed or deleted and each carries a digest of its own, so a row that fits its
digest is one that was written, wherever it is found, whatever has become of the pages around it.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection
from pathlib import Path
from typing import Any

from codec.store.pages import records_in
from codec.store.store import JournalFormat
from codec.store.table import NUMBER


def sound_rows(path: Path, form: JournalFormat) -> tuple[list[dict[str, Any]], list[int]]:
    """Return the rows of the journal's table that can be read, in order, and the numbers missing
    among them; raises the journal's error where no file is.

    Rows that two programs wrote at the moment of a crash and that were never acknowledged may be
    among them.
    """
    table, last = form.table, 0
    found: dict[int, dict[str, Any]] = {}
    if table is None:
        raise ValueError(f"a {form.name} has no rows that bear digests")
    try:
        for number, record in records_in(path):
            facts = table.facts(number, record)
            if facts is not None:
                found.setdefault(facts[NUMBER], facts)
            elif record[:1] == [table.name] and len(record) == 2 and isinstance(record[1], int):
                last = max(last, record[1])  # SQLite's own note of the last number given
    except OSError as error:
        raise form.failure("file", f"{str(path)!r}: {error.strerror}") from None
    last = max([last, *found], default=0)
    return [found[n] for n in sorted(found)], [n for n in range(1, last + 1) if n not in found]


def texts_in(path: Path, names: Collection[str]) -> dict[str, set[str]]:
    """Return every text that some record of the file gives behind one of these names, whichever
    copy of it; {} where no file is.
    """
    found: dict[str, set[str]] = {}
    try:
        for _, record in records_in(path):
            for name, text in itertools.pairwise(record):
                if isinstance(name, str) and name in names and isinstance(text, str):
                    found.setdefault(name, set()).add(text)
    except OSError:
        return {}
    return found
