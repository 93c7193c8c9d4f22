"""The live sheet on the whole terminal: the race, the last laps, what was just heard, and a line to
type in; on a wide terminal of both cars at once.

Drawn with rich into the window of a prompt_toolkit application, which edits the line, keeps its
history and completes its commands. What is shown is worked out in ``codec.views``.
"""

from __future__ import annotations

import asyncio
import contextlib
import functools
import io
import textwrap
import threading
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from prompt_toolkit.application import Application
from prompt_toolkit.application.current import get_app
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.formatted_text import ANSI
from prompt_toolkit.history import InMemoryHistory
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.layout import HSplit, Layout, VSplit, Window
from prompt_toolkit.layout.containers import Float, FloatContainer
from prompt_toolkit.layout.controls import BufferControl, FormattedTextControl
from prompt_toolkit.layout.menus import CompletionsMenu
from rich.console import Console
from rich.text import Text

from codec.log.offered import Offer, offer, what_was_said
from codec.log.session import Session
from codec.log.shown import Shown
from codec.screen.console import SafeConsole, row_text, safe
from codec.screen.sheet import line_rows
from codec.screen.typed import Visible
from codec.sheet.state import NEUTRALISED, RESUMED
from codec.sheet.words import time_text
from codec.views.board import Board, board, lap_clock
from codec.views.laps import SheetLine
from grammar.errors import CodeError, visible
from grammar.exact import plain

if TYPE_CHECKING:
    from codec.race import Race
    from codec.radio.doubt import Doubt
    from codec.voice.listening import Transmission

_STYLES = {"good": "bold green", "warning": "bold yellow", "bad": "bold red", "plain": ""}
# lines of the table that stay, however much there is to tell above it: two of its head, and the
# last lap
_LEAST = 5
_PREVIEW = 3  # lines at most that tell what the line being typed would be taken for
_OFFERED = 5  # lines at most that tell what was heard by voice
_TWO = 140  # columns from which on two cars are shown side by side
_TIMED = 90  # columns from which on lines tell their times
_NUMBERED = 70  # and from which on the numbers of their entries
_REST = 0.3  # seconds without a key
_FIND = "find"
_TAKE = "F7 take what was heard"
_KEYS = (
    "F2 car",
    "F3 neutralised/resumed",
    "F4 marker",
    "F5 called it",
    "F6 read back right",
    _TAKE,
    "F8 undo",
    "F9 ok",
    "PgUp",
    "/ commands",
    "F10 leave",
)


class Commands(Completer):
    """Completes what stands behind ``/``."""

    def __init__(self, session: Session) -> None:
        """Take the session whose commands these are."""
        self.session = session

    def get_completions(
        self,
        document: Document,
        complete_event: CompleteEvent,  # noqa: ARG002 - the library's signature
    ) -> Iterable[Completion]:
        """Yield the commands that begin as the line does."""
        text = document.text_before_cursor
        if text.startswith("/") and " " not in text:
            known = {**self.session.commands, _FIND: "show the lines with these words: /find regen"}
            for name, about in known.items():
                if name.startswith(text[1:]):
                    yield Completion(
                        name,
                        start_position=1 - len(text),
                        display=visible(name),
                        display_meta=visible(about),
                    )


