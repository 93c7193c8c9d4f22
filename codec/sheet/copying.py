"""A sheet copied whole to another place, from a file to a server and back: the same sheet, with its
own name, its book and every entry as it was written.

What is copied goes on from what is there: a copy that was broken off is finished, and one that was
made before gets what came since.
"""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Callable, Mapping
from typing import Any

from codec.sheet.entry import SheetError
from codec.sheet.journal import Journal, sheet_format, write_facts
from codec.sheet.table import ENTRIES
from codec.store.copying import AT_ONCE, Copied, batches
from codec.store.opening import opened
from codec.store.place import Place
from codec.store.rows import Rows
from codec.store.table import BEFORE, NUMBER, digest
from grammar.errors import counted


def copy(
    journal: Journal, place: Place, told: Callable[[int, int], object] = lambda _, __: None
) -> Copied:
    """Copy a sheet, or what a copy of it lacks; ``told`` hears how many entries are copied so far,
    of how many.

    Raises SheetError where another sheet is there (``sheet-other``), or the copy has entries that
    the sheet has not (``sheet-apart``): neither is changed then.
    """
    facts = journal.origin
    store = opened(place, sheet_format(), functools.partial(write_facts, facts))
    with contextlib.closing(store):
        if {name: store.facts.get(name) for name in facts} != facts:
            raise SheetError(
                f"another sheet is at {str(place)!r}", kind="sheet-other", hint="name another place"
            )
        rows = Rows(store, ENTRIES.stored)
        before = rows.last
        _check_same(journal, rows, place)
        if desks := [(name, 0) for name in journal.desks]:
            with store.transaction():
                for desk in desks:
                    store.execute("INSERT INTO desks VALUES (?, ?) ON CONFLICT DO NOTHING", desk)
        count, total = 0, journal.last - before
        for batch in batches(journal.stored(after=before), AT_ONCE):
            with store.transaction():
                if rows.last != before + count:
                    raise _apart(place, rows.last)
                rows.add(*batch)
            count += len(batch)
            told(count, total)
        return Copied(count, before)


def _check_same(journal: Journal, rows: Rows, place: Place) -> None:
    """Raise unless the last entry of the copy is that of the sheet with its number."""
    if (more := rows.last - journal.last) > 0:
        raise SheetError(
            f"{str(place)!r} has {counted(more, 'entry', 'entries')} more than the sheet",
            kind="sheet-apart",
            hint="copy the other way",
        )
    if rows.last:
        mine, theirs = journal.row(rows.last), rows.find(NUMBER, rows.last)
        if _as_written(mine) != _as_written(theirs):
            raise _apart(place, rows.last)


def _as_written(facts: Mapping[str, Any] | None) -> str:
    """Return what stands for an entry: its digest, whatever was before; "" for none."""
    return "" if facts is None else digest({**facts, BEFORE: None})


def _apart(place: Place, number: int) -> SheetError:
    return SheetError(
        f"entry {number} at {str(place)!r} is not that of this sheet: both went on by themselves",
        kind="sheet-apart",
        hint="copy to another place; both sheets stay as they are",
    )
