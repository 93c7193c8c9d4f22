"""The live sheet on the whole terminal: the race, the last laps, what was just heard, and a line to
type in.

Drawn with rich into the window of a prompt_toolkit application, which edits the line, keeps its
history and completes its commands.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import Any

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

from codec.log.session import Session
from codec.log.shown import Shown
from codec.screen.console import SafeConsole, safe
from codec.screen.sheet import lap_lines
from codec.screen.typed import Visible
from codec.sheet.state import NEUTRALISED, RESUMED
from grammar.errors import CodeError, visible
from grammar.exact import plain

_STYLES = {"good": "bold green", "warning": "bold yellow", "bad": "bold red", "plain": ""}
# lines of the table that stay, however much there is to tell above it: two of its head, and the
# last lap
_LEAST = 5
_PREVIEW = 3  # lines at most that tell what the line being typed would be taken for
_KEYS = "F2 car  F3 neutralised/resumed  F4 marker  F8 undo  F9 ok  / commands  F10 leave"


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
            for name, about in self.session.commands.items():
                if name.startswith(text[1:]):
                    yield Completion(
                        name,
                        start_position=1 - len(text),
                        display=visible(name),
                        display_meta=visible(about),
                    )


class Log:
    """The application; ``run`` returns when the engineer leaves."""

    def __init__(self, session: Session, shown: Shown | None = None, **settings: Any) -> None:
        """Lay out the screen; ``shown`` is told first; ``settings`` go to prompt_toolkit (input and
        output, for tests).
        """
        self._told: tuple[object, list[Text]] = (None, [])
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
        )
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
            refresh_interval=2.0,  # what the other engineer writes shows up by itself
            before_render=lambda app: self._refresh(),  # noqa: ARG005
            **settings,
        )

    def run(self) -> None:
        """Show the screen until the engineer leaves."""
        self.application.run()

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
        try:
            self.shown = self.session.enter(text)
        except CodeError as error:
            self.shown = Shown.of_error(error)
            return not error.kind.startswith("sheet-")
        return True

    def _bindings(self) -> KeyBindings:
        keys = KeyBindings()

        def press(key: str, text: str) -> None:
            keys.add(key)(lambda event: self._press(event, text))

        press("f4", "/marker")
        press("f8", "/undo")
        press("f9", "/ok")
        keys.add("f3")(
            lambda event: self._press(
                event, f"/{RESUMED if self.session.race.neutralised else NEUTRALISED}"
            )
        )
        keys.add("f2")(lambda event: self._next_car())  # noqa: ARG005
        for key in ("f10", "c-d", "c-c"):
            keys.add(key)(lambda event: event.app.exit())
        return keys

    def _press(self, event: KeyPressEvent, text: str) -> None:
        self._do(text)
        event.app.invalidate()

    def _next_car(self) -> None:
        self.shown = self.session.next_car()

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

    def _lines(self, console: Console, width: int, height: int) -> list[Text]:
        """Return the lines of the screen; where they are too many the race goes first, then the
        table, never what was just heard.
        """
        session = self.session
        below = self._below(width, height // 2)
        alerts = [safe(f"! {alert}", "bold red") for alert in session.mine.alerts]
        fixed = [
            *_packed(self._looks(), width),
            *(_packed(alerts, width) or [Text("─" * width, style="dim")]),
        ]
        fixed = fixed[: max(1, height - len(below) - 1)]
        room = height - len(below) - len(fixed) - 1
        race = self._race(console, width, room - _LEAST)
        room = max(0, room - len(race))
        table = lap_lines(
            session.book, session.standing, session.car, width, last=max(1, room - 2)
        )[:room]
        return [self._head(width), *race, *fixed, *table, *[Text()] * (room - len(table)), *below][
            :height
        ]

    def _looks(self) -> list[Text]:
        """Return what there is to look at and is not told below."""
        now = [notice for notice in self.session.mine.looks if notice.text not in self.shown.lines]
        return [safe(notice.text, "bold red" if notice.ask else "bold yellow") for notice in now]

    def _race(self, console: Console, width: int, most: int) -> list[Text]:
        """Return where the race is heading and what to call, where the event is known: what is
        whole in ``most`` lines.
        """
        session, race = self.session, self.session.mine.followed
        if race is None or not session.car:
            return []
        if self._told[0] is not race:  # worked out anew when something is written
            from codec.race import advise
            from codec.screen.race import state_lines

            self._told = (race, state_lines(race, advise(race)))
        lines: list[Text] = []
        for line in self._told[1]:
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

    def _head(self, width: int) -> Text:
        session, race = self.session, self.session.race
        driver = session.cars.get(session.car, "")
        name = (
            f"car {session.car}{' ' + driver if driver else ''}"
            if session.car
            else "no car yet: /car 7=DRIVER"
        )
        state = (
            [("NEUTRALISED", "bold black on yellow")] if race.neutralised else [("racing", "green")]
        )
        added = (
            [(f"+{plain(race.added)} lap{'' if race.added == 1 else 's'}", "bold")]
            if race.added
            else []
        )
        parts = [(name, "bold"), (f"lap {session.lap or '–'}", "bold"), *state, *added]
        others = [f"{car}:{self._last_of(car)}" for car in session.cars if car != session.car]
        head = Text("  ").join(
            [safe(text, style) for text, style in [*parts, *((other, "dim") for other in others)]]
        )
        title = safe(session.book.title, "dim")
        if head.cell_len + title.cell_len + 2 <= width:
            head.append(" " * (width - head.cell_len - title.cell_len)).append_text(title)
        return head

    def _last_of(self, car: str) -> str:
        mine = [row.entry for row in self.session.standing.of(car, "report") if not row.withdrawn]
        return "–" if not mine else f"lap {mine[-1].lap}" + (" ?" if mine[-1].refusal else "")

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
        preview = preview[:_PREVIEW]
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

    def _keys(self) -> ANSI:
        return ANSI(f"\x1b[7m{_KEYS[: get_app().output.get_size().columns]}\x1b[0m")


def _folded(line: str, width: int) -> list[str]:
    """Cut a line at spaces so that it fits."""
    import textwrap

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
