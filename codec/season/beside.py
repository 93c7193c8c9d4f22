"""Files that a team keeps beside the sheets of a season, in a folder of their own: of each car of
an event ``EVENT.CAR.csv``, or whatever a file of its kind is called behind that.
"""

from __future__ import annotations

import glob
from collections.abc import Iterator
from pathlib import Path

from codec.season.events import SeasonError, SeasonEvent, Wanted
from codec.season.source import Season
from codec.sheet.entry import Entry
from codec.sheet.journal import Journal
from codec.sheet.listing import SUFFIX
from codec.sheet.state import cars
from codec.store.place import Place, ServerPlace
from grammar.book import Book


def beside(
    season: Season, place: Place, wanted: Wanted, folder: Path, ending: str
) -> Iterator[tuple[Path, str, Book, list[Entry]]]:
    """Yield the files of the cars whose drivers count, each with the car, the book and the entries
    of its sheet. Raises SeasonError (``season-recorded``) where there is no such file.
    """
    none = True
    for event in wanted.events(season.events):
        where = _sheet_of(place, event)
        files = sorted(folder.glob(f"{glob.escape(event.event)}.*{ending}"))
        if not files or where is None:
            continue
        with Journal(where) as journal:
            entries = list(journal.entries())
        drivers = cars(entries)
        for path in files:
            car = path.name.removeprefix(f"{event.event}.").removesuffix(ending)
            if car in drivers and _is_wanted(drivers[car] or f"car {car}", wanted):
                none = False
                yield path, car, journal.book, entries
    if none:
        raise SeasonError(
            f"no file of a car of these events is in {str(folder)!r}",
            kind="season-recorded",
            expected=[f"EVENT.CAR{ending}, such as Round 3.7{ending}"],
        )


def _sheet_of(place: Place, event: SeasonEvent) -> Place | None:
    if isinstance(place, ServerPlace):
        return place.with_name(event.event)
    path = place / f"{event.event}{SUFFIX}"
    return path if path.exists() else None


def _is_wanted(driver: str, wanted: Wanted) -> bool:
    return not wanted.drivers or driver.casefold() in {one.casefold() for one in wanted.drivers}
