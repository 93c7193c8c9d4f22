"""A session: one person, one book, one drill; questions out, answers marked and written."""

from __future__ import annotations

import datetime
import random
from collections.abc import Sequence
from typing import TYPE_CHECKING

from codec.drill.answer import KINDS, PLURALS, Answer, Drill, DrillError, Kind, checked_name
from codec.drill.choosing import Chooser, Question
from codec.drill.marking import Marked, align, mark
from codec.drill.memory import Memory
from codec.drill.pool import MOST_ENTRIES
from codec.drill.turn import Signals, Turn
from codec.store.store import Clock, now
from grammar.errors import listed
from grammar.profile import Profile

if TYPE_CHECKING:
    from codec.drill.journal import DrillJournal
    from codec.drill.pool import Pool

CAUTION = (
    "On a simulator, at a desk or in a parked car; never while driving. A temperature, voltage or"
    " insulation warning in a real car is handled by the event's and the team's own safety"
    " procedures and qualified people. Event regulations on radio use come first."
)
_ENTRIES = f"entries are codewords of 2 symbols or more in a table of up to {MOST_ENTRIES}"


class DrillSession:
    """Asks, marks and writes.

    ``answers`` are those of this session; ``memory`` holds all earlier ones of the person too.
    """

    def __init__(
        self,
        journal: DrillJournal,
        pool: Pool,
        person: str,
        drill: Drill,
        *,
        kinds: Sequence[Kind] = (),
        seed: int = 1,
        pace: float | None = None,
        noise: str = "",
        second_task: bool = False,
        clock: Clock = now,
        profile: Profile | None = None,
    ) -> None:
        """Begin where the person's earlier answers ended, behind what a ``profile`` knows of them;
        raises DrillError.
        """
        self.journal, self.pool, self.book, self.person, self.drill = (
            journal,
            pool,
            pool.book,
            checked_name(person),
            drill,
        )
        self.pace, self.noise, self.second_task, self.seed, self._clock = (
            pace,
            noise,
            second_task,
            seed,
            clock,
        )
        if kinds and not any(pool.of(kind) for kind in kinds):
            asked, there = (
                listed([PLURALS[kind] for kind in some])
                for some in (kinds, [kind for kind in KINDS if pool.of(kind)])
            )
            raise DrillError(
                f"these messages have no {asked} to ask",
                kind="usage",
                expected=[there],
                hint=_ENTRIES,
            )
        self.digest = journal.keep_book(self.book)
        self._profile = profile
        self.memory = self._known()
        self._chooser = Chooser(pool, self.memory, kinds=kinds, seed=seed)
        self.answers: list[Answer] = []

    def kept(self) -> list[Answer]:
        """Return the person's answers in this drill with this book that count."""
        wanted = self.drill, self.digest
        return [one for one in self.journal.answers(self.person) if (one.drill, one.book) == wanted]

    def learn_anew(self) -> None:
        """Know the person by what counts now: after a mark was taken back or corrected."""
        self.memory = self._chooser.memory = self._known()

    def _known(self) -> Memory:
        return Memory.of(self.kept(), self._profile, self.book.alphabet, self.drill)

    def ask(self) -> tuple[Question, Turn]:
        """Return the next question and its turn."""
        question = self._chooser.next(self._clock())
        turn = Turn(self.drill)
        if self.second_task:
            turn.signals = Signals.drawn(
                random.Random(f"signals {self.seed} {self.memory.answers}")  # noqa: S311 - repeatable
            )
        return question, turn

    def mark(
        self, question: Question, turn: Turn, text: str | None, *, corrected: bool = False
    ) -> tuple[Answer, Marked]:
        """Mark an answer; ``text`` is what was typed, None where a person marks it as said right
        (or right once ``corrected``).
        """
        item = question.item
        if text is None:
            marked = Marked(
                "corrected" if corrected else "right", item.text, align(item.text, item.text)
            )
        else:
            marked = mark(self.book, item, text)
        answer = Answer(
            person=self.person,
            drill=self.drill,
            session=self.journal.session,
            book=self.digest,
            kind=item.kind,
            part_of=item.part_of,
            shown=item.text,
            answer=text or "",
            said=marked.said,
            outcome=marked.outcome,
            refusal=marked.refusal,
            first=turn.first,
            last=turn.last,
            done=turn.done,
            repeats=turn.repeats,
            noise=self.noise,
            pace=self.pace,
            marks=turn.signals.came,
            missed=turn.signals.missed,
            reaction=turn.signals.reaction,
            at=self._clock()
            .astimezone(datetime.UTC)
            .isoformat(timespec="milliseconds")
            .replace("+00:00", "Z"),
        )
        return answer, marked

    def write(self, answer: Answer) -> Answer:
        """Write an answer to the journal, then learn from it.

        Raises DrillError; it may be tried again.
        """
        written = self.journal.append(answer)
        self.memory.note(written)
        self.answers.append(written)
        return written