class Log:
    """The application; ``run`` returns when the engineer leaves."""

    def __init__(
        self,
        session: Session,
        shown: Shown | None = None,
        *,
        listen: str | None = None,
        **settings: Any,
    ) -> None:
        """Lay out the screen; ``shown`` is told first; ``listen`` names the device by which reports
        are heard, None for none; ``settings`` go to prompt_toolkit (input and output, for tests).
        """
        self._listen, self._offer = listen, Offer.none()
        self._voice = "" if listen is None else "the microphone gets ready"
        self._boards: dict[tuple[str, int | None], tuple[int, Board]] = {}
        self._told: dict[str, tuple[Race, list[Text]]] = {}
        self._above = 0  # lines of the table that are scrolled past, from its end
        self._furthest = 0  # that can be, at the last drawing
        self._wanted = ""  # what is searched for
        begun = () if shown is None or shown.tone == "good" else shown.lines
        self.session, self.shown = (
            session,
            Shown("warning" if begun else "plain", begun or ("type what was heard, then Enter",)),
        )
        history = InMemoryHistory(session.heard())
        self.line = Buffer(
            history=history,
            completer=Commands(session),
            complete_while_typing=True,
            multiline=False,
            accept_handler=self._enter,
            on_text_changed=self._typed,
        )
        self._hearing: asyncio.Task[None] | None = None
        control = BufferControl(self.line, input_processors=[Visible()])
        above, keys = (
            Window(FormattedTextControl(self._drawn), wrap_lines=False),
            Window(FormattedTextControl(self._keys), height=1),
        )
        prompt = Window(
            FormattedTextControl(self._prompt), dont_extend_width=True
        )  # apart from the line, which may scroll sideways
        body = HSplit([above, VSplit([prompt, Window(control)], height=1), keys])
        menu = Float(CompletionsMenu(max_height=8), xcursor=True, ycursor=True)
        self.application: Application[None] = Application(
            Layout(FloatContainer(body, [menu]), focused_element=control),
            key_bindings=self._bindings(),
            full_screen=True,
            refresh_interval=1.0,  # the clock; what the other engineer writes shows up by itself
            before_render=lambda app: self._refresh(),  # noqa: ARG005
            **settings,
        )

    def run(self) -> None:
        """Show the screen until the engineer leaves."""
        self.application.run(pre_run=self._begin_to_listen)

    def _begin_to_listen(self) -> None:
        if self._listen is not None:
            self.application.create_background_task(self._listening(self._listen))

    def _typed(self, _: Buffer) -> None:
        """Hear a line that can't be read when typing rests, so that Enter need not wait for it."""
        if self._hearing is not None:
            self._hearing.cancel()
        self._hearing = self.application.create_background_task(self._heard_at_rest())

    async def _heard_at_rest(self) -> None:
        await asyncio.sleep(_REST)
        text = self.line.text.strip()
        with contextlib.suppress(CodeError):  # Enter tells
            expected = self.session.to_be_heard(text)
            if expected is not None:
                loop = asyncio.get_running_loop()
                found = await loop.run_in_executor(None, expected.weigh, text)
                self.session.remember(text, expected, found)
                self.application.invalidate()

    async def _listening(self, device: str) -> None:
        """Offer what is heard, for as long as the device gives sound; typing goes on beside it."""
        from codec.voice.live import listen_live

        loop = asyncio.get_running_loop()
        heard: asyncio.Queue[tuple[Transmission, bool] | str] = asyncio.Queue()

        def tell(what: tuple[Transmission, bool] | str) -> None:
            with contextlib.suppress(RuntimeError):  # the screen has gone
                loop.call_soon_threadsafe(heard.put_nowait, what)

        def hear() -> None:
            try:
                tell("listening")
                for one in listen_live(self.session.book, device):
                    tell(one)
                tell("the microphone gives no more sound")
            except CodeError as error:
                tell(f"not listening: {error.message}")

        threading.Thread(target=hear, name="ear", daemon=True).start()
        while True:
            what = await heard.get()
            if isinstance(what, str):
                self._voice = what
            else:
                said, over = what
                try:
                    expected = self.session.expected
                    found = await loop.run_in_executor(None, what_was_said, expected, said)
                    self._offered(said, found, over=over)
                except CodeError as error:
                    self._voice = error.message
            self.application.invalidate()

    def _offered(self, said: Transmission, found: Doubt | None, *, over: bool) -> None:
        """Offer what was heard; what is sure and over is taken by itself."""
        made = None if found is None else offer(self.session, found, said.text)
        if made is not None:
            self._offer = made
            if over and made.surely:
                self._take(by_itself=True)
        elif over:
            told = "in the sheet already" if found is not None else "no report"
            self._voice = f"{told}: {said.text}" if said.text else "listening"

    def _take(self, *, by_itself: bool) -> None:
        if self._offer.string and self._do(self._offer.line(by_itself=by_itself)):
            self._offer = Offer.none()

    def _refresh(self) -> None:
        try:
            self.session.refresh()
        except CodeError as error:
            self.shown = Shown.of_error(error)

    def _prompt(self) -> str:
        car = self.session.car
        return f"car {visible(car)[: get_app().output.get_size().columns // 3]}> " if car else "> "

    def _enter(self, buffer: Buffer) -> bool:
        """Take the line; it stays where it is if it could not be written."""
        written = self._do(buffer.text)
        if self.session.over:
            self.application.exit()
        return not written

    def _do(self, text: str) -> bool:
        """Enter a line; tell whether it was written."""
        word, _, wanted = text.strip().partition(" ")
        if word == f"/{_FIND}":
            self._above, self._wanted = 0, wanted.strip()
            self.shown = Shown("plain", ("Esc shows all lines again",) if wanted else ())
            return True
        self._above = 0
        try:
            self.shown = self.session.enter(text).numbered()
        except CodeError as error:
            self.shown = Shown.of_error(error)
            return not error.kind.startswith("sheet-")
        return True

    def _bindings(self) -> KeyBindings:
        keys = KeyBindings()

        def press(key: str, text: str) -> None:
            keys.add(key)(lambda event: self._press(event, text))

        keys.add("f7")(self._taken)
        press("f4", "/marker")
        press("f5", "/called")
        press("f6", "/right")
        press("f8", "/undo")
        press("f9", "/ok")
        keys.add("f3")(
            lambda event: self._press(
                event, f"/{RESUMED if self.session.race.neutralised else NEUTRALISED}"
            )
        )
        keys.add("f2")(lambda event: self._next_car())  # noqa: ARG005
        keys.add("pageup")(lambda event: self._scroll(event, 1))
        keys.add("pagedown")(lambda event: self._scroll(event, -1))
        keys.add("escape")(self._all)
        keys.add("c-c")(self._clear)
        for key in ("f10", "c-d"):
            keys.add(key)(lambda event: event.app.exit())
        return keys

    def _press(self, event: KeyPressEvent, text: str) -> None:
        self._do(text)
        event.app.invalidate()

    def _taken(self, event: KeyPressEvent) -> None:
        """Take what was heard and offered."""
        self._take(by_itself=False)
        event.app.invalidate()

    def _next_car(self) -> None:
        self.shown, self._above = self.session.next_car(), 0

    def _scroll(self, event: KeyPressEvent, pages: int) -> None:
        page = max(1, event.app.output.get_size().rows // 2)
        self._above = max(0, min(self._furthest, self._above + pages * page))

    def _all(self, event: KeyPressEvent) -> None:
        """Show all lines again, the last ones."""
        self._above, self._wanted = 0, ""
        event.app.invalidate()

    def _clear(self, event: KeyPressEvent) -> None:
        """Clear the line; leave only where there is nothing in it to lose."""
        if self.line.text:
            self.line.reset()
        else:
            event.app.exit()

    # drawing

    def _drawn(self) -> ANSI:
        """Return everything above the line, drawn for the terminal's size as it is now."""
        size = get_app().output.get_size()
        console = SafeConsole(
            file=io.StringIO(), force_terminal=True, color_system="256", width=size.columns,
            height=size.rows, highlight=False,
            emoji=False, markup=False, legacy_windows=False,
        )  # fmt: skip
        for line in self._lines(console, size.columns, size.rows - 2):
            console.print(line, no_wrap=True, overflow="ellipsis", crop=True)
        return ANSI(console.file.getvalue().rstrip("\n"))  # type: ignore[attr-defined]

    def _board(self, car: str, most: int | None) -> Board:
        """Return the board of a car; worked out anew when something is written, and its clock each
        time.
        """
        count, known = self._boards.get((car, most), (-1, None))
        if known is None or count != len(self.session.entries):
            known = board(self.session, car, most=most)
            if len(self._boards) > 2 * len(self.session.cars) + 2:
                self._boards.clear()
            self._boards[car, most] = (len(self.session.entries), known)
        return replace(known, clock=lap_clock(self.session, car))

    def _lines(self, console: Console, width: int, height: int) -> list[Text]:
        """Return the lines of the screen; where they are too many the race goes first, then the
        table, never what was just heard.
        """
        below, self._furthest = self._below(width, height // 2), 0
        cars = self._side_by_side(width)
        room = height - len(below)
        if len(cars) < 2:
            pane = self._pane(console, self.session.car, width, room)
            return [*pane, *below][:height]
        half = (width - 3) // 2
        panes = [self._pane(console, car, half, room) for car in cars]
        both = []
        for left, right in zip(*panes, strict=True):
            line = _fitted(left, half)
            both.append(line.append(" │ ", "dim").append_text(_fitted(right, half)))
        return [*both, *below][:height]

    def _side_by_side(self, width: int) -> list[str]:
        """Return the cars that are shown: the one spoken to, and on a wide screen one more, in the
        order of the sheet.
        """
        cars = list(self.session.cars)
        if width < _TWO or len(cars) < 2 or self.session.car not in cars:
            return [self.session.car]
        place = cars.index(self.session.car)
        beside = cars[(place + 1) % len(cars)]
        return [car for car in cars if car in (self.session.car, beside)]

    def _pane(self, console: Console, car: str, width: int, height: int) -> list[Text]:
        """Return the lines of one car."""
        most = None if self._wanted else height + self._above
        shown = self._board(car, most)
        alerts = [safe(f"! {alert}", "bold red") for alert in shown.alerts]
        fixed = [
            *_packed(self._looks(shown), width),
            *(_packed(alerts, width) or [Text("─" * width, style="dim")]),
        ]
        wheel = [line for line in (_wheel(shown), _calls(shown)) if line]
        fixed = [*fixed, *_packed(wheel, width)][: max(1, height - 1)]
        room = height - len(fixed) - 1
        race = self._race(console, shown, width, room - _LEAST)
        room = max(0, room - len(race))
        table = self._table(shown, width, room)
        head = self._head(shown, width)
        return [head, *race, *fixed, *table, *[Text()] * (room - len(table))][:height]

    def _table(self, shown: Board, width: int, room: int) -> list[Text]:
        """Return as much of the laps as there is room for: the last lines, or those scrolled or
        searched to.
        """
        lines = [line for line in shown.lines if _has(line, self._wanted)]
        uses = shown.uses if shown.race is not None else None
        timed, numbered = width >= _TIMED, width >= _NUMBERED
        book = self.session.book
        rows = line_rows(book, lines, width, uses=uses, timed=timed, numbered=numbered)
        drawn = [row_text(row) for row in rows]
        body, most = drawn[2:], max(1, room - 2)
        self._furthest = max(self._furthest, len(body) - most)
        end = len(body) - min(self._above, max(0, len(body) - most))
        return [*drawn[:2], *body[max(0, end - most) : end]][:room]

    def _looks(self, shown: Board) -> list[Text]:
        """Return what there is to look at and is not told below."""
        told = self.shown.lines
        now = [one for one in shown.looks if not any(line.startswith(one.text) for line in told)]
        return [safe(notice.text, "bold red" if notice.ask else "bold yellow") for notice in now]

    def _race(self, console: Console, shown: Board, width: int, most: int) -> list[Text]:
        """Return where the race is heading and what to call, where the event is known: what is
        whole in ``most`` lines.
        """
        if shown.race is None or not shown.car:
            return []
        told = list(self._state_lines(shown, shown.race))
        if shown.due:
            told.insert(1, safe(shown.due, "bold yellow"))
        lines: list[Text] = []
        for line in told:
            listed = (
                []
                if line.spans
                else [Text(item, style=line.style) for item in line.plain.split("; ")]
            )
            parts = _packed(listed, width) if len(listed) > 1 else list(line.wrap(console, width))
            if len(lines) + len(parts) > most:
                break
            lines += parts
        return lines

    def _state_lines(self, shown: Board, race: Race) -> list[Text]:
        """Return where the race is heading; worked out anew when something is written."""
        known = self._told.get(shown.car)
        if known is None or known[0] is not race:
            from codec.screen.race import state_lines  # slow to load, and only with an event

            known = self._told[shown.car] = race, state_lines(race, shown.advice)
        return known[1]

    def _head(self, shown: Board, width: int) -> Text:
        session, state = self.session, shown.state
        driver = f" {shown.driver}" if shown.driver else ""
        name = f"car {shown.car}{driver}" if shown.car else "no car yet: /car 7=DRIVER"
        spoken = shown.car == session.car
        parts = [
            (name, "bold reverse" if spoken and len(session.cars) > 1 else "bold"),
            (f"lap {shown.driving if shown.lap else '–'}", "bold"),
        ]
        if state.added:
            parts.append((f"+{plain(state.added)} lap{'' if state.added == 1 else 's'}", "bold"))
        parts += _state(shown)
        if self._wanted:
            parts.append((f"find: {self._wanted}", "bold cyan"))
        elif self._above:
            parts.append((f"{self._above} lines up", "bold cyan"))
        shown_cars = {shown.car, *self._side_by_side(get_app().output.get_size().columns)}
        others = [f"{car}: {self._lap_of(car)}" for car in session.cars if car not in shown_cars]
        listed = [*parts, *((other, "dim") for other in others)]
        short = [(f"car {shown.car}", parts[0][1]), *parts[1:]]  # what must be seen first
        ends = [safe(time_text(session.now()), "bold"), safe(session.book.title, "dim")]
        titled = Text("  ").join(ends[::-1])
        head = Text()
        for told, end in ((listed, titled), (listed, ends[0]), (parts, ends[0]), (short, ends[0])):
            head = Text("  ").join([safe(text, style) for text, style in told])
            if head.cell_len + end.cell_len + 2 <= width:
                return head.append(" " * (width - head.cell_len - end.cell_len)).append_text(end)
        return head

    def _lap_of(self, car: str) -> str:
        """Return the lap that another car is driving, and whether a report of it waits."""
        known = self.session.of(car)
        waits = " ?" if known.waiting is not None else ""
        return f"lap {known.lap + 1 if known.lap else '–'}{waits}"

    def _below(self, width: int, most: int) -> list[Text]:
        """Return what was just heard, and what the line being typed would be taken for, in ``most``
        lines.
        """
        lines = [Text("─" * width, style="dim")]
        look = self.session.look(self.line.text)
        preview = (
            [
                safe(part, _STYLES[look.tone] or "dim")
                for part in _folded("  ".join(("→", *look.lines)), width)
            ]
            if look.lines
            else [Text()]
        )
        preview = [*self._heard_lines(width), *preview[:_PREVIEW]]
        above = {f"! {alert}" for alert in self.session.mine.alerts}
        for number, line in enumerate(line for line in self.shown.lines if line not in above):
            style = (
                _STYLES[self.shown.tone]
                if number == 0
                else "bold red"
                if line.startswith(("!", "WRONG"))
                else ""
            )
            lines.extend(safe(part, style) for part in _folded(line, width))
        return [*lines[: max(2, most - len(preview))], *preview]

    def _heard_lines(self, width: int) -> list[Text]:
        """Return what is offered of what was heard, or what is listened to."""
        if self._listen is None:
            return []
        if not self._offer.string:
            return [safe(f"voice  {self._voice}"[:width], "dim")]
        told = [*self._offer.shown.lines, f"heard: {self._offer.words}  F7 takes it"]
        lines = [(part, n) for n, line in enumerate(told) for part in _folded(line, width)]
        style = _STYLES[self._offer.shown.tone]
        return [safe(part, style if n == 0 else "") for part, n in lines[:_OFFERED]]

    def _keys(self) -> ANSI:
        columns = get_app().output.get_size().columns
        return ANSI(f"\x1b[7m{_bar(columns, listens=self._listen is not None)}\x1b[0m")


@functools.lru_cache(maxsize=8)
def _bar(columns: int, *, listens: bool) -> str:
    """Return the keys: shorter words where they don't fit."""
    known = [key for key in _KEYS if listens or key != _TAKE]
    for keys in (known, [_SHORT.get(key, key) for key in known]):
        if len("  ".join(keys)) <= columns:
            return "  ".join(keys)
    return " ".join(_SHORT.get(key, key) for key in known)[:columns]


_SHORT = {
    "F3 neutralised/resumed": "F3 neutral",
    "F4 marker": "F4 mark",
    "F5 called it": "F5 called",
    "F6 read back right": "F6 right",
    _TAKE: "F7 take",
    "/ commands": "/",
    "F10 leave": "F10",
}


def _state(shown: Board) -> list[tuple[str, str]]:
    """Return the state of the race, and of the lap being driven."""
    state, lap = shown.state, shown.clock
    if state.stopped:
        parts = [("STOPPED", "bold white on red")]
    elif state.neutralised:
        parts = [("NEUTRALISED", "bold black on yellow")]
    else:
        parts = [("racing", "green")]
    if state.weather == "rain":
        parts.append(("rain", "bold cyan"))
    if lap.into is not None:
        parts.append((f"{_minutes(lap.into)} in", ""))
    if lap.overdue:
        parts.append((f"report overdue {_minutes(lap.overdue)}", "bold yellow"))
    return parts


def _minutes(milliseconds: int) -> str:
    return f"{milliseconds // 60_000}:{milliseconds // 1000 % 60:02d}"


def _wheel(shown: Board) -> Text:
    """Return where the dials stand, and where those will that a call is on its way to."""
    dials = [
        f"{dial.name} {dial.position}{'?' if dial.doubtful else ''}"
        + ("" if dial.heading == dial.position else f"→{dial.heading}")
        for dial in shown.dials
    ]
    return safe(f"wheel  {', '.join(dials)}", "dim") if dials else Text()


def _calls(shown: Board) -> Text:
    """Return the last calls that are not read back yet."""
    open_calls = [call for call in shown.calls[:3] if call.state in ("called", "wrong")]
    told = [
        f"{call.string} {'read back wrong' if call.wrong else 'not read back'}"
        for call in open_calls
    ]
    return safe(f"calls  {', '.join(told)}", "bold cyan") if told else Text()


def _has(line: SheetLine, wanted: str) -> bool:
    """Tell whether a line has all the words that are searched for."""
    if not wanted:
        return True
    row = line.row
    heard = "" if row is None else f"{row.entry.heard} {row.entry.string} {row.entry.message}"
    text = f"lap {line.lap} {line.said} {heard}".casefold()
    return all(word in text for word in wanted.casefold().split())


def _fitted(line: Text, width: int) -> Text:
    """Return a line cut or filled to a width."""
    fitted = line.copy()
    fitted.truncate(width, overflow="ellipsis", pad=True)
    return fitted


def _folded(line: str, width: int) -> list[str]:
    """Cut a line at spaces so that it fits."""
    return textwrap.wrap(line, width, subsequent_indent="  ") or [""]


def _packed(items: Sequence[Text], width: int) -> list[Text]:
    """Put items side by side as far as they fit, and the others below; one that is too long by
    itself is cut at spaces.
    """
    lines: list[Text] = []
    for item in items:
        if lines and lines[-1].cell_len + 2 + item.cell_len <= width:
            lines[-1].append("  ").append_text(item)
        else:
            lines.extend(Text(part, style=item.style) for part in _folded(item.plain, width))
    return lines
