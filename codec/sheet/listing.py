"""The sheets of a place: those of a folder, or all of a server, each with when it was written."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from codec.sheet.journal import sheet_format
from codec.sheet.table import ENTRIES
from codec.store.opening import asking, opened
from codec.store.place import Place, ServerPlace
from codec.store.table import NUMBER

SUFFIX = ".sheet"  # of the files that a folder is asked for
_ON_A_SERVER = f"""
SELECT name, last,
    (SELECT logged FROM niner.entries WHERE journal = number AND {NUMBER} = 1),
    (SELECT logged FROM niner.entries WHERE journal = number AND {NUMBER} = last),
    (SELECT text FROM niner.facts WHERE journal = number AND facts.name = 'name')
FROM niner.journals WHERE word = ? ORDER BY name
"""  # noqa: S608 - names that the program declares
_IN_A_FILE = f"SELECT min(logged), max(logged) FROM entries WHERE {NUMBER} IN (1, ?)"  # noqa: S608


@dataclass(frozen=True, slots=True)
class SheetAbout:
    """A sheet: its name, how many entries it has, the computer's clock at the first and the last of
    them ("" where there is none), and the name of its book.
    """

    name: str
    entries: int
    first: str
    last: str
    book: str


def sheets_in(place: Place) -> list[SheetAbout]:
    """Return the sheets of a folder, by name, or all of a server that one may see; raises
    SheetError where one can't be read.
    """
    found = _files(place) if isinstance(place, Path) else _on_a_server(place)
    return [
        SheetAbout(name, entries, *(one or "" for one in told)) for name, entries, *told in found
    ]


def _on_a_server(place: ServerPlace) -> Iterator[Any]:
    form = sheet_format()
    with asking(place, form) as server:
        yield from server.execute(_ON_A_SERVER, (form.word,)).fetchall()


def _files(folder: Path) -> Iterator[Any]:
    for path in sorted(folder.glob(f"*{SUFFIX}")):
        with contextlib.closing(opened(path, sheet_format())) as store, store.reading():
            last, _ = ENTRIES.stored.last(store) or (0, "")
            first, final = store.execute(_IN_A_FILE, (last,)).fetchone()
            yield path.stem, last, first, final, store.facts.get("name")
