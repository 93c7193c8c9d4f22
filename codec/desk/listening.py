"""Hearing at the desk: reports spoken over a noisy radio, which whoever listens writes down; their
answers go into the journal of drills, as those of ``niner drill hear`` do.
"""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from codec.desk.drills import InTurn, Known, nothing_known, number_told, seconds_told
from codec.drill import DrillError, DrillJournal, DrillSession, Pool
from codec.drill.answer import MEANINGS
from codec.drill.choosing import Question
from codec.drill.closing import closing
from codec.drill.noise import named
from codec.drill.speaking import Speaker, Spoken
from codec.drill.turn import Turn
from codec.store.place import Place
from codec.store.store import now
from grammar.book import Book

MOST_AT_ONCE = 3  # reports that are spoken into each other
_MOST_HELD = 20  # people who listen at the same time
_MOST_ITEMS = 500
Result = TypeVar("Result")


@dataclass(slots=True)
class HeldListening:
    """Somebody who listens: their session, and the reports that wait to be written down."""

    session: DrillSession
    items: int
    at_once: int
    under: bool
    journal: DrillJournal
    asked: int = 0
    turn: int = 0  # how often something was spoken: each has noise of its own
    repeats: int = 0
    radio: float = 0.0  # seconds that were spoken in all
    open: list[Question] = field(default_factory=list)
    spoken: Spoken | None = None


class SpokenHere:
    """What is spoken at the desk: files in a folder that is made when somebody listens."""

    def __init__(self) -> None:
        """Nothing was spoken yet."""
        self._made: tempfile.TemporaryDirectory[str] | None = None

    def speaker(self) -> Speaker:
        """Return who speaks; raises DrillError where nothing can."""
        speaker = Speaker(Path())
        if speaker.synthesiser is None:
            raise DrillError(
                speaker.lacking,
                kind="no-synthesiser",
                hint="install espeak-ng where the desk runs; niner drill hear --flash shows words",
            )
        if self._made is None:
            self._made = tempfile.TemporaryDirectory(prefix="niner-")
        speaker.folder = Path(self._made.name)
        return speaker

    def close(self) -> None:
        """Remove what was spoken."""
        if self._made is not None:
            self._made.cleanup()


class ListeningRoom(InTurn):
    """Everybody who listens with one sheet's book, by the key of their browser."""

    def __init__(self, path: Place, book: Callable[[], Book], known: Known = nothing_known) -> None:
        """Name the journal; it is opened when somebody begins. What is ``known`` of somebody is
        where their drills begin.
        """
        super().__init__(f"listening {path.name}")
        self.path, self._book, self._known = path, book, known
        self._held: dict[str, HeldListening] = {}
        self._sounds = SpokenHere()

    def _close(self) -> None:
        for one in self._held.values():
            one.journal.close()
        self._sounds.close()

    def begin(self, key: str, told: Mapping[str, Any]) -> dict[str, Any]:
        """Begin to listen; return what is to be known of the first sound. Raises DrillError."""
        self._sounds.speaker()
        book, before = self._book(), self._held.pop(key, None)
        if before is not None:
            before.journal.close()
        if len(self._held) >= _MOST_HELD:
            self._held.pop(next(iter(self._held))).journal.close()
        items = int(number_told("items", told.get("items", 10), 1, _MOST_ITEMS))
        at_once = int(number_told("at once", told.get("at_once", 1), 1, MOST_AT_ONCE))
        grade = named(str(told.get("noise", "")) or str(book.hearing.noise))
        journal = DrillJournal(self.path, create=True)
        person = str(told.get("person", "")).strip()
        session = DrillSession(
            journal, Pool(book), person, "hear", kinds=("report",), noise=grade,
            seed=random.SystemRandom().randrange(1, 10**6), profile=self._known(person),
        )  # fmt: skip
        self._held[key] = HeldListening(session, items, at_once, bool(told.get("under")), journal)
        return self._next(key)

    def listener(self, key: str) -> HeldListening:
        """Return who has a key; raises DrillError where nobody has."""
        if key not in self._held:
            raise DrillError(
                "the desk began again: what was written down is on the disk", kind="drill-over",
                hint="begin again",
            )  # fmt: skip
        return self._held[key]

    def _next(self, key: str) -> dict[str, Any]:
        one = self.listener(key)
        count = min(one.at_once, one.items - one.asked)
        one.open = [one.session.ask()[0] for _ in range(count)]
        one.asked, one.repeats, one.spoken = one.asked + count, 0, None
        if not one.open:
            return self._over(one)
        self._speak(one)
        return self._told(one)

    def _speak(self, one: HeldListening) -> None:
        """Speak what is open, and another car's radio beneath it where that is wanted."""
        session = one.session
        words = session.book.alphabet.words
        draw = random.Random(f"{session.seed} under {one.turn}")  # noqa: S311 - repeatable
        other = draw.choice(session.pool.reports).text if one.under else ""
        one.turn += 1
        one.spoken = self._sounds.speaker().traffic(
            session.book,
            [[words[symbol].word for symbol in question.item.text] for question in one.open],
            session.noise, session.seed + one.turn, f"{session.seed}-{one.turn}",
            under=[words[symbol].word for symbol in other],
        )  # fmt: skip
        one.radio += one.spoken.seconds

    def _told(self, one: HeldListening) -> dict[str, Any]:
        seconds = one.spoken.seconds if one.spoken else 0.0
        return {
            "over": False, "number": one.asked - len(one.open) + 1, "of": one.items,
            "reports": len(one.open), "turn": one.turn, "seconds": round(seconds, 1),
            "radio": round(one.radio, 1), "noise": one.session.noise,
        }  # fmt: skip

    def _over(self, one: HeldListening) -> dict[str, Any]:
        told = closing(one.session.book, one.session.kept(), now())
        return {
            "over": True, "radio": round(one.radio, 1),
            "closing": None if told is None else told.as_dict(),
        }  # fmt: skip

    def again(self, key: str) -> dict[str, Any]:
        """Have what is open said again, at its price: the radio is taken for as long once more."""
        one = self.listener(key)
        if not one.open:
            raise DrillError("nothing is open", kind="usage")
        one.repeats += 1
        self._speak(one)
        return self._told(one)

    def sound(self, key: str, turn: int) -> bytes:
        """Return the sound of what is open; raises DrillError where it is another's turn."""
        one = self.listener(key)
        if one.spoken is None or turn != one.turn:
            raise DrillError("that was spoken before", kind="usage")
        return one.spoken.path.read_bytes()

    def answer(self, key: str, told: Mapping[str, Any]) -> dict[str, Any]:
        """Mark and write what was written down of the first open report; return how it went, and
        what comes next. Raises DrillError where it can't be read: it stays open then.
        """
        one = self.listener(key)
        if not one.open or told.get("number") != one.asked - len(one.open) + 1:
            raise DrillError("this one is written already", kind="drill-marked")
        turn = Turn("hear", stage="answering", repeats=one.repeats)
        turn.first = seconds_told(told, "first")
        turn.done = turn.last = seconds_told(told, "done")
        question, text = one.open[0], str(told.get("text", ""))
        answer, marked = one.session.mark(question, turn, text)
        one.session.write(answer)
        one.open.pop(0)
        words = one.session.book.alphabet.words
        went = {
            "shown": question.item.text,
            "words": " ".join(words[symbol].word for symbol in question.item.text),
            "outcome": answer.outcome, "meaning": MEANINGS[answer.outcome],
            "right": answer.right, "said": marked.said,
        }  # fmt: skip
        return {**(self._told(one) if one.open else self._next(key)), "went": went}
