"""One question from its appearance to its mark, as a state machine without a screen: keys and times
in, stages out.

Reading:  ready → shown → speaking → answering → (marked) ready …
Hearing:  ready → listening → answering → (marked) ready …

Times are those of the clock given with each key, so that a test can press keys at any time it
likes.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Literal

from codec.drill.answer import Drill

Stage = Literal["ready", "shown", "speaking", "listening", "answering"]
IN_TIME = 1.5  # seconds within which a signal of the second task is answered
TO_BEGIN = 2.0  # seconds from the end of the speech within which an answer is begun
_SIGNALS = (0.4, 4.0)  # seconds after the string's appearance between which signals come
_TWICE = 0.5  # how often a second one comes


@dataclass(slots=True)
class Signals:
    """The second task: a brake signal comes up once or twice while the driver reads, and a key
    answers it within ``IN_TIME``.

    A signal that came too late to be answered before the last word ended does not count.
    """

    times: list[float] = field(default_factory=list)
    reactions: dict[int, float] = field(default_factory=dict)
    end: float = 0.0

    @classmethod
    def drawn(cls, generator: random.Random) -> Signals:
        """Draw when signals come, seconds after the string's appearance."""
        times = [generator.uniform(*_SIGNALS)]
        if generator.random() < _TWICE:
            times.append(times[0] + IN_TIME + generator.uniform(*_SIGNALS))
        return cls(times)

    def lit(self, after: float) -> int | None:
        """Return the number of the signal that is on, None for none; ``after`` is in seconds from
        the string's appearance.
        """
        on = (
            number
            for number, time in enumerate(self.times)
            if time <= after <= time + IN_TIME and number not in self.reactions
        )
        return next(on, None)

    def press(self, after: float) -> bool:
        """Answer the signal that is on; False where none is."""
        number = self.lit(after)
        if number is None:
            return False
        self.reactions[number] = after - self.times[number]
        return True

    @property
    def missed(self) -> int:
        """The signals that were not answered in time."""
        return sum(
            time + IN_TIME <= self.end and number not in self.reactions
            for number, time in enumerate(self.times)
        )

    @property
    def came(self) -> int:
        """The signals that count: missed or answered."""
        return self.missed + len(self.reactions)

    @property
    def reaction(self) -> float | None:
        """The mean seconds to those answered."""
        return sum(self.reactions.values()) / len(self.reactions) if self.reactions else None


@dataclass(slots=True)
class Turn:
    """The stage of one question and its times, None where they were not measured."""

    drill: Drill
    stage: Stage = "ready"
    shown_at: float = 0.0
    first: float | None = None
    last: float | None = None
    done: float | None = None
    repeats: int = 0
    signals: Signals = field(default_factory=Signals)

    def show(self, now: float) -> None:
        """The string appears, or the speech begins."""
        self.shown_at = now
        self.stage = "shown" if self.drill == "read" else "listening"

    def press(self, now: float) -> None:
        """The timing key: the first word begins, or the last has ended."""
        if self.stage == "shown":
            self.first, self.stage = now - self.shown_at, "speaking"
        elif self.stage == "speaking":
            self.last = self.signals.end = now - self.shown_at
            self.stage = "answering"

    def unmeasured(self, now: float) -> None:
        """A press was missed: go on to the answer without times."""
        if self.stage in ("shown", "speaking"):
            self.first = self.last = None
            self.signals.end, self.stage = now - self.shown_at, "answering"

    def ended(self, now: float) -> None:
        """The speech has ended: hearing times count from here."""
        if self.stage == "listening":
            self.shown_at, self.stage = now, "answering"
            self.first = None if self.first is None else 0.0  # a key was pressed before the end

    def typed(self, now: float) -> None:
        """A key of the answer: hearing takes its first word from it."""
        if self.drill == "hear" and self.first is None and self.stage in ("listening", "answering"):
            self.first = max(0.0, now - self.shown_at) if self.stage == "answering" else 0.0

    def waits(self, text: str, now: float) -> bool:
        """Tell whether the next question has to wait: while a report is spoken, and while its
        answer, ``text`` so far, is written down.

        What was just heard may be begun to be written, however short the pace.
        """
        writing = self.drill == "read" or bool(text) or now - self.shown_at < TO_BEGIN
        return self.stage == "listening" or (self.stage == "answering" and writing)

    def answered(self, now: float) -> None:
        """The answer is complete."""
        self.done = now - self.shown_at
        if self.drill == "hear":
            self.last = self.done
