"""The live sheet on the whole terminal: the race, the last laps, what was just heard, and a line to type in.

Drawn with rich into the window of a prompt_toolkit application, which edits the line, keeps its history and completes its commands.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from prompt_toolkit.application import Application
from prompt_toolkit.application.current import get_app
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.formatted_text import ANSI
from prompt_toolkit.history import InMemoryHistory
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.layout import HSplit, Layout, Window
from prompt_toolkit.layout.containers import Float, FloatContainer
from prompt_toolkit.layout.controls import BufferControl, FormattedTextControl
from prompt_toolkit.layout.menus import CompletionsMenu
from prompt_toolkit.layout.processors import BeforeInput
from rich.console import Console
from rich.text import Text

from codec.screen.console import safe
from codec.screen.sheet import lap_lines
from codec.sheet.live import Session, Shown, told
from codec.sheet.state import NEUTRALISED, RESUMED
from grammar.errors import CodeError
from grammar.exact import plain

_STYLES = {"good": "bold green", "warning": "bold yellow", "bad": "bold red", "plain": ""}
_BELOW = 9  # lines kept for what was heard, the line to type in, and the keys
_KEYS = "F2 next car  F3 neutralised/resumed  F4 marker  F8 undo  F9 take it  /… commands  F10 leave"

if TYPE_CHECKING:
    from codec.race import Event


class Commands(Completer):
    """Completes what stands behind ``/``."""

    def __init__(self, session: Session) -> None:
        """Take the session whose commands these are."""
        self.session = session

    def get_completions(self, document: Document, complete_event: CompleteEvent) -> Iterable[Completion]:  # noqa: ARG002
        """Yield the commands that begin as the line does."""
        text = document.text_before_cursor
        if text.startswith("/") and " " not in text:
            for name, about in self.session.commands.items():
                if name.startswith(text[1:]):
                    yield Completion(name, start_position=1 - len(text), display_meta=about)


class Log:
    """The application; ``run`` returns when the engineer leaves."""

    def __init__(self, session: Session, event: Event | None = None, **settings: Any) -> None:
        """Lay out the screen; ``event`` adds the race state; ``settings`` go to prompt_toolkit (input and output, for tests)."""
        self.event = event
        self._followed: tuple[object, list[Text]] = (None, [])
        self.session, self.shown, self.written = session, Shown("plain", ("type what was heard, then Enter",)), 0
        history = InMemoryHistory(session.heard())
        self.line = Buffer(
            history=history, completer=Commands(session), complete_while_typing=True, multiline=False, accept_handler=self._enter
        )
        control = BufferControl(self.line, input_processors=[BeforeInput(self._prompt)])
        above, keys = Window(FormattedTextControl(self._drawn), wrap_lines=False), Window(FormattedTextControl(self._keys), height=1)
        body = HSplit([above, Window(control, height=1), keys])
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
            self.shown = told(error)

    def _prompt(self) -> str:
        return f"car {self.session.car}> " if self.session.car else "> "

    def _enter(self, buffer: Buffer) -> bool:
        """Take the line; it stays where it is if it could not be written."""
        if buffer.text.strip() in ("/quit", "/q"):
            self.application.exit()
            return False
        return not self._do(buffer.text)

    def _do(self, text: str) -> bool:
        """Enter a line; tell whether it was written."""
        try:
            self.shown = self.session.enter(text)
        except CodeError as error:
            self.shown = told(error)
            return not error.kind.startswith("sheet-")
        return True

    def _bindings(self) -> KeyBindings:
        keys = KeyBindings()

        def press(key: str, text: str) -> None:
            keys.add(key)(lambda event: self._press(event, text))

        press("f4", "/marker")
        press("f8", "/undo")
        press("f9", "/ok")
        keys.add("f3")(lambda event: self._press(event, f"/{RESUMED if self.session.race.neutralised else NEUTRALISED}"))
        keys.add("f2")(lambda event: self.session.next_car())  # noqa: ARG005
        for key in ("f10", "c-d", "c-c"):
            keys.add(key)(lambda event: event.app.exit())
        return keys

    def _press(self, event: KeyPressEvent, text: str) -> None:
        self._do(text)
        event.app.invalidate()

    # drawing

    def _drawn(self) -> ANSI:
        """Return everything above the line, drawn for the terminal's size as it is now."""
        size = get_app().output.get_size()
        console = Console(
            file=io.StringIO(), force_terminal=True, color_system="256", width=size.columns, height=size.rows, highlight=False,
            emoji=False, markup=False, legacy_windows=False,
        )  # fmt: skip
        for line in self._lines(size.columns, size.rows - 2):
            line.truncate(size.columns, overflow="ellipsis")
            console.print(line, no_wrap=True, overflow="ellipsis", crop=True)
        return ANSI(console.file.getvalue().rstrip("\n"))  # type: ignore[attr-defined]

    def _lines(self, width: int, height: int) -> list[Text]:
        session = self.session
        below, race = self._below(width), self._race()
        room = max(1, height - 4 - len(race) - max(len(below), _BELOW - 2))
        table = lap_lines(session.book, session.rows, session.car, width, last=room)
        gap = max(0, height - 2 - len(race) - len(table) - len(below))
        alerts = "  ".join(f"! {alert}" for alert in session.alerts)
        rule = safe(alerts, "bold red") if alerts else Text("─" * width, style="dim")
        return [self._head(width), *race, rule, *table, *[Text()] * gap, *below][:height]

    def _race(self) -> list[Text]:
        """Return where the race is heading and what to call, where the event is known; worked out anew when something is written."""
        session = self.session
        if self.event is None or not session.car:
            return []
        key = (session.car, len(session.entries))
        if self._followed[0] != key:
            from codec.race import advise, facts, follow
            from codec.screen.race import state_lines

            race = follow(self.event, facts(session.rows, session.car))
            self._followed = (key, state_lines(race, advise(race)))
        return self._followed[1]

    def _head(self, width: int) -> Text:
        session, race = self.session, self.session.race
        driver = session.cars.get(session.car, "")
        name = f"car {session.car}{' ' + driver if driver else ''}" if session.car else "no car yet: /car 7 and the driver"
        state = [("NEUTRALISED", "bold black on yellow")] if race.neutralised else [("racing", "green")]
        added = [(f"+{plain(race.added)} laps", "bold")] if race.added else []
        parts = [(name, "bold"), (f"lap {session.lap or '–'}", "bold"), *state, *added]
        others = [f"{car}:{self._last_of(car)}" for car in session.cars if car != session.car]
        head = Text("  ").join([safe(text, style) for text, style in [*parts, *((other, "dim") for other in others)]])
        title = safe(session.book.title, "dim")
        if head.cell_len + title.cell_len + 2 <= width:
            head.append(" " * (width - head.cell_len - title.cell_len)).append_text(title)
        return head

    def _last_of(self, car: str) -> str:
        mine = [row.entry for row in self.session.rows if row.entry.car == car and row.first.kind == "report" and not row.withdrawn]
        return "–" if not mine else f"lap {mine[-1].lap}" + (" ?" if mine[-1].refusal else "")

    def _below(self, width: int) -> list[Text]:
        """Return what was just heard, and what the line being typed would be taken for."""
        lines = [Text("─" * width, style="dim")]
        for number, line in enumerate(self.shown.lines[:6]):
            style = _STYLES[self.shown.tone] if number == 0 else "bold red" if line.startswith("!") else ""
            lines.extend(safe(part, style) for part in _folded(line, width)[:2])
        look = self.session.look(self.line.text) if not self.line.text.startswith("/") else Shown("plain", ())
        lines.append(safe("  ".join(("→", *look.lines)) if look.lines else "", "green" if look.tone == "good" else "dim"))
        return lines

    def _keys(self) -> ANSI:
        return ANSI(f"\x1b[7m{_KEYS[: get_app().output.get_size().columns]}\x1b[0m")


def _folded(line: str, width: int) -> list[str]:
    """Cut a line at spaces so that it fits."""
    import textwrap

    return textwrap.wrap(line, width, subsequent_indent="  ") or [""]
