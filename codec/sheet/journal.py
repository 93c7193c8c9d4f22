"""The journal of one event: entries are added, never changed, and an entry that was returned is on
the disk.
"""

from __future__ import annotations

import contextlib
import functools
import getpass
import itertools
import os
import uuid
from collections.abc import AsyncIterator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

from codec.sheet.entry import Entry, PlainNote, Said, SheetError
from codec.sheet.merged import MergedOrder, MergedPlace
from codec.sheet.table import ENTRIES, EntryTable
from codec.sheet.window import Sought
from codec.store.clock import ServerClock
from codec.store.opening import is_there, opened
from codec.store.place import Place, ServerPlace, place_of
from codec.store.rows import TOGETHER, Records, Rows
from codec.store.store import ADD, READ, Clock, JournalFormat, Store, stamp
from codec.store.table import NUMBER, Execute
from grammar.book import Book
from grammar.errors import BookError
from grammar.loading import book_of

# what an entry was first, then all that was put right and taken back of it
_FIXES = """
WITH RECURSIVE above (seq, about, kind) AS (
    SELECT seq, about, kind FROM entries WHERE seq = ?
    UNION
    SELECT entries.seq, entries.about, entries.kind FROM entries JOIN above
    ON entries.seq = above.about AND above.kind IN ('correction', 'withdrawal')
), part (seq) AS (
    SELECT min(seq) FROM above
    UNION
    SELECT entries.seq FROM entries JOIN part ON entries.about = part.seq
    WHERE entries.kind IN ('correction', 'withdrawal')
)
SELECT uid, "over" FROM entries JOIN part ON part.seq = entries.seq
WHERE entries.kind IN ('correction', 'withdrawal')
"""
READER, WRITER = "niner_reader", "niner_writer"  # roles of a server
_FACTS = ("book", "digest", "name")  # what a sheet tells of its book, beside its own name


@functools.cache
def sheet_format(table: EntryTable = ENTRIES) -> JournalFormat:
    """Return what a sheet declares of what it stands in."""
    return JournalFormat(
        word="sheet",
        name="sheet",
        long_name="lap sheet",
        rows="entries",
        write_again="enter it again",
        made_by="it is made by niner log, or by niner sheet import with --book",
        way_out=(
            "keep a copy of the file, then save what can be read: niner sheet rescue SHEET"
            " NEW-SHEET"
        ),
        error=SheetError,
        application=0x4E394E52,  # "N9NR"
        scripts=table.scripts,
        facts="SELECT name, text FROM facts",
        alone=("copies",),
        rights=((READER, READ), (WRITER, ADD)),
        sought=(("entries", "kind"),),
        table=table.stored,
    )


@dataclass(slots=True)
class _Line:
    """What is written as one line: the transaction begins with its first entry."""

    key: str
    store: Store
    stack: contextlib.ExitStack
    count: int = 0
    begun: bool = False

    def transaction(self) -> contextlib.AbstractContextManager[None]:
        if not self.begun:
            self.stack.enter_context(self.store.transaction())
            self.begun = True
        return contextlib.nullcontext()

    def next_name(self) -> str:
        self.count += 1
        return _named(self.key, self.count)


def _named(key: str, number: int) -> str:
    """Return the name of an entry that a line of this key has brought."""
    return f"{key}.{number}"


