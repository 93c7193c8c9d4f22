"""Practising the wheel on a terminal: the change stands there, keys are the touches, and what the
dash would show stands below.
"""

from __future__ import annotations

import textwrap
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from prompt_toolkit.application import Application
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import Layout, Window
from prompt_toolkit.layout.controls import FormattedTextControl

from codec.drill.answer import Answer
from codec.drill.session import CAUTION
from codec.drill.wheel_drill import WheelDrill, WheelTurn, keys_of, result, scores
from codec.screen.lines import Heading, line, safe, table
from grammar.errors import CodeError, counted, visible

if TYPE_CHECKING:
    from prompt_toolkit.input import Input
    from prompt_toolkit.output import Output

_TICK, _LEAST = 0.05, 20


class WheelDrillScreen:
    """Runs a session of so many changes."""

    def __init__(
        self,
        drill: WheelDrill,
        items: int,
        *,
        clock: Callable[[], float] = time.perf_counter,
        input: Input | None = None,  # noqa: A002 - the library's name
        output: Output | None = None,
    ) -> None:
        """Prepare the screen; ``run`` shows it."""
        self.drill, self.items, self.clock = drill, items, clock
        self.keys = dict(keys_of(drill.wheel))
        self.turn: WheelTurn | None = None
        self.confirmed, self.told, self.unwritten = False, "", False
        self.app: Application[int] = Application(
            Layout(Window(FormattedTextControl(self._text, focusable=True), wrap_lines=True)),
            key_bindings=self._bindings(), full_screen=True, refresh_interval=_TICK,
            input=input, output=output,
        )  # fmt: skip

    def run(self) -> int:
        """Show the screen until the session ends; 0 at its end, 130 where it was stopped."""
        return self.app.run()

    @property
    def finished(self) -> bool:
        """Whether every change was made."""
        return len(self.drill.answers) >= self.items

    def _bindings(self) -> KeyBindings:
        keys = KeyBindings()
        for stop in ("c-c", "c-d"):
            keys.add(stop)(lambda event: event.app.exit(result=0 if self.finished else 130))
        keys.add("enter")(lambda _: self._enter())
        keys.add(Keys.Any)(lambda event: self._key(event.data))
        return keys

    def _enter(self) -> None:
        now = self.clock()
        if not self.confirmed:
            self.confirmed = True
        elif self.finished:
            self.app.exit(result=0)
            return
        elif self.turn is not None:
            self._end(self.turn, now)
            return
        task, signals = self.drill.ask()
        self.turn = WheelTurn.begin(self.drill.wheel, task, now)
        self.turn.signals = signals

    def _end(self, turn: WheelTurn, now: float) -> None:
        """Mark the change; where it can't be written it stays, to be entered again."""
        answer = self.drill.marked(turn, now)
        try:
            self.drill.write(turn, answer)
        except CodeError as error:
            self.told = f"{error.message}; Enter tries again"
            return
        self.told, self.turn = result(turn, answer).replace("\n", "\n  "), None

    def _key(self, key: str) -> None:
        if self.turn is None or not self.confirmed:
            return
        now = self.clock()
        if key == " ":
            self.turn.signals.press(now - self.turn.shown_at)
        elif key in self.keys:
            try:
                self.turn.touch(self.keys[key], now)
            except CodeError as error:
                self.told = error.message

    # what is shown

    def _text(self) -> StyleAndTextTuples:
        wheel, turn = self.drill.wheel, self.turn
        text: StyleAndTextTuples = [("bold", f" {visible(wheel.title)}")]
        text.append(("", f"   {len(self.drill.answers)} of {self.items}\n\n"))
        if not self.confirmed:
            width = max(_LEAST, self.app.output.get_size().columns - 2)
            caution = "\n ".join(textwrap.wrap(CAUTION, width))
            text += [("", f" {caution}\n\n"), ("bold", " Enter: the car is parked\n")]
        elif turn is not None:
            after = self.clock() - turn.shown_at
            lit = turn.signals.lit(after) is not None
            text.append(("reverse bold" if lit else "", " BRAKE \n\n" if lit else "\n\n"))
            text.append(("bold", f"   {turn.task.words}\n\n"))
            text += [("", f"   {visible(part)}\n") for part in turn.dash.split("; ")]
            text.append(("", "\n Enter: done\n"))
        elif self.told:
            text.append(("", f" {self.told}\n\n"))
            ask = "that was the last; Enter ends" if self.finished else "Enter: the next"
            text.append(("bold", f" {ask}\n"))
        if turn is not None and self.told and not self.confirmed:
            text.append(("", f" {self.told}\n"))
        text.append(("", "\n"))
        control = ""
        for key, name in self.keys.items():
            now = wheel.touches[wheel.touch(name)].control
            text.append(("", "  " if now == control else "\n "))
            text += [("bold", f" {key} "), ("", visible(name))]
            control = now
        if turn is not None and turn.signals.times:
            text += [("bold", "\n  Space "), ("", "brake")]
        return text


def summary(answers: Sequence[Answer]) -> None:
    """Print how it went, change by change."""
    found = scores(answers)
    if not found:
        return
    line((f"{counted(len(answers), 'change')} made", "bold"))
    heads = ("asked", "right", "more touches", "seconds", "signals missed")
    table(
        [Heading("change"), *(Heading(head, folds=False, right=True) for head in heads)],
        [
            [
                safe(one.name),
                (f"{one.asked}", ""),
                (f"{one.right}", "red" if one.right < one.asked else ""),
                (f"{one.corrected}", ""),
                ("–" if one.seconds is None else f"{one.seconds:.1f}", ""),
                (f"{one.missed} of {one.marks}" if one.marks else "–", ""),
            ]
            for one in found
        ],
    )
