"""The rows of a journal's table, read in order and written one after the other; what is missing,
doubled or changed is told wherever it is read.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, NoReturn

from codec.store.store import Store
from codec.store.table import BEFORE, DIGEST, NUMBER, Table, digest, is_sound

Facts = dict[str, Any]
Records = Sequence[Sequence[Any]]
TOGETHER = 500  # rows that are looked at together
_BETWEEN = f" WHERE {NUMBER} BETWEEN ? AND ? ORDER BY {NUMBER}"


class Rows:
    """The rows of the table of a journal that is open.

    The first row covers the facts of the journal. Raises the journal's errors.
    """

    def __init__(self, store: Store, table: Table) -> None:
        """Keep what the rows stand in."""
        self._store, self.table, self._head = store, table, digest(store.facts)

    @property
    def last(self) -> int:
        """The number of the last row, 0 if there is none."""
        with self._store.telling():
            last = self.table.last(self._store)
        return 0 if last is None else last[0]

    def __len__(self) -> int:
        with self._store.telling():
            ask = f'SELECT count(*) FROM "{self.table.name}"'  # noqa: S608 - a name of our own
            return int(self._store.execute(ask).fetchone()[0])

    def after(self, number: int = 0) -> Iterator[Facts]:
        """Yield the rows behind ``number``, one at a time; raises at the first that is not as it
        was written, and where one is missing.
        """
        names = self.table.names
        for rows in self.together(number):
            for row in rows:
                yield dict(zip(names, row, strict=True))

    def together(self, number: int = 0) -> Iterator[Records]:
        """Yield the same, many at a time, each as its cells in the order of the table's names."""
        with self._store.reading():
            for found in self._checked(number):
                if isinstance(found, str):
                    self._damaged(found)
                yield found

    def faults(self, read: Callable[[Facts], object]) -> list[str]:
        """Return what is wrong with the rows, [] if nothing is; ``read`` raises the journal's error
        at a row that it can't make sense of.
        """
        found: list[str] = []
        with self._store.telling():
            for one in self._checked(0):
                if isinstance(one, str):
                    found.append(one)
                    continue
                for row in one:
                    try:
                        read(dict(zip(self.table.names, row, strict=True)))
                    except self._store.form.error as error:
                        found.append(f"{self.table.row} {row[0]}: {error.message}")
        return found

    def between(self, first: int, last: int) -> Iterator[Facts]:
        """Yield the rows of these numbers, both counted; raises at one that is not as it was
        written, and where one is missing.
        """
        with self._store.reading():
            rows = self._store.execute(self.table.select + _BETWEEN, (first, last)).fetchall()
            sound = self.table.sound(rows)
            for place in range(first, last + 1):
                there = rows[place - first] if place - first < len(rows) else (None,)
                if there[0] != place:
                    self._damaged(self._missing(place, place))
                if not sound[place - first]:
                    self._damaged(self._unsound(place))
                yield dict(zip(self.table.names, there, strict=True))

    def cells(self, first: int, last: int, columns: Sequence[str]) -> list[Sequence[Any]]:
        """Return the numbers from one to another, both counted, each with what its row has in some
        columns, which tell quickly what is worth reading: they are not held against its digest.
        """
        listed = ", ".join(f'"{name}"' for name in (NUMBER, *columns))
        ask = f'SELECT {listed} FROM "{self.table.name}"{_BETWEEN}'  # noqa: S608 - columns of our own
        with self._store.reading():
            return self._store.execute(ask, (first, last)).fetchall()

    def _damaged(self, told: str) -> NoReturn:
        raise self._store.form.damaged(self._store.place, told)

    def find(self, column: str, value: Any) -> Facts | None:
        """Return the first row with this value; raises where it is not as it was written."""
        with self._store.reading():
            facts = self._one(f' WHERE "{column}" = ?', value)
            if facts is not None and not is_sound(facts):
                self._damaged(self._unsound(facts[NUMBER]))
            return facts

    def add(self, *facts: Mapping[str, Any]) -> None:
        """Write rows within a transaction; their numbers go on from that of the last."""
        last = self.table.last(self._store)
        before, rows = self._head if last is None else last[1], []
        for one in facts:
            new = {**one, BEFORE: before}
            before = new[DIGEST] = digest(new)
            rows.append([new[name] for name in self.table.names])
        if self._store.insert(self.table, rows) != len(rows):
            form, place = self._store.form, self._store.place
            raise form.damaged(place, f"it does not keep {self.table.rows} that are written to it")

    def _one(self, where: str, *values: Any) -> Facts | None:
        row = self._store.execute(self.table.select + where, values).fetchone()
        return None if row is None else dict(zip(self.table.names, row, strict=True))

    def _unsound(self, number: int) -> str:
        return f"{self.table.row} {number} is not as it was written"

    def _missing(self, first: int, last: int) -> str:
        if first == last:
            return f"{self.table.row} {first} is missing"
        return f"{self.table.rows} {first} to {last} are missing"

    def _checked(self, number: int) -> Iterator[Records | str]:
        """Yield the rows behind a number, many at a time, and in words what is wrong where
        something is.

        Rows that an earlier version wrote cover none before them; behind one that does, all do.
        """
        last, given = self._store.ends(self.table)
        before = self._one(f" WHERE {NUMBER} = ?", number) if number else None
        if number and before is None:
            yield self._missing(number, number)
        if given < last:
            yield f"the last number given is {given}, but {self.table.row} {last} is there"
        place, covers = number, self._head if before is None else before[DIGEST]
        chained = before is not None and before[BEFORE] is not None
        told_at, before_at = map(self.table.names.index, (DIGEST, BEFORE))
        for rows in _many(self._store.behind(self.table, number)):
            all_sound, numbers = self.table.sound(rows), [row[0] for row in rows]
            told = [row[told_at] for row in rows]
            covering = [row[before_at] for row in rows] == [covers, *told[:-1]]
            if (
                covering
                and all(all_sound)
                and numbers == [*range(place + 1, place + 1 + len(rows))]
            ):
                yield rows  # as good as always
                place, covers, chained = numbers[-1], told[-1], True
                continue
            good = list[Sequence[Any]]()
            for row, sound in zip(rows, all_sound, strict=True):
                found, covered = row[0], row[before_at]
                gap = found != place + 1
                follows = covered == covers or (covered is None and not chained)
                if sound and follows and not gap:
                    good.append(row)
                else:
                    yield good
                    good = []
                    if gap:
                        yield (
                            self._missing(place + 1, found - 1)
                            if found > place
                            else f"{self.table.row} {found} stands behind {self.table.row} {place}"
                        )
                    if not sound:
                        yield self._unsound(found)
                    elif not follows and not gap:
                        yield f"{self.table.row} {found} does not follow the one before it"
                    else:
                        good.append(row)
                place, covers = max(place, found), row[told_at]
                chained = chained or covered is not None
            yield good
        if place < given:
            yield self._missing(place + 1, given)


def _many(rows: Iterator[Sequence[Any]]) -> Iterator[Records]:
    """Yield rows many at a time; those before one that can't be read come before its error."""
    while True:
        some = list[Sequence[Any]]()
        try:
            some.extend(itertools.islice(rows, TOGETHER))  # of an error keeps what came before
        except Exception:
            yield some
            raise
        if not some:
            return
        yield some
