"""A desk's own sheet kept in step with the one that all desks share: both may be written to
meanwhile, also while the line between them is broken.

What either lacks is brought to it, in the order in which the other has it, by its name: so nothing
is lost, and what is brought twice is there once. The order of the whole is the same at every desk
(codec.sheet.merged).
"""

from __future__ import annotations

import asyncio
import contextlib
import datetime
from collections.abc import AsyncIterator, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from codec.sheet.copying import copy
from codec.sheet.entry import Entry, SheetError
from codec.sheet.journal import Journal
from codec.sheet.order import CLOCK
from codec.sheet.words import CLOCKS_APART, duration_text
from codec.store.clock import steady
from codec.store.place import Place
from codec.store.store import LOOKS, now, stamp
from codec.store.table import NUMBER
from grammar.book import Book

_AT_ONCE = 500  # entries that are brought together


class _OutOfReachError(SheetError):
    """The shared sheet can't be reached now, or only by a later niner."""


@dataclass(slots=True)
class _Side:
    """One of the two sheets, and how far it was looked through; ``both`` are the names of entries
    behind that which the other has, as far as known.
    """

    journal: Journal
    both: set[str]
    seen: int = 0

    def new(self) -> Iterator[Mapping[str, Any]]:
        """Yield the entries that were not looked at yet; they are when the next is asked for."""
        for facts in self.journal.stored(self.seen):
            yield facts
            self.seen = facts[NUMBER]

    def uid(self, row: int | None) -> str:
        """Return the name of the entry in a row, "" for none."""
        facts = None if row is None else self.journal.row(row)
        return "" if facts is None else str(facts["uid"])


class Mirror:
    """A desk's own sheet, and the shared one; either is made from the other where it is missing.

    The shared one may be out of reach, as long as the own one is there. Raises SheetError: where
    neither is there and no book is given (``sheet-missing``), where they are two sheets, or the own
    one is that of another desk (``sheet-other``).
    """

    def __init__(self, own: Place, shared: Place, desk: str, book: Book | None = None) -> None:
        """Open the own sheet, and let the desk join."""
        self.desk, self._shared, self._book = desk, shared, book
        self._stack = contextlib.ExitStack()
        self._theirs: _Side | None = None
        try:
            if not Journal.is_there(own) and Journal.is_there(shared):
                with Journal(shared) as there:
                    copy(there, own)
            mine = self._stack.enter_context(Journal(own, book))
            known = next((name for name, is_own in mine.desks.items() if is_own), desk)
            if known != desk:
                raise SheetError(
                    f"{str(own)!r} is the sheet of the desk {known!r}, not of {desk!r}",
                    kind="sheet-other",
                    hint="name it so, or name another file",
                )
            self._mine = _Side(mine, set())
            self._begun = mine.last, now(), steady()
            with contextlib.suppress(_OutOfReachError):
                self._reach()
            if desk not in mine.desks:
                mine.join(desk, own=True)
        except BaseException:
            self.close()
            raise

    def _reach(self) -> _Side:
        """Return the shared sheet, opened or made when it is first in reach."""
        if self._theirs is None:
            try:
                if not Journal.is_there(self._shared):
                    copy(self._mine.journal, self._shared)
                theirs = Journal(self._shared, self._book)
            except SheetError as error:
                if error.kind not in ("sheet-server", "sheet-later"):
                    raise
                raise _OutOfReachError(error.message, kind=error.kind, hint=error.hint) from None
            self._stack.callback(theirs.close)
            if theirs.origin != self._mine.journal.origin:
                raise SheetError(
                    f"another sheet is at {str(self._shared)!r}",
                    kind="sheet-other",
                    hint="name another place",
                )
            theirs.join(self.desk, own=False)
            self._put_clock_right(theirs)
            both = self._mine.journal.uids() & theirs.uids()
            self._mine.both, self._theirs = both, _Side(theirs, set(both))
        return self._theirs

    def _put_clock_right(self, shared: Journal) -> None:
        """Note by how much this computer's clock was off while the shared sheet was out of reach,
        where entries were made here by it: every desk then takes them for said when they were. A
        clock that was set meanwhile tells nothing of them.
        """
        last, begun, since = self._begun
        ahead = shared.ahead
        stepped = (now() - begun).total_seconds() - (steady() - since)
        if abs(ahead) <= CLOCKS_APART or abs(stepped) > CLOCKS_APART:
            return
        mine = self._mine.journal
        made = (one for one in mine.stored(last) if one["desk"] == self.desk)
        if (first := next(made, None)) is None:
            return
        which = "ahead of" if ahead > 0 else "behind"
        note = Entry(
            kind="note",
            message=CLOCK,
            amount=Decimal(round(ahead * 1000)) / 1000,
            heard=(
                f"the clock of {self.desk} was {duration_text(abs(ahead))} {which} the server's"
                " while the line was broken: what it wrote then is put right by that"
            ),
            at=round(shared.clock().timestamp() * 1000),
            logged=stamp(shared.clock),
        )
        mine.append_linked([(note, first["uid"])])

    def step(self) -> int:
        """Bring to each what it lacks of the other; return how many entries that were. Raises
        SheetError where the line breaks: nothing is lost, and the next step goes on.
        """
        theirs = self._reach()
        return self._bring(self._mine, theirs) + self._bring(theirs, self._mine)

    async def news(self) -> AsyncIterator[None]:
        """Yield whenever the shared sheet may have more."""
        while self._theirs is None:
            await asyncio.sleep(LOOKS)
            yield
        async for _ in self._theirs.journal.news():
            yield

    @property
    def ahead(self) -> float:
        """By how many seconds this computer's clock is ahead of the shared sheet's, as far as
        known.
        """
        return 0.0 if self._theirs is None else self._theirs.journal.ahead

    def clock(self) -> datetime.datetime:
        """Return the time of the shared sheet's clock, this computer's until that is known."""
        return now() if self._theirs is None else self._theirs.journal.clock()

    def _bring(self, source: _Side, target: _Side) -> int:
        count, batch = 0, list[tuple[Mapping[str, Any], str]]()
        begun = source.seen
        try:
            for facts in source.new():
                if facts["uid"] in source.both:
                    source.both.remove(facts["uid"])
                    continue
                if target.journal.find(facts["uid"]) is not None:
                    continue
                batch.append((_of_its_desk(facts), source.uid(facts["about"])))
                if len(batch) == _AT_ONCE:
                    count += self._write(target, batch)
            count += self._write(target, batch)
        except BaseException:
            source.seen = begun  # looked through again
            raise
        source.both = source.both or set()  # an emptied one keeps its room
        return count

    def _write(self, target: _Side, batch: list[tuple[Mapping[str, Any], str]]) -> int:
        if batch:
            target.journal.bring(batch)
            target.both.update(facts["uid"] for facts, _ in batch)
        count = len(batch)
        batch.clear()
        return count

    def close(self) -> None:
        """Close both sheets."""
        self._stack.close()


def _of_its_desk(facts: Mapping[str, Any]) -> Mapping[str, Any]:
    return {**facts, "made": facts["made"] or facts[NUMBER]}
