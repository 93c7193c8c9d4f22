"""A sheet that a desk has open: every line goes through one thread of its own, so that none is
lost between two, and who watches is told when something is new.
"""

from __future__ import annotations

import asyncio
import contextlib
import functools
import re
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from codec.decoding import decode_all
from codec.desk.mirroring import Mirroring
from codec.desk.turns import Turns, Urgency
from codec.encoding import Encoded, example
from codec.lap_report import lap_message
from codec.log.expected import Expected
from codec.log.session import Session
from codec.log.shown import Shown
from codec.race import Event
from codec.race.people import EventFile
from codec.radio.doubt import doubt
from codec.sheet.journal import Journal
from codec.store.clock import steady
from codec.store.place import Place
from codec.views.board import board
from grammar.book import Book
from grammar.errors import CodeError
from grammar.speech.spoken import parser

_SETTLE = 0.03  # seconds in which who wrote is answered, before all who watch are
_LONG = 2.0  # seconds
_HEARD = set[str]()  # books of which a whole report was heard in this process
_KEY = re.compile(r"[0-9a-f]{32}")  # a line's own name: 128 bits of chance
_MOST_LINE = 4000  # characters
_MOST_NAME = 60
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Line:
    """What a page sends: the line's own name, who writes it, the car, the words, and how many
    milliseconds ago they were typed.
    """

    key: str
    writer: str
    car: str
    text: str
    ago: int = 0

    def checked(self) -> Line:
        """Return it; raises CodeError where it is none."""
        if not _KEY.fullmatch(self.key):
            raise CodeError("a line needs a name of 32 hexadecimal digits", kind="usage")
        checked_name(self.writer)
        if len(self.text) > _MOST_LINE:
            raise CodeError(f"a line has at most {_MOST_LINE} characters", kind="usage")
        return self


def _example(book: Book) -> Encoded | None:
    """Return what the report of a lap may say."""
    name = lap_message(book)
    return example(book, book.messages[name]) if name else None


def checked_name(writer: str) -> str:
    """Return the name of who writes; raises CodeError where it is none."""
    if not writer.strip() or len(writer) > _MOST_NAME:
        raise CodeError("who writes?", kind="usage", hint="give your name first")
    return writer.strip()


class Watched:
    """Something that grows new, and tells who watches it; ``version`` grows with it."""

    def __init__(self) -> None:
        """Begin, with nothing new."""
        self.version = 0
        self._grown = asyncio.Event()  # for all who wait just now

    async def _tell(self) -> None:
        """Tell who watches that something is new; nobody runs before this returns."""
        self._grown.set()
        self._grown = asyncio.Event()

    async def news(self, seen: int = -1, beat: float = 15.0) -> AsyncIterator[int]:
        """Yield the version each time it has grown, and at every beat at least; who is slow gets
        the last one only.
        """
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(beat):
                    while self.version == seen:
                        await self._grown.wait()
            await asyncio.sleep(_SETTLE)
            seen = self.version
            yield seen


