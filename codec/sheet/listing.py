"""The sheets of a place: those of a folder, or all of a server, each with when it was written."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from codec.sheet.entry import SheetError
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
_NAMES = "SELECT name FROM niner.journals WHERE word = ? ORDER BY name"
_IN_A_FILE = f"SELECT min(logged), max(logged) FROM entries WHERE {NUMBER} IN (1, ?)"  # noqa: S608


@dataclass(frozen=True, slots=True)
class SheetAbout:
    """A sheet: its name, how many entries it has, the computer's clock at the first and the last of
    them ("" where there is none), the name of its book, and why it can't be read ("" where it can).
    """

    name: str
    entries: int = 0
    first: str = ""
    last: str = ""
    book: str = ""
    trouble: str = ""


def sheets_in(place: Place) -> list[SheetAbout]:
    """Return the sheets of a folder, by name, or all of a server that one may see; raises
    SheetError where a server can't tell.
    """
    if isinstance(place, Path):
        return [_file(name, path) for name, path in places_in(place).items()]
    return [_about(*row) for row in _on_a_server(place, _ON_A_SERVER)]


def places_in(place: Place) -> dict[str, Place]:
    """Return where the sheets of a folder or a server are, by name; raises SheetError where a
    server can't tell.
    """
    if isinstance(place, Path):
        return {path.stem: path for path in sorted(place.glob(f"*{SUFFIX}"))}
    return {name: place.with_name(name) for (name,) in _on_a_server(place, _NAMES)}


def _about(name: str, entries: int, *told: str | None) -> SheetAbout:
    return SheetAbout(name, entries, *(one or "" for one in told))


def _on_a_server(place: ServerPlace, query: str) -> list[Any]:
    form = sheet_format()
    with asking(place, form) as server:
        return server.execute(query, (form.word,)).fetchall()


def _file(name: str, path: Place) -> SheetAbout:
    try:
        with contextlib.closing(opened(path, sheet_format())) as store, store.reading():
            last, _ = ENTRIES.stored.last(store) or (0, "")
            first, final = store.execute(_IN_A_FILE, (last,)).fetchone()
            return _about(name, last, first, final, store.facts.get("name"))
    except SheetError as error:
        return SheetAbout(name, trouble=error.message)
