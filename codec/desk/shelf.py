"""The sheets of a desk: those that it was given, and all that a folder or a server has, each opened
when somebody first asks for it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping

from codec.desk.sheets import OpenSheet
from codec.race.people import EventFile
from codec.sheet.listing import SheetAbout, places_in, sheets_in
from codec.store.place import Place
from grammar.errors import CodeError


class Shelf:
    """The sheets of a desk, by name; those of a ``place`` are whichever are there when it is
    asked.
    """

    def __init__(
        self,
        given: Mapping[str, OpenSheet],
        place: Place | None = None,
        event: EventFile | None = None,
    ) -> None:
        """Take the sheets; those of the place are shown with the event."""
        self._sheets, self._place, self._event = dict(given), place, event

    def open(self) -> None:
        """Open the sheets that were given; raises CodeError."""
        for sheet in self._sheets.values():
            sheet.open()

    async def begin(self) -> None:
        """Watch them, too."""
        for sheet in self._sheets.values():
            await sheet.begin()

    def __getitem__(self, name: str) -> OpenSheet:
        """Return a sheet that is open; raises KeyError where there is none."""
        return self._sheets[name]

    async def opened(self, name: str) -> None:
        """Open a sheet where it is not open yet; raises KeyError where there is none, and
        CodeError.
        """
        if name not in self._sheets and self._place is not None:
            places = await asyncio.to_thread(places_in, self._place)
            self._sheets.setdefault(name, OpenSheet(places[name], event=self._event))
        await self._sheets[name].begin()

    def listed(self) -> tuple[list[SheetAbout], str]:
        """Return what there is to choose from, the last written first; where a server can't tell,
        those that are open, and why.
        """
        trouble = ""
        if self._place is not None:
            try:
                found = sorted(sheets_in(self._place), key=lambda one: one.last, reverse=True)
            except CodeError as error:
                trouble = error.message
            else:
                return found, ""
        return [SheetAbout(name) for name in sorted(self._sheets)], trouble

    async def close(self) -> None:
        """Close those that are open."""
        for sheet in self._sheets.values():
            await sheet.close()