class OpenSheet(Watched):
    """One sheet, open until the desk ends.

    All that touches the file is done in one thread, in the order in which it came; the rest of the
    desk waits for nothing. ``version`` grows with everything new.
    """

    def __init__(
        self,
        path: Place,
        book: Book | None = None,
        event: EventFile | None = None,
        mirroring: Mirroring | None = None,
    ) -> None:
        """Name the sheet; ``open`` opens it. A new one needs a book, or a shared one to be made
        from.
        """
        super().__init__()
        self.path, self._mirroring = path, mirroring
        self.cars: Mapping[str, str] = {}  # and their drivers
        self._trouble = ""  # why the sheet can't be read as it is now
        self._book, self._event_file = book, event
        self._turns, self._ears = Turns(f"sheet {path.name}"), Turns(f"hearing for {path.name}")
        self._session: Session | None = None
        self._beginning = asyncio.Lock()
        self._watching: asyncio.Task[None] | None = None
        self._hearings: dict[str, tuple[Expected, asyncio.Task[None]]] = {}  # by their words
        self._drawings: dict[object, asyncio.Task[Any]] = {}
        self._drawn_of = -1  # which version

    def open(self) -> None:
        """Open the file, where it is not open yet; raises CodeError."""
        if self._session is None:
            if self._mirroring is not None:
                self._mirroring.open()
            self._turns.submit(self._open, Urgency.WRITE).result()

    async def begin(self) -> None:
        """Open the file and watch it, where that was not done yet; raises CodeError."""
        async with self._beginning:
            if self._watching is None:
                await asyncio.to_thread(self.open)
                self._watching = asyncio.create_task(self.watch())

    def _open(self) -> None:
        clock = None if self._mirroring is None else self._mirroring.clock
        journal = Journal(self.path, self._book, clock=clock)
        journal.tidy_later()
        event: Event | None = None
        if self._event_file is not None:
            event = self._event_file.event(journal.book)
        self._session = Session(journal, event=event)
        self.cars = dict(self._session.cars)
        self._turns.submit(self._warm_boards, Urgency.LOOK)

    def _warm_boards(self) -> None:
        """Load what boards show, and what reads a line that is being typed, before a page waits for
        it; then what hears.
        """
        with contextlib.suppress(CodeError):  # the first who looks is told
            for car in self.cars:
                board(self.session, car)
            if (said := _example(self.session.book)) is not None:
                self.session.look(said.words.partition(" ")[0])
        self._ears.submit(lambda: self._warm(self.session.book), Urgency.LOOK)

    @staticmethod
    def _warm(book: Book) -> None:
        """Load what reads, what hears and what hears an answer before a line waits for it: once a
        whole report, unless the book is so large that hearing a word of it takes long.
        """
        word = book.alphabet.words[book.alphabet.symbols[0]].word
        with contextlib.suppress(CodeError):
            decode_all(book, word)
        parser()
        begun, said = steady(), None if book.digest in _HEARD else _example(book)
        _HEARD.add(book.digest)
        for words, last in [(word, {}), *([(said.words, said.reading.values)] if said else [])]:
            first = doubt(book, words, last)
            if first is None or steady() - begun > _LONG:
                return
            doubt(book, words, last, first)

    async def close(self) -> None:
        """Close the file."""
        if self._watching is not None:
            self._watching.cancel()
            await asyncio.gather(self._watching, return_exceptions=True)
        await self._turns.do(self._close, Urgency.END)
        self._ears.submit(lambda: None, Urgency.END)
        if self._mirroring is not None:
            await self._mirroring.close()

    def _close(self) -> None:
        if self._session is not None:
            self._session.journal.close()

    @property
    def session(self) -> Session:
        """What is known of the sheet; only for what runs in its thread."""
        if self._session is None:
            raise CodeError("the sheet is not open yet", kind="usage")
        return self._session

    async def ask(
        self, act: Callable[[Session], Result], car: str | None = None, *, typing: bool = False
    ) -> Result:
        """Return what ``act`` finds out from the sheet as it is now, for one car; somebody who is
        ``typing`` waits for it.
        """

        def found() -> Result:
            session = self.session
            if car is not None:
                session.car = car
            return act(session)

        return await self._turns.do(found, Urgency.TYPE if typing else Urgency.LOOK)

    async def drawn(self, key: object, draw: Callable[[Session], Result]) -> Result:
        """Return what ``draw`` makes of the sheet: once for all who look, until something is
        new.
        """
        if self._drawn_of != self.version:
            self._drawings, self._drawn_of = {}, self.version
        drawing = self._drawings.get(key)
        if drawing is None or (drawing.done() and drawing.exception() is not None):
            drawing = asyncio.create_task(self._turns.do(lambda: draw(self.session), Urgency.LOOK))
            self._drawings[key] = drawing
        if not drawing.done():  # whoever else looks goes on when one of them is gone
            await asyncio.wait([drawing])
        found: Result = drawing.result()
        return found

    async def enter(self, line: Line) -> tuple[Shown, bool]:
        """Write a line; return what to show, and whether it is new, when it is on the disk."""
        line.checked()
        await self._weigh(line.car, line.text, Urgency.WRITE)
        try:
            return await self._turns.do(lambda: self._enter(line), Urgency.WRITE)
        finally:
            self._turns.submit(self._tidy, Urgency.LOOK)
            self._stir()
            await self._tell()

    def _enter(self, line: Line) -> tuple[Shown, bool]:
        self._forget_unwritten()
        session, journal = self.session, self.session.journal
        session.car, journal.writer = line.car, checked_name(line.writer)
        try:
            with journal.line(line.key) as new:
                if new:
                    with session.said(line.ago):
                        shown = session.enter(line.text)
            if new:
                self._refresh()
                return shown, True
        except BaseException:
            with contextlib.suppress(CodeError):  # the next look at the file does it then
                self._begin_again()
            raise
        there = tuple(journal.of_line(line.key))
        return Shown("good", ("this line was written before",), there), False

    def _tidy(self) -> None:
        with contextlib.suppress(CodeError):  # the next line tells
            self.session.journal.tidy()

    def _begin_again(self) -> None:
        """Forget what a line that failed had told the session."""
        session = self.session
        self._session = Session(session.journal, event=session.event)

    def _forget_unwritten(self) -> None:
        """Begin again where more is known than the sheet has; raises CodeError."""
        entries = self.session.entries
        if entries and self.session.journal.last < entries[-1].seq:
            self._begin_again()

    async def _weigh(self, car: str, text: str, urgency: Urgency) -> None:
        """Hear a line that can't be read beside the sheet's thread, so that nobody else waits."""

        def expected() -> Expected | None:
            self.session.car = car
            return self.session.to_be_heard(text)

        try:
            known = await self._turns.do(expected, urgency)
        except CodeError:
            return  # whoever writes or looks is told
        if known is not None:
            await self._heard(text.strip(), known, urgency)

    async def _heard(self, text: str, known: Expected, urgency: Urgency) -> None:
        """Wait until a line was heard: one that is being heard as it was typed is not heard again
        because it is entered.
        """
        before, hearing = self._hearings.get(text, (None, None))
        if before is None or hearing is None or not before.same(known):
            hearing = asyncio.create_task(self._hear(text, known, urgency))
            self._hearings[text] = known, hearing
            hearing.add_done_callback(functools.partial(self._was_heard, text))
        await asyncio.shield(hearing)  # whoever else waits for it goes on

    def _was_heard(self, text: str, hearing: asyncio.Task[None]) -> None:
        _, latest = self._hearings.get(text, (None, None))
        if latest is hearing:  # and none with what is known since
            del self._hearings[text]

    async def _hear(self, text: str, known: Expected, urgency: Urgency) -> None:
        found = await self._ears.do(lambda: known.weigh(text), urgency)
        await self._turns.do(lambda: self.session.remember(text, known, found), urgency)

    async def look(self, car: str, text: str, *, hear: bool = False) -> Shown:
        """Return what a line would be taken for; one that can't be read is heard if so asked."""
        if hear:
            await self._weigh(car, text[:_MOST_LINE], Urgency.TYPE)
        return await self.ask(lambda session: session.look(text[:_MOST_LINE]), car, typing=True)

    @property
    def trouble(self) -> str:
        """Why the sheet can't be read as it is now, or is not in step with the shared one; "" if
        nothing is wrong.
        """
        apart = "" if self._mirroring is None else self._mirroring.trouble
        return self._trouble or apart

    @property
    def writable(self) -> bool:
        """Tell whether the desk may write the sheet, and not only read it."""
        return self.session.journal.writable

    async def watch(self) -> None:
        """Look for what other programs write, and keep in step with the shared sheet, until
        cancelled.
        """
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._look_for_others())
            if self._mirroring is not None:
                tasks.create_task(self._mirroring.run(self.catch_up))

    async def _look_for_others(self) -> None:
        journal = await self.ask(lambda session: session.journal)
        async for _ in journal.news():
            await self.look_again()

    async def look_again(self) -> None:
        """Take up what others have written, if they have."""
        if await self._turns.do(self._is_behind, Urgency.LOOK):
            await self.catch_up()
            self._stir()

    def _stir(self) -> None:
        if self._mirroring is not None:
            self._mirroring.stir()

    async def catch_up(self) -> None:
        """Take up what others have written, and tell who watches."""
        await self._turns.do(self._refresh, Urgency.LOOK)
        await self._tell()

    def _is_behind(self) -> bool:
        """Tell whether the sheet has more, or less, than is known of it."""
        entries = self.session.entries
        try:
            last = self.session.journal.last
        except CodeError as error:
            last, told = -1, error.message
        else:
            told = ""
        changed, self._trouble = told != self._trouble, told
        return changed or (not told and last != (entries[-1].seq if entries else 0))

    def _refresh(self) -> None:
        """Bring what is known up to date."""
        try:
            self._forget_unwritten()
            self.session.refresh()
            self.cars = dict(self.session.cars)
        except CodeError as error:
            self._trouble = error.message
        self.version += 1
