"""The drills on a terminal: a string appears or is spoken, keys take the times, an answer is typed and marked."""

from __future__ import annotations

import asyncio
import textwrap
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from prompt_toolkit.application import Application, get_app
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.filters import Condition
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import BufferControl, ConditionalContainer, FormattedTextControl, HSplit, Layout, VSplit, Window

from codec.drill.answer import Answer
from codec.drill.marking import Marked
from codec.drill.session import CAUTION, Session
from codec.screen.drill_result import STYLE, result
from grammar.errors import CodeError, visible

if TYPE_CHECKING:
    from prompt_toolkit.input import Input
    from prompt_toolkit.output import Output

    from codec.drill.choosing import Question

_TICK = 0.05
_REST = 2.0  # seconds for which a result can be read, whatever the pace
_BLANK = 0.1  # seconds between two words that are shown: the same one twice is seen twice
_KINDS = {"symbol": "one symbol", "pair": "a pair", "entry": "an entry of a table", "report": "a whole report"}
Player = Callable[["Question", int], None]
"""Speaks an item to its end; raises CodeError where it can't. Called in a thread of its own; the number makes the noise repeatable."""


class DrillScreen:
    """Runs a session. ``player`` speaks in the hearing drill; without one its words are shown one by one."""

    def __init__(
        self, session: Session, items: int, *, player: Player | None = None, clock: Callable[[], float] = time.perf_counter,
        input: Input | None = None, output: Output | None = None,  # noqa: A002 - the library's names
    ) -> None:  # fmt: skip
        """Prepare the screen; ``run`` shows it."""
        self.session, self.items, self.player, self.clock = session, items, player, clock
        self.question, self.turn = session.ask()
        self.confirmed = False
        self.hint = ""
        self.result: tuple[Answer, Marked, str] | None = None
        self.unwritten: tuple[Answer, Marked] | None = None
        self._due: float | None = None
        self._flash: tuple[list[str], list[float]] | None = None
        self.buffer = Buffer(multiline=False, on_text_changed=lambda _: self._typed())
        self.app: Application[int] = Application(
            self._layout(), key_bindings=self._keys(), style=STYLE, full_screen=True, refresh_interval=_TICK, input=input, output=output,
            before_render=lambda _: self._tick(),
        )  # fmt: skip

    def run(self) -> int:
        """Show the screen until the session ends; 0 at its end, 130 where it was stopped."""
        return self.app.run()

    # what is shown

    def _layout(self) -> Layout:
        self._top = FormattedTextControl(self._text, focusable=True, show_cursor=False)
        asking = Condition(lambda: self._answering)
        line = VSplit(
            [Window(FormattedTextControl([("class:key", "  answer: ")]), width=10, height=1), Window(BufferControl(self.buffer), height=1)]
        )
        foot = Window(FormattedTextControl(self._foot), height=2, wrap_lines=True)
        return Layout(HSplit([Window(self._top, wrap_lines=True), ConditionalContainer(line, asking), foot]), focused_element=self._top)

    @property
    def _answering(self) -> bool:
        return self.confirmed and self.unwritten is None and self.turn.stage in ("answering", "listening") and not self._flash

    def _text(self) -> StyleAndTextTuples:
        session = self.session
        head = f"{'Read out' if session.drill == 'read' else 'Listen'}: {visible(session.person)}, {visible(session.book.title)}"
        place = min(len(session.answers) + 1, self.items)
        shown: StyleAndTextTuples = [("class:title", head), ("class:quiet", f"   {place} of {self.items}\n\n")]
        if not self.confirmed:
            return [*shown, ("", "\n".join(textwrap.wrap(CAUTION, max(20, get_app().output.get_size().columns - 2))) + "\n")]
        if self.turn.stage == "ready":
            return [*shown, *self._told()]
        return [*shown, *self._asked()]

    def _asked(self) -> StyleAndTextTuples:
        stage, text = self.turn.stage, self.question.item.text
        if self.session.drill == "hear":
            if self._flash:
                return [("class:dash", f"  {self._flashed()}  "), ("", "\n")]
            return [("", "listening …\n" if stage == "listening" else "What was said?\n")]
        rows: StyleAndTextTuples = [("", "\n   "), ("class:dash", f"  {'  '.join(text)}  "), ("", "\n\n")]
        if stage in ("shown", "speaking") and self.turn.signals.lit(self.clock() - self.turn.shown_at) is not None:
            rows += [("", "   "), ("class:signal", "   BRAKE   "), ("", "\n")]
        return rows

    def _flashed(self) -> str:
        words, ends = self._flash or ([], [])
        passed = self.clock() - self.turn.shown_at
        word, end = next(((word, end) for word, end in zip(words, ends, strict=True) if passed < end), ("", passed))
        return "" if 0 < end - passed < _BLANK else word

    def _told(self) -> StyleAndTextTuples:
        """Return the last result, where it went wrong, and what kind of thing comes next: no more, it would be read before it is timed."""
        rows: StyleAndTextTuples = []
        if self.result is not None:
            rows += result(self.session, *self.result)
        return [*rows, ("class:quiet", f"next: {_KINDS[self.question.item.kind]}\n")]

    def _foot(self) -> StyleAndTextTuples:
        rows: StyleAndTextTuples = [("class:wrong", f"{self.hint}\n")] if self.hint else []
        return [*rows, ("class:key", self._keys_told())]

    def _keys_told(self) -> str:
        signals = "   B: brake signal" if self.session.second_task else ""
        if not self.confirmed:
            return "Enter: the car is parked, or there is none   Ctrl-C: leave"
        if self.unwritten:
            return "Enter: try to write it again   Ctrl-C: leave without it"
        if self.turn.stage == "ready":
            wait = "" if self._due is None else f"   next in {max(0.0, self._due - self.clock()):.0f} s"
            return f"Space: {'show' if self.session.drill == 'read' else 'speak'} the next   Ctrl-C: stop{wait}"
        if self.turn.stage == "shown":
            return f"Space: when the first word begins{signals}   Esc: no times for this one"
        if self.turn.stage == "speaking":
            return f"Space: when the last word has ended{signals}   Esc: no times for this one"
        if self._flash:
            return "watch the words   Ctrl-C: stop"
        if self.session.drill == "hear":
            return "type words, symbols or field=value; Enter: done   Ctrl-R: say again   Ctrl-C: stop"
        return "Enter: said right   Tab: right after a correction   or type what was said   Ctrl-N: don't count it"

    # what keys do

    def _keys(self) -> KeyBindings:
        keys = KeyBindings()
        answering, elsewhere = Condition(lambda: self._answering), Condition(lambda: not self._answering)
        reading = answering & Condition(lambda: self.session.drill == "read")
        for stop in ("c-c", "c-d"):
            keys.add(stop)(lambda event: event.app.exit(result=130))
        keys.add("enter", eager=True)(lambda _: self._enter())
        keys.add("tab", filter=reading)(lambda _: self._answer(None, corrected=True))
        keys.add("c-n", filter=reading)(lambda _: self._uncounted())
        keys.add("c-r", filter=answering)(lambda _: self._again())
        keys.add(" ", filter=elsewhere)(lambda _: self._space())
        keys.add("escape", filter=elsewhere, eager=True)(lambda _: self._unmeasured())
        keys.add(Keys.Any, filter=elsewhere)(lambda event: self._other(event.data))
        return keys

    def _uncounted(self) -> None:
        self.hint = "not counted"
        self._next()

    def _unmeasured(self) -> None:
        self.turn.unmeasured(self.clock())
        self._focus()

    def _space(self) -> None:
        now, self.hint = self.clock(), ""
        if not self.confirmed or self.unwritten:
            return
        if self.turn.stage == "ready":
            self._show(now)
        elif self.session.drill == "read":
            self.turn.press(now)
        self._focus()

    def _other(self, key: str) -> None:
        """Take the brake key; say what was expected for any other."""
        if key in ("b", "B") and self.session.second_task and self.turn.stage in ("shown", "speaking"):
            self.turn.signals.press(self.clock() - self.turn.shown_at)
            return
        self.hint = f"{visible(key)[:8]!r} does nothing here"

    def _enter(self) -> None:
        self.hint = ""
        if not self.confirmed:
            self.confirmed = True
            self._plan(self.clock())
        elif self.unwritten:
            self._write(*self.unwritten)
        elif self.turn.stage == "answering":
            text = self.buffer.text.strip()
            if text.casefold() == "say again" and self.session.drill == "hear":
                self._again()
            elif text or self.session.drill == "read":
                self._answer(text or None)
            else:
                self.hint = "type what was said, or Ctrl-R to hear it again"
        elif self.turn.stage == "listening":
            self.hint = "it is still being spoken: Enter when it has ended"

    def _typed(self) -> None:
        if self.buffer.text:
            self.turn.typed(self.clock())

    def _again(self) -> None:
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
        self._due = None if self.session.pace is None else now + self.session.pace

    def _speak(self) -> None:
        self.turn.show(self.clock())
        if self.player is None:
            words = [self.session.book.alphabet.words[symbol] for symbol in self.question.item.text]
            ends = [sum(word.seconds for word in words[: place + 1]) for place in range(len(words))]
            self._flash = ([word.word for word in words], ends)
            return
        self.app.create_background_task(self._played(self.player))

    async def _played(self, player: Player) -> None:
        try:
            await asyncio.get_running_loop().run_in_executor(None, player, self.question, self.session.memory.answers)
        except CodeError as error:  # go on without sound: the drill is worth more than its loudspeaker
            self.player, self.session.noise = None, "flashed"
            self.hint = f"{error.message}; the words are shown instead"
            self.turn.stage = "ready"
            self._speak()
            return
        self.turn.ended(self.clock())
        self.app.invalidate()

    def _tick(self) -> None:
        """Before each drawing: end what is flashed, show what is due."""
        now = self.clock()
        if self._flash and now >= self.turn.shown_at + self._flash[1][-1]:
            self._flash = None
            self.turn.ended(now)
        if self._due is not None and self.confirmed and self.turn.stage == "ready" and now >= self._due and not self.unwritten:
            self._show(now)
        self._focus()

    def _focus(self) -> None:
        self.app.layout.focus(self.buffer if self._answering else self._top)

    def _answer(self, text: str | None, *, corrected: bool = False) -> None:
        self.turn.answered(self.clock())
        self._write(*self.session.mark(self.question, self.turn, text, corrected=corrected))

    def _write(self, answer: Answer, marked: Marked) -> None:
        try:
            written = self.session.write(answer)
        except CodeError as error:
            self.unwritten, self.hint = (answer, marked), f"{error.message}; {error.hint}"
            return
        self.unwritten = None
        self.result = (written, marked, self.question.why)
        if len(self.session.answers) >= self.items:
            self.app.exit(result=0)
            return
        self._next()

    def _next(self) -> None:
        self._due = None if self._due is None else max(self._due, self.clock() + _REST)
        self.buffer.reset()
        self.question, self.turn = self.session.ask()
        self._focus()
