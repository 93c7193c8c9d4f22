"""What a drill's screen shows at each moment: the caution, a string, an answer's result, and what
the keys do now, however narrow it is.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

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
from prompt_toolkit.styles import Style

from codec.drill.answer import MEANINGS, Answer, Kind
from codec.drill.marking import Marked
from codec.drill.session import DrillSession
from codec.screen.typed import Visible
from grammar.errors import visible

if TYPE_CHECKING:
    from prompt_toolkit.application import Application
    from prompt_toolkit.buffer import Buffer

    from codec.drill.choosing import Question
    from codec.drill.turn import Turn

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
_LEAST = 16  # columns below which nothing is wrapped at words any more
_INDENT = 3
_LABEL = len("shown  ")
_PARKED, _LEAVE = "Enter: the car is parked, or there is none", "Ctrl-C: leave"

STYLE = Style.from_dict(
    {
        "title": "bold", "quiet": "#888888", "dash": "bold reverse",
        "signal": "bold bg:#cc0000 #ffffff", "key": "bold",
        "right": "bold #00aa00", "corrected": "bold #aaaa00", "caught": "bold #cc8800",
        "accepted": "bold #ff4444", "wrong": "bold #ff4444",
    }
)  # fmt: skip


class DrillState(Protocol):
    """Where a drill stands, as far as it is shown."""

    app: Application[int]
    session: DrillSession
    items: int
    clock: Callable[[], float]
    player: Callable[[Question, int], None] | None
    question: Question
    turn: Turn
    caution: str
    confirmed: bool
    finished: bool
    hint: str
    result: tuple[Answer, Marked, str] | None
    unwritten: tuple[Answer, Marked] | None
    due: float | None
    flash: tuple[list[str], list[float]] | None

    @property
    def answering(self) -> bool:
        """Whether an answer may be typed."""

    @property
    def asked(self) -> int:
        """How many questions are over."""


class View:
    """Makes the text of a screen, for as many columns and rows as its terminal has now."""

    def __init__(self, screen: DrillState) -> None:
        """Take the screen whose state is shown."""
        self._screen = screen
        self.top = FormattedTextControl(self.text, focusable=True, show_cursor=False)

    def layout(self, answer: Buffer) -> Layout:
        """Return the layout: what is shown, the line of the answer while one may be typed, and what
        the keys do.
        """
        asking = Condition(lambda: self._screen.answering)
        label = Window(FormattedTextControl([("class:key", _ANSWER)]), width=len(_ANSWER), height=1)
        typed = BufferControl(answer, input_processors=[Visible()])
        line = VSplit([label, Window(typed, height=1)])
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
            return [*shown, *self._last_result()]
        return [*shown, *self._asked()]

    def caution_left(self) -> str | None:
        """Return what of the caution is not on the screen yet, "" for nothing; None where the
        window is too low to show any.
        """
        _, lines, left = self._caution()
        return left if lines else None

    def _caution(self) -> tuple[list[str], list[str], str]:
        """Return the head, the lines of the caution that are shown, and the rest of it."""
        lines = _wrapped(self._screen.caution, self.columns)
        foot = len(self._hint_lines()) + len(_key_lines([_PARKED, _LEAVE], self.columns))
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
        return _key_lines(
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

    def _last_result(self) -> StyleAndTextTuples:
        """Return the last result, where it went wrong, and what kind of thing comes next: no more,
        it would be read before it is timed.
        """
        screen = self._screen
        rows: StyleAndTextTuples = []
        if screen.result is not None:
            rows += _result(screen.session, *screen.result, self.columns)
        after = (
            "that was the last" if screen.finished else f"next: {_KINDS[screen.question.item.kind]}"
        )
        return [*rows, ("class:quiet", f"{after}\n")]

    def _foot(self) -> StyleAndTextTuples:
        """Return the hint, if there is one, and what the keys do."""
        rows: StyleAndTextTuples = [("class:wrong", f"{line}\n") for line in self._hint_lines()]
        return [*rows, ("class:key", "\n".join(_key_lines(self._keys_now(), self.columns)))]

    def _foot_height(self) -> Dimension:
        lines = len(self._hint_lines()) + len(_key_lines(self._keys_now(), self.columns))
        return Dimension(min=1, preferred=lines, max=lines)

    def _hint_lines(self) -> list[str]:
        hint = self._screen.hint
        return [line for part in hint.splitlines() for line in _wrapped(part, self.columns)]

    def _keys_now(self) -> list[str]:
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


def _result(
    session: DrillSession, answer: Answer, marked: Marked, why: str, columns: int
) -> StyleAndTextTuples:
    """Return what was shown, what was said, and where they part, in lines of so many columns."""
    wrong = marked.wrong_places
    rows: StyleAndTextTuples = [(f"class:{answer.outcome}", MEANINGS[answer.outcome]), ("", "\n\n")]
    rows += _symbols(
        "shown", [(symbol, place in wrong) for place, symbol in enumerate(answer.shown)], columns
    )
    if not answer.right:
        rows += _symbols(
            "said", [(said or "–", False) for _, said in marked.pairs] or [("–", False)], columns
        )
        meant = _wrapped(session.book.alphabet.say(answer.shown), columns, _INDENT + _LABEL)
        rows.append(
            (
                "",
                "\n".join([f"{'':{_INDENT}}{'meant':{_LABEL}}{meant[0].lstrip()}", *meant[1:]])
                + "\n",
            )
        )
        if marked.reason:
            rows.append(("class:quiet", _paragraph(marked.reason, columns)))
    times = [f"first word {answer.first:.1f} s"] if answer.first is not None else []
    times += [f"all {answer.last:.1f} s"] if answer.last is not None else []
    times += [f"brake signals missed: {answer.missed} of {answer.marks}"] if answer.marks else []
    told = _paragraph(", ".join(times) or "no times", columns) + _paragraph(
        f"asked: {why}", columns
    )
    return [*rows, ("class:quiet", f"{told}\n")]


def _symbols(label: str, symbols: Sequence[tuple[str, bool]], columns: int) -> StyleAndTextTuples:
    """Return symbols behind a label; those told to be wrong stand out."""
    rows: StyleAndTextTuples = [("", f"{'':{_INDENT}}{label:{_LABEL}}")]
    each = _symbols_a_line(len(symbols), columns, _INDENT + _LABEL)
    for place, (symbol, wrong) in enumerate(symbols):
        if place and place % each == 0:
            rows.append(("", f"\n{'':{_INDENT + _LABEL}}"))
        rows.append(("class:wrong" if wrong else "", f"{symbol} "))
    return [*rows, ("", "\n")]


def _paragraph(text: str, columns: int) -> str:
    return "\n".join(_wrapped(text, columns, _INDENT)) + "\n"


def _wrapped(text: str, columns: int, indent: int = 0) -> list[str]:
    """Return the lines of a text, each indented; a word longer than a line is cut."""
    blank = " " * indent
    width = max(_LEAST, columns)
    return textwrap.wrap(
        visible(text), width, initial_indent=blank, subsequent_indent=blank, break_on_hyphens=False
    ) or [""]


def _key_lines(hints: Sequence[str], columns: int) -> list[str]:
    """Return the lines of what keys do: as many hints a line as fit whole, one alone is wrapped at
    words where it must be.
    """
    lines = [""]
    for hint in hints:
        joined = f"{lines[-1]}   {hint}" if lines[-1] else hint
        if len(joined) <= columns:
            lines[-1] = joined
        else:
            lines += _wrapped(hint, columns)
    return [line for line in lines if line]


def _symbols_a_line(count: int, columns: int, indent: int) -> int:
    """Return how many of ``count`` single symbols, a blank behind each, go on a line after an
    indent.
    """
    return max(1, min(count, (columns - indent) // 2))
