"""What a drill's screen shows at each moment: the caution, a string, an answer's result, and what
the keys do now.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from prompt_toolkit.filters import Condition
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.layout import (
    BufferControl,
    ConditionalContainer,
    FormattedTextControl,
    HSplit,
    Layout,
    VSplit,
    Window,
)
from prompt_toolkit.layout.dimension import Dimension

from codec.drill.answer import Kind
from codec.screen.drill_lines import keys, wrapped
from codec.screen.drill_result import result
from grammar.errors import visible

if TYPE_CHECKING:
    from prompt_toolkit.buffer import Buffer

    from codec.screen.drill import DrillScreen

_BLANK = 0.1  # seconds between two words that are shown: the same one twice is seen twice
_ROOMY = 12  # rows from which lines are kept apart
_LEAST_READ = 2  # lines of the caution below which the title makes room for it
_KINDS: dict[Kind, str] = {
    "symbol": "one symbol",
    "pair": "a pair",
    "entry": "an entry of a table",
    "report": "a whole report",
}
_ANSWER = "  answer: "
_PARKED, _LEAVE = "Enter: the car is parked, or there is none", "Ctrl-C: leave"


class View:
    """Makes the text of a screen, for as many columns and rows as its terminal has now."""

    def __init__(self, screen: DrillScreen) -> None:
        """Take the screen whose state is shown."""
        self._screen = screen
        self.top = FormattedTextControl(self.text, focusable=True, show_cursor=False)

    def layout(self, answer: Buffer) -> Layout:
        """Return the layout: what is shown, the line of the answer while one may be typed, and what
        the keys do.
        """
        asking = Condition(lambda: self._screen.answering)
        label = Window(FormattedTextControl([("class:key", _ANSWER)]), width=len(_ANSWER), height=1)
        line = VSplit([label, Window(BufferControl(answer), height=1)])
        top = Window(self.top, wrap_lines=True, height=Dimension(min=1, weight=1))
        foot = Window(FormattedTextControl(self._foot), height=self._foot_height, wrap_lines=True)
        return Layout(
            HSplit([top, ConditionalContainer(line, asking), foot]), focused_element=self.top
        )

    @property
    def columns(self) -> int:
        """The columns of the terminal."""
        return self._screen.app.output.get_size().columns

    def text(self) -> StyleAndTextTuples:
        """Return what stands above the answer's line."""
        screen = self._screen
        if not screen.confirmed:
            head, lines, _ = self._caution()
            return [("class:title", "\n".join([*head, ""])), ("", "\n".join(lines) + "\n")]
        apart = "\n" if screen.app.output.get_size().rows >= _ROOMY else ""
        shown: StyleAndTextTuples = [("class:title", "\n".join([*self._head(), ""])), ("", apart)]
        if screen.finished or screen.turn.stage == "ready":
            return [*shown, *self._told()]
        return [*shown, *self._asked()]

    def caution_left(self) -> str | None:
        """Return what of the caution is not on the screen yet, "" for nothing; None where the
        window is too low to show any.
        """
        _, lines, left = self._caution()
        return left if lines else None

    def _caution(self) -> tuple[list[str], list[str], str]:
        """Return the head, the lines of the caution that are shown, and the rest of it."""
        lines = wrapped(self._screen.caution, self.columns)
        foot = len(self._hint_lines()) + len(keys([_PARKED, _LEAVE], self.columns))
        head = [*self._head(), ""]
        room = self._screen.app.output.get_size().rows - foot - len(head)
        if room < min(_LEAST_READ, len(lines)):
            head, room = [], room + len(head)
        room = max(0, room)
        return head, lines[:room], " ".join(lines[room:])

    def _head(self) -> list[str]:
        screen, session = self._screen, self._screen.session
        what = (
            f"{'Read out' if session.drill == 'read' else 'Listen'}: {visible(session.person)},"
            f" {visible(session.book.title)}"
        )
        return keys(
            [what, f"{min(screen.asked + 1, screen.items)} of {screen.items}"], self.columns
        )

    def _asked(self) -> StyleAndTextTuples:
        screen = self._screen
        stage, text = screen.turn.stage, screen.question.item.text
        if screen.session.drill == "hear":
            if screen.flash:
                return [("class:dash", f"  {self._flashed()}  "), ("", "\n")]
            return [("", "listening …" if stage == "listening" else "What was said?")]
        rows: StyleAndTextTuples = [
            ("", "\n   "),
            ("class:dash", f"  {'  '.join(text)}  "),
            ("", "\n\n"),
        ]
        if (
            stage in ("shown", "speaking")
            and screen.turn.signals.lit(screen.clock() - screen.turn.shown_at) is not None
        ):
            rows += [("", "   "), ("class:signal", "   BRAKE   "), ("", "\n")]
        return rows

    def _flashed(self) -> str:
        words, ends = self._screen.flash or ([], [])
        passed = self._screen.clock() - self._screen.turn.shown_at
        word, end = next(
            ((word, end) for word, end in zip(words, ends, strict=True) if passed < end),
            ("", passed),
        )
        return "" if 0 < end - passed < _BLANK else word

    def _told(self) -> StyleAndTextTuples:
        """Return the last result, where it went wrong, and what kind of thing comes next: no more,
        it would be read before it is timed.
        """
        screen = self._screen
        rows: StyleAndTextTuples = []
        if screen.result is not None:
            rows += result(screen.session, *screen.result, self.columns)
        after = (
            "that was the last" if screen.finished else f"next: {_KINDS[screen.question.item.kind]}"
        )
        return [*rows, ("class:quiet", f"{after}\n")]

    def _foot(self) -> StyleAndTextTuples:
        """Return the hint, if there is one, and what the keys do."""
        rows: StyleAndTextTuples = [("class:wrong", f"{line}\n") for line in self._hint_lines()]
        return [*rows, ("class:key", "\n".join(keys(self._keys_told(), self.columns)))]

    def _foot_height(self) -> Dimension:
        lines = len(self._hint_lines()) + len(keys(self._keys_told(), self.columns))
        return Dimension(min=1, preferred=lines, max=lines)

    def _hint_lines(self) -> list[str]:
        hint = self._screen.hint
        return [line for part in hint.splitlines() for line in wrapped(visible(part), self.columns)]

    def _keys_told(self) -> list[str]:
        screen = self._screen
        reading = screen.session.drill == "read"
        stage = screen.turn.stage
        if not screen.confirmed:
            return ["Enter: read on" if self._caution()[2] else _PARKED, _LEAVE]
        if screen.unwritten:
            return ["Enter: try to write it again", "Ctrl-C: leave without it"]
        if screen.finished:
            return ["Space: end"]
        if stage == "ready":
            wait = (
                []
                if screen.due is None
                else [f"next in {max(0.0, screen.due - screen.clock()):.0f} s"]
            )
            return [
                f"Space: {'show' if reading or screen.player is None else 'speak'} the next",
                "Ctrl-C: stop",
                *wait,
            ]
        if stage in ("shown", "speaking"):
            signals = ["B: brake signal"] if screen.session.second_task else []
            when = (
                "when the first word begins" if stage == "shown" else "when the last word has ended"
            )
            return [f"Space: {when}", *signals, "Esc: no times for this one"]
        if screen.flash:
            return ["watch the words", "Ctrl-C: stop"]
        if reading:
            marks = ["Enter: said right", "Tab: right after a correction", "or type what was said"]
            return [*marks, "Ctrl-N: don't count it", "Ctrl-C: stop"]
        what = (
            "words, symbols or field=value"
            if screen.question.item.kind == "report"
            else "words or symbols"
        )
        again = f"Ctrl-R: {'show it' if screen.player is None else 'say'} again"
        return [f"type {what}", "Enter: done", again, "Ctrl-N: don't count it", "Ctrl-C: stop"]