class Journal:
    """The journal in a file, or on a server where ``path`` is a place of one.

    ``Journal(path, book)`` opens it, or makes it where there is none (``when_needed``: with the
    first entry, not before); ``Journal(path)`` opens one that is there, with the book kept in it.
    ``writer`` tells later who wrote an entry; ``clock`` is the server's, or this computer's where
    it is in a file, if not given; ``sheet`` is the sheet's own name. A file that can
    only be read is opened all the same (``writable`` is False).

    Raises SheetError: ``sheet-missing``, ``not-a-sheet``, ``other-book``, ``sheet-later``,
    ``sheet-damaged``, ``sheet-replaced``, ``sheet-file``, ``sheet-server``, ``sheet-unsure``.
    """

    def __init__(
        self,
        path: str | Place,
        book: Book | None = None,
        *,
        writer: str = "",
        clock: Clock | None = None,
        when_needed: bool = False,
        table: EntryTable = ENTRIES,
    ) -> None:
        """Open or make the file."""
        self.path, self.table = place_of(path), table
        self._line: _Line | None = None
        self._order: MergedOrder | None = None  # where several desks keep the sheet in step
        self._epochs, self.desk = 0, ""
        self.writer = writer or f"{_user()}.{os.getpid()}"
        make = None if book is None else functools.partial(write_facts, _facts_of(book))
        self._store = opened(self.path, sheet_format(table), make, when_needed=when_needed)
        self.clock: Clock = clock or self._store.clock
        try:
            self._take_up(book)
        except BaseException:
            self.close()
            raise

    def _take_up(self, book: Book | None) -> None:
        """Read what the file tells of itself."""
        facts = _facts(self._store)
        self.facts, self.sheet = {name: facts[name] for name in _FACTS}, facts["sheet"]
        self.book = _kept(self._store) if book is None else self._same(book)
        self._rows = Rows(self._store, self.table.stored)

    def _same(self, book: Book) -> Book:
        found = book.digest
        if found != self.facts["digest"]:
            raise SheetError(
                f"{str(self.path)!r} was written with another book than {book.title!r}: with"
                f" {self.facts['name']!r} ({self.facts['digest'][:8]}), not this one"
                f" ({found[:8]})",
                kind="other-book",
                hint="open it without naming a book, or begin a new sheet for this book",
            )
        return book

    @property
    def origin(self) -> dict[str, str]:
        """What the sheet tells of its book and of itself, as it is kept."""
        return dict(self._store.facts)

    @staticmethod
    def is_there(path: str | Place) -> bool:
        """Tell whether there is a sheet; raises SheetError where a server can't tell."""
        return is_there(place_of(path), sheet_format())

    @property
    def writable(self) -> bool:
        """Tell whether entries can be added."""
        return self._store.writable

    def append(self, entry: Entry) -> Entry:
        """Write an entry and return it as written, when it is on the disk; one whose ``uid`` is
        there already is returned as it stands.
        """
        return self.append_all([entry])[0]

    def append_all(self, entries: Iterable[Entry]) -> list[Entry]:
        """Write several entries, all or none of them, and return them as written.

        Raises SheetError; nothing earlier is lost then.
        """
        return self.append_linked((entry, "") for entry in entries)

    def append_linked(self, pairs: Iterable[tuple[Entry, str]]) -> list[Entry]:
        """Write several entries, each with the ``uid`` of the one it is about ("" leaves ``about``
        as it is), all or none of them.
        """
        wanted = [(entry, uid or self._meant(entry.about)) for entry, uid in pairs]
        if not wanted:
            return []
        if self._store.pending:
            self._store.make()
            self._take_up(self.book)
        written: list[Entry] = []
        try:
            with self._written(), self._line_or_all():
                self._look_before_writing()
                written += (self._insert(entry, uid) for entry, uid in wanted)
        except SheetError as error:
            if error.kind != "sheet-unsure":
                raise
            named = zip(wanted, written, strict=True)
            # again: what is there by its name is not written twice
            with contextlib.suppress(SheetError), self._written(), self._store.transaction():
                self._look_before_writing()
                return [self._insert(one.replace(uid=it.uid), uid) for (one, uid), it in named]
            raise
        return written

    def bring(self, rows: Iterable[tuple[Mapping[str, Any], str]]) -> None:
        """Write rows of another desk's sheet as they were made, each with the ``uid`` of what it is
        about ("" for nothing); what is there already is left.
        """
        with self._written(), self._store.transaction():
            last, new = self._rows.last, list[dict[str, Any]]()
            for number, (facts, about) in enumerate(rows, last + 1):
                meant = None if not about else self._rows.find("uid", about)
                new.append({**facts, NUMBER: number, "about": meant and meant[NUMBER]})
                if about and meant is None:  # of these very rows
                    new[-1]["about"] = next(one[NUMBER] for one in new if one["uid"] == about)
            if new:
                self._rows.add(*new)

    def _line_or_all(self) -> contextlib.AbstractContextManager[None]:
        return self._store.transaction() if self._line is None else self._line.transaction()

    @contextlib.contextmanager
    def _written(self) -> Iterator[None]:
        """Forget the order of entries of which it is not known whether they were written."""
        try:
            yield
        except BaseException:
            self._order_anew()
            raise

    @contextlib.contextmanager
    def line(self, key: str) -> Iterator[bool]:
        """Write all that is appended within together when it ends, or none of it where an error
        ends it; its entries are named after ``key``.

        Yields whether the key is new: a line that is sent again, as nobody knows whether it was
        written, finds its entries there. Others can write until the first entry is appended.
        """
        with contextlib.ExitStack() as stack:
            self._line = _Line(key, self._store, stack)
            stack.callback(self._line_ended)
            stack.enter_context(self._written())
            yield self.find(_named(key, 1)) is None

    def _line_ended(self) -> None:
        self._line = None

    def of_line(self, key: str) -> list[Entry]:
        """Return the entries that a line of this key has brought, [] for none."""
        found: list[Entry] = []
        while (entry := self.find(_named(key, len(found) + 1))) is not None:
            found.append(entry)
        return found

    def _insert(self, entry: Entry, about: str) -> Entry:
        if self._line is not None and not entry.uid:
            entry = entry.replace(uid=self._line.next_name())
        if entry.uid:
            there = self.find(entry.uid)
            if there is not None:
                return there
        last = self._rows.last
        if about:
            meant = self._rows.find("uid", about)
            row = last + 1 if meant is None else meant[NUMBER]
        else:
            row = entry.about
        if row is not None and not 0 < row <= last:
            raise SheetError(
                f"entry {about or entry.about}, which this is about, is not in the sheet",
                kind="sheet-entry",
            )
        if self._order is not None and not about and row is not None:
            row = self._order.rows[row - 1]
        written = entry.replace(
            seq=last + 1,
            uid=entry.uid or uuid.uuid4().hex,
            logged=entry.logged or stamp(self.clock),
            writer=entry.writer or self.writer,
            about=row,
            made=None,
        )
        if self._order is not None:
            over = self._known_of(row) if entry.kind in ("correction", "withdrawal") else ""
            written = written.replace(desk=self.desk, made=last + 1, over=over)
        facts = self.table.row(written)
        self._rows.add(facts)
        if self._order is None:
            return written
        self._order.take([_place(facts)])
        return self._entry(facts)

    def _known_of(self, row: int | None) -> str:
        """Return the names of the corrections and withdrawals of what an entry is a part of, but of
        those that one known here was made over.
        """
        found = self._store.execute(_FIXES, (row,)).fetchall()
        replaced = {uid for _, over in found for uid in (over or "").split()}
        return " ".join(uid for uid, _ in found if uid not in replaced)

    # where several desks keep the sheet in step

    def _look(self) -> None:
        """Know whether several desks keep the sheet in step, and the order of all that is there: a
        file is asked each time, a server where rows have come.
        """
        if self._order is None:
            names = self.desks
            if not names:
                return
            self._order = MergedOrder(self._uid_of)
            self.desk = next((one for one in names if names[one]), "")
        ask = (
            f"SELECT {NUMBER}, uid, desk, made FROM entries"  # noqa: S608 - names that the program declares
            f" WHERE {NUMBER} > ? ORDER BY {NUMBER}"
        )
        columns = (NUMBER, "uid", "desk", "made")
        found = self._store.execute(ask, (self._order.taken,))
        self._order.take(_place(dict(zip(columns, row, strict=True))) for row in found)

    def _meant(self, number: int | None) -> str:
        """Return the name of the entry that a number is of as the order is known: what comes in
        before it, when an entry is written, gives it another. "" where numbers stay.
        """
        order = self._order
        stays = order is None and isinstance(self.path, ServerPlace)
        if number is None or stays or self._store.pending:
            return ""
        if order is not None and not 0 < number <= order.taken:
            return ""  # there is none
        with self._store.reading():
            return self._uid_of(number if order is None else order.rows[number - 1])

    def _uid_of(self, row: int) -> str:
        ask = f"SELECT uid FROM entries WHERE {NUMBER} = ?"  # noqa: S608 - names of our own
        found = self._store.execute(ask, (row,)).fetchone()
        return "" if found is None else str(found[0])

    def _look_before_writing(self) -> None:
        """Know the order as of now; at a server where no other desk was seen yet it is that of the
        rows.
        """
        if self._order is not None or not isinstance(self.path, ServerPlace):
            self._look()

    def _order_anew(self) -> None:
        if self._order is not None:
            self._epochs += self._order.epoch + 1
            self._order = None

    @property
    def desks(self) -> dict[str, bool]:
        """The desks that have a sheet of their own of this one, each with whether this is it."""
        with self._store.reading():
            found = self._store.execute("SELECT name, own FROM desks").fetchall()
        return {name: bool(own) for name, own in found}

    def uids(self) -> set[str]:
        """Return the names of all entries."""
        with self._store.reading():
            return {uid for (uid,) in self._store.execute("SELECT uid FROM entries").fetchall()}

    def join(self, desk: str, *, own: bool) -> None:
        """Keep from now on that a desk has a sheet of its own of this one, or that this is it."""
        with self._store.transaction():
            self._store.execute(
                "INSERT INTO desks (name, own) VALUES (?, ?) ON CONFLICT DO NOTHING",
                (desk, int(own)),
            )
        with self._store.reading():
            self._look()

    @property
    def epoch(self) -> int:
        """Grows when an entry comes in before others: numbers are others then."""
        return self._epochs if self._order is None else self._epochs + self._order.epoch

    def entries(self, after: int = 0) -> Iterator[Entry]:
        """Yield the entries behind number ``after`` in their order, one at a time; raises
        SheetError at one that is damaged, missing, doubled or from elsewhere.
        """
        for rows in self.together(after):
            yield from self._of_rows(rows)

    def said(self, after: int = 0) -> Iterator[Said]:
        """Yield the same, plain notes as such: they are made entries where they are looked at."""
        names = self.table.stored.names
        for rows in self.together(after):
            listed = [dict(zip(names, row, strict=True)) for row in rows]
            plain = [PlainNote.is_one(facts) for facts in listed]
            others = [row for row, note in zip(rows, plain, strict=True) if not note]
            entries = iter(self._of_rows(others)) if others else iter(())
            for facts, note in zip(listed, plain, strict=True):
                yield PlainNote(facts, self._of_row) if note else next(entries)

    def _of_row(self, facts: Mapping[str, Any]) -> Entry:
        return self.table.of_row(facts, self.book.fields)

    def _of_rows(self, rows: Records) -> Iterable[Entry]:
        table, fields = self.table, self.book.fields
        try:
            return table.of_cells(table.cells(rows), fields)
        except SheetError:  # those before the one that is none come first
            return (table.of_cells(table.cells([row]), fields)[0] for row in rows)

    def rows(self, after: int = 0) -> Iterator[Mapping[str, Any]]:
        """Yield the same as rows, as the table of the journal has them."""
        names = self.table.stored.names
        for rows in self.together(after):
            for row in rows:
                yield dict(zip(names, row, strict=True))

    def together(self, after: int = 0) -> Iterator[Records]:
        """Yield the same, many at a time, each as its cells in the order of the stored table: for
        whoever goes through all of them.
        """
        if self._order is None and isinstance(self.path, ServerPlace):
            # only where there is more can others be in step with it that were not before
            new = self._rows.together(after)
            first = next(new, None)
            if first is None:
                return
            with self._store.reading():
                self._look()
            if self._order is None:
                yield first
                yield from new
                return
        with self._store.reading():
            self._look()
        if self._order is None:
            yield from self._rows.together(after)
            return
        names, rows = self.table.stored.names, self._in_order(after)
        while some := list(itertools.islice(rows, TOGETHER)):
            yield [[facts[name] for name in names] for facts in some]

    def stored(self, after: int = 0) -> Iterator[Mapping[str, Any]]:
        """Yield the rows as they are in this very sheet, behind its own number ``after``."""
        return self._rows.after(after)

    def _in_order(self, after: int) -> Iterator[Mapping[str, Any]]:
        if self._order is None:
            return
        order, wanted = self._order, self._order.rows[after:]
        kept, place = dict[int, Mapping[str, Any]](), 0  # what stands later in the order
        for facts in self._rows.after(min(wanted, default=1) - 1):
            row = facts[NUMBER]
            if row <= order.taken and order.number(row) > after:
                kept[row] = facts
            while place < len(wanted) and wanted[place] in kept:
                yield self._seen(kept.pop(wanted[place]))
                place += 1

    def _seen(self, facts: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return a row with the numbers that all desks know it by."""
        if self._order is None:
            return facts
        if facts[NUMBER] > self._order.taken:
            self._look()
        seq, about = self._order.number(facts[NUMBER]), facts["about"]
        return {
            **facts,
            NUMBER: seq,
            "about": about and self._order.number(about),
            "made": facts["made"] or facts[NUMBER],
        }

    def between(self, first: int, last: int, sought: Sought | None = None) -> list[Entry]:
        """Return the entries of these numbers, both counted, in their order; where some are
        ``sought``, those alone. Raises SheetError at one that is damaged or missing.
        """
        order, numbers = self._order, range(first, last + 1)
        rows: Sequence[int] = numbers if order is None else order.rows[first - 1 : last]
        if sought is not None:
            parts = (self._rows.cells(*part, sought.columns) for part in _parts(rows))
            cells = {row: told for part in parts for row, *told in part}
            wanted = zip(numbers, rows, strict=False)
            rows = [row for n, row in wanted if row not in cells or sought.says(n, *cells[row])]
        read = (self._rows.between(*part) for part in _parts(rows))
        found = {facts[NUMBER]: facts for part in read for facts in part}
        return self._entries(found[row] for row in rows)

    def since(self, row: int) -> list[Entry]:
        """Return the entries behind this very sheet's own number, in the order of all."""
        return sorted(self._entries(self._rows.after(row)), key=lambda entry: entry.seq)

    def row(self, seq: int) -> Mapping[str, Any] | None:
        """Return the row of this very sheet's own number, None for none."""
        return self._rows.find(NUMBER, seq)

    def find(self, uid: str) -> Entry | None:
        """Return the entry with this ``uid``."""
        facts = self._rows.find("uid", uid)
        return None if facts is None else self._entry(facts)

    def __getitem__(self, seq: int) -> Entry:
        """Return the entry of a number; raises SheetError where there is none."""
        if self._order is not None and 0 < seq <= len(self._order.rows):
            seq = self._order.rows[seq - 1]
        facts = self.row(seq)
        if facts is None:
            raise SheetError(f"there is no entry {seq}", kind="sheet-entry")
        return self._entry(facts)

    def news(self) -> AsyncIterator[None]:
        """Yield whenever entries may have been added, by whomever."""
        return self._store.news()

    @property
    def last(self) -> int:
        """The number of the last entry, 0 if there is none."""
        return self._rows.last

    def __len__(self) -> int:
        return len(self._rows)

    def _entry(self, facts: Mapping[str, Any]) -> Entry:
        return self._of_row(self._seen(facts))

    def _entries(self, listed: Iterable[Mapping[str, Any]]) -> list[Entry]:
        """Return the entries of rows of this very sheet."""
        names = self.table.stored.names
        rows = [[facts[name] for name in names] for facts in map(self._seen, listed)]
        return list(self._of_rows(rows)) if rows else []

    @property
    def ahead(self) -> float:
        """By how many seconds this computer's clock is ahead of the one by which is written."""
        return self.clock.ahead if isinstance(self.clock, ServerClock) else 0.0

    def faults(self) -> list[str]:
        """Return what is wrong with it, [] if nothing is: SQLite's own check of a file, rows that
        are not as written, numbers missing, values that the book does not have.
        """
        return _faults(self._store, self._rows, self.book.fields)

    def tidy_later(self) -> None:
        """From now on have what is written acknowledged as soon as it is on the disk, and leave the
        rest of the work on the file until ``tidy``.
        """
        self._store.tidy_later()

    def tidy(self) -> None:
        """Do what was left of the work on the file."""
        self._store.tidy()

    def close(self) -> None:
        """Close the file; everything is on the disk already."""
        self._store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _parts(rows: Sequence[int]) -> list[tuple[int, int]]:
    """Return the first and the last of rows that are read together: of all, where most stand beside
    each other, else of each.
    """
    if not rows:
        return []
    first, last = min(rows), max(rows)
    return [(first, last)] if last - first < 2 * len(rows) else [(row, row) for row in rows]


def _place(facts: Mapping[str, Any]) -> MergedPlace:
    return MergedPlace(
        facts["made"] or facts[NUMBER], facts["desk"] or "", facts["uid"], facts[NUMBER]
    )


def check(path: str | Place) -> list[str]:
    """Return everything that is wrong with a sheet, [] if nothing is; raises SheetError for a file
    that is no sheet.
    """
    form = sheet_format()
    try:
        store = opened(place_of(path), form)
    except SheetError as error:
        if error.kind != "sheet-damaged":
            raise
        return [error.message]
    found: list[str] = []
    fields: Mapping[str, Any] | None = None
    with contextlib.closing(store):
        try:
            fields = _kept(store).fields
        except SheetError as error:
            found.append(error.message)
        try:
            return found + _faults(store, Rows(store, ENTRIES.stored), fields)
        except SheetError as error:  # nothing further can be read
            return [*found, error.message]


def _faults(store: Store, rows: Rows, fields: Mapping[str, Any] | None) -> list[str]:
    def read(facts: Mapping[str, Any]) -> None:
        if fields is not None:
            ENTRIES.of_row(facts, fields)

    with store.telling():
        return store.faults() + rows.faults(read)


def _facts_of(book: Book) -> dict[str, str]:
    """Return what a new sheet tells of its book and of itself."""
    told = {"book": book.source, "digest": book.digest, "name": book.name}
    return {**told, "sheet": uuid.uuid4().hex}


def write_facts(facts: Mapping[str, str], journal: Execute) -> None:
    """Write what a sheet tells of its book and of itself."""
    for fact in facts.items():
        journal.execute("INSERT INTO facts VALUES (?, ?)", fact)


def _facts(store: Store) -> dict[str, str]:
    """Return what the file tells of its book and of itself; raises SheetError where it does not."""
    if not {*_FACTS, "sheet"} <= store.facts.keys():
        raise store.form.damaged(store.place, "what it tells of its book is gone")
    return store.facts


def _kept(store: Store) -> Book:
    """Return the book kept in the file; raises SheetError."""
    facts = _facts(store)
    try:
        book = book_of(facts["book"], facts["name"])
    except BookError:
        raise store.form.damaged(store.place, "the book kept in it can't be read") from None
    if book.digest != facts["digest"]:
        raise store.form.damaged(store.place, "the book kept in it is not as it was written")
    return book


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "writer"
