"""The drills on a terminal: a string appears or is spoken, keys take the times, an answer is typed
and marked.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from prompt_toolkit.application import Application
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.filters import Condition
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.keys import Keys

from codec.drill.answer import Answer
from codec.drill.marking import Marked
from codec.drill.noise import FLASHED
from codec.drill.session import CAUTION, DrillSession
from codec.screen.drill_view import STYLE, View
from grammar.errors import CodeError, listed, visible

if TYPE_CHECKING:
    from prompt_toolkit.input import Input
    from prompt_toolkit.output import Output

    from codec.drill.choosing import Question

_TICK = 0.05
_REST = 2.0  # seconds for which a result can be read, whatever the pace
Player = Callable[["Question", int], None]
"""Speaks an item to its end; raises CodeError where it can't.

Called in a thread of its own; the number makes the noise repeatable.
"""


class DrillScreen:
    """Runs a session.

    ``player`` speaks in the hearing drill; without one its words are shown one by one.
    """

    def __init__(
        self,
        session: DrillSession,
        items: int,
        *,
        player: Player | None = None,
        clock: Callable[[], float] = time.perf_counter,
        input: Input | None = None,  # noqa: A002 - the library's name
        output: Output | None = None,
    ) -> None:
        """Prepare the screen; ``run`` shows it."""
        self.session, self.items, self.player, self.clock = session, items, player, clock
        self.question, self.turn = session.ask()
        self.caution, self.confirmed, self.finished = CAUTION, False, False
        self.hint = ""
        self.result: tuple[Answer, Marked, str] | None = None
        self.unwritten: tuple[Answer, Marked] | None = None
        self.unanswered = 0
        self.due: float | None = None
        self.flash: tuple[list[str], list[float]] | None = None
        self.view = View(self)
        self.buffer = Buffer(multiline=False, on_text_changed=lambda _: self._typed())
        self.app: Application[int] = Application(
            self.view.layout(self.buffer), key_bindings=self._keys(), style=STYLE,
            full_screen=True, refresh_interval=_TICK,
            input=input, output=output, before_render=lambda _: self._tick(),
        )  # fmt: skip

    def run(self) -> int:
        """Show the screen until the session ends; 0 at its end, 130 where it was stopped."""
        return self.app.run()

    @property
    def answering(self) -> bool:
        """Whether an answer may be typed."""
        ready = self.confirmed and self.unwritten is None and not self.finished
        return ready and self.turn.stage in ("answering", "listening") and not self.flash

    @property
    def asked(self) -> int:
        """How many questions are over: answered, or overtaken by the next."""
        return len(self.session.answers) + self.unanswered

    # what keys do

    def _keys(self) -> KeyBindings:
        keys = KeyBindings()
        answering, elsewhere = (
            Condition(lambda: self.answering),
            Condition(lambda: not self.answering),
        )
        reading = answering & Condition(lambda: self.session.drill == "read")
        for stop in ("c-c", "c-d"):
            keys.add(stop)(lambda event: event.app.exit(result=0 if self.finished else 130))
        keys.add("enter", eager=True)(lambda _: self._enter())
        keys.add("tab", filter=reading)(lambda _: self._answer(None, corrected=True))
        keys.add("c-n", filter=answering)(lambda _: self._uncounted())
        keys.add("c-r", filter=answering)(lambda _: self._say_again())
        keys.add(" ", filter=elsewhere)(lambda _: self._space())
        keys.add("escape", filter=elsewhere, eager=True)(lambda _: self._unmeasured())
        keys.add(Keys.Any, filter=elsewhere)(lambda event: self._other(event.data))
        return keys

    def _uncounted(self) -> None:
        if self.turn.stage == "answering":
            self.hint, self.result = "not counted", None
            self._next()

    def _unmeasured(self) -> None:
        self.turn.unmeasured(self.clock())
        self._focus()

    def _space(self) -> None:
        now, self.hint = self.clock(), ""
        if not self.confirmed or self.unwritten:
            return
        if self.finished:
            self.app.exit(result=0)
        elif self.turn.stage == "ready":
            self._show(now)
        elif self.session.drill == "read":
            self.turn.press(now)
        self._focus()

    def _other(self, key: str) -> None:
        """Take the brake key; say what was expected for any other."""
        if (
            key in ("b", "B")
            and self.session.second_task
            and self.turn.stage in ("shown", "speaking")
        ):
            self.turn.signals.press(self.clock() - self.turn.shown_at)
            return
        self.hint = f"{visible(key)[:8]!r} does nothing here"

    def _enter(self) -> None:
        self.hint = ""
        if not self.confirmed:
            self._read_on()
        elif self.unwritten:
            self._write(*self.unwritten)
        elif self.finished:
            self.hint = "Space ends the drill"
        elif self.turn.stage == "answering":
            text = self.buffer.text.strip()
            if text.casefold() == "say again" and self.session.drill == "hear":
                self._say_again()
            elif text or self.session.drill == "read":
                self._answer(text or None)
            else:
                self.hint = "type what was said, or Ctrl-R to hear it again"
        elif self.turn.stage == "listening":
            self.hint = "it is still being spoken: Enter when it has ended"

    def _read_on(self) -> None:
        """Show the rest of the caution; begin when all of it was on the screen."""
        left = self.view.caution_left()
        if left is None:
            self.hint = "make the window larger"
        elif left:
            self.caution = left
        else:
            self.confirmed = True
            self._plan(self.clock())

    def _typed(self) -> None:
        if self.buffer.text:
            self.turn.typed(self.clock())

    def _say_again(self) -> None:
        if self.session.drill == "hear" and self.turn.stage == "answering":
            self.buffer.reset()
            self.turn.repeats += 1
            self.turn.first = None
            self._speak()

    # the course of a question

    def _show(self, now: float) -> None:
        self._plan(now)
        if self.session.drill == "hear":
            self._speak()
        else:
            self.turn.show(now)

    def _plan(self, now: float) -> None:
        self.due = None if self.session.pace is None else now + self.session.pace

    def _speak(self) -> None:
        self.turn.show(self.clock())
        if self.player is None:
            words = [self.session.book.alphabet.words[symbol] for symbol in self.question.item.text]
            ends = [sum(word.seconds for word in words[: place + 1]) for place in range(len(words))]
            self.flash = ([word.word for word in words], ends)
            return
        self.app.create_background_task(self._played(self.player))

    async def _played(self, player: Player) -> None:
        try:
            await asyncio.get_running_loop().run_in_executor(
                None, player, self.question, self.session.memory.answers
            )
        except (
            CodeError
        ) as error:  # go on without sound: the drill is worth more than its loudspeaker
            self.player, self.session.noise = None, FLASHED
            self.hint = f"{error.message}; the words are shown instead"
            self.turn.stage = "ready"
            self._speak()
            return
        self.turn.ended(self.clock())
        self.app.invalidate()

    def _tick(self) -> None:
        """Before each drawing: end what is flashed, show what is due."""
        now = self.clock()
        if self.flash and now >= self.turn.shown_at + self.flash[1][-1]:
            self.flash = None
            self.turn.ended(now)
        if (
            self.due is not None
            and self.confirmed
            and now >= self.due
            and not self.unwritten
            and not self.finished
        ):
            if self.turn.stage == "ready":
                self._show(now)
            elif not self.turn.waits(self.buffer.text, now):
                self._pass()
        self._focus()

    def _pass(self) -> None:
        """Go on to the question that is due: nothing is known of this one, so nothing is written of
        it.
        """
        self.unanswered += 1
        self.hint, self.result = "the last one was not answered in time", None
        self._ask() if self.asked < self.items else self._finish()

    def _focus(self) -> None:
        self.app.layout.focus(self.buffer if self.answering else self.view.top)

    def _answer(self, text: str | None, *, corrected: bool = False) -> None:
        self.turn.answered(self.clock())
        try:
            answer, marked = self.session.mark(self.question, self.turn, text, corrected=corrected)
        except CodeError as error:  # what was typed stays, to be corrected
            wanted = f"expected: {listed(error.expected)}" if error.expected else ""
            self.hint = "\n".join(filter(None, [error.message, wanted, error.hint]))
            return
        self._write(answer, marked)

    def _write(self, answer: Answer, marked: Marked) -> None:
        try:
            written = self.session.write(answer)
        except CodeError as error:
            self.unwritten, self.hint = (answer, marked), f"{error.message}; {error.hint}"
            return
        self.unwritten = None
        self.result = (written, marked, self.question.why)
        self._next() if self.asked < self.items else self._finish()

    def _finish(self) -> None:
        """Leave the last result on the screen until a key ends the session."""
        self.finished, self.due = True, None
        self._focus()

    def _next(self) -> None:
        self.due = None if self.due is None else max(self.due, self.clock() + _REST)
        self._ask()

    def _ask(self) -> None:
        self.buffer.reset()
        self.question, self.turn = self.session.ask()
        self._focus()
