"""A drill that is held at the desk: the driver's device flashes, the coach's marks, and both see
the same session, whose answers go into the journal of drills that the terminal writes too.

Everything is done in one thread, in the order in which it came. Each device keeps its own clock,
and tells how far it is from the desk's, and how sure it is of that: half of the quickest way there
and back (F. Cristian, Distributed Computing 3, 1989; RFC 5905, 8). A time that needs two devices is
off by what both are unsure of, and by a frame of the driver's screen.
"""

from __future__ import annotations

import contextlib
import math
import random
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from codec.desk.sheets import Watched
from codec.desk.turns import Turns, Urgency
from codec.drill import Answer, DrillError, DrillJournal, DrillSession, Pool
from codec.drill.answer import KINDS, MEANINGS, Kind
from codec.drill.by_voice import read_aloud
from codec.drill.choosing import Question
from codec.drill.closing import Closing, closing
from codec.drill.pool import Item, key_of
from codec.drill.staircase import LONGEST, SHORTEST, Staircase, metres
from codec.drill.turn import IN_TIME, Turn
from codec.store.place import Place
from codec.store.store import now
from codec.voice.listening import Transmission
from grammar.book import Book
from grammar.export.dash_picture import Part, flashed, parted
from grammar.profile import Profile

AWAY = 12.0  # seconds without a word from a device after which it is away
_SOON = 1.2  # seconds from asking until the string is there: as long as the warning before it
_SPOILT = 0.25  # share by which a flash may be longer or shorter than it should be
_LATE = 0.05  # and seconds
_MOST_ITEMS = 500
_MOST_ERROR = 5.0  # seconds: a device that is not surer of its clock takes no times
Result = TypeVar("Result")
Known = Callable[[str], Profile | None]  # what is known of somebody by name


def nothing_known(_: str) -> None:
    """Nothing is known of anybody."""


def clock() -> float:
    """Return the desk's clock: seconds that never go back."""
    return time.monotonic()


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionPlan:
    """What a session is to be: ``exposure`` in seconds, None where each is found by the staircase,
    for which items are drawn as they occur; ``pace`` the seconds of a lap, None to go on as soon
    as a mark is there; ``alone`` where the driver answers by hand, by ``voice`` as well, of which
    the sound is kept only where ``keep_sound`` says so; ``speed`` in km/h.
    """

    person: str
    items: int = 20
    kind: Kind | None = None
    exposure: float | None = 0.7
    pace: float | None = None
    speed: float = 250.0
    second_task: bool = True
    alone: bool = False
    voice: bool = False
    keep_sound: bool = False
    seed: int = 1

    @classmethod
    def of(cls, told: Mapping[str, Any]) -> SessionPlan:
        """Return the plan that a form sends; raises DrillError where it is none."""

        def seconds(name: str, low: float, high: float) -> float | None:
            text = str(told.get(name, "")).strip()
            return number_told(name, text, low, high) if text else None

        kind = str(told.get("kind", ""))
        if kind and kind not in KINDS:
            raise DrillError(f"no kind {kind[:20]!r}", kind="usage", expected=list(KINDS))
        milliseconds = seconds("exposure", SHORTEST * 1000, LONGEST * 1000)
        return cls(
            person=str(told.get("person", "")).strip(),
            items=int(seconds("items", 1, _MOST_ITEMS) or 20),
            kind=next((one for one in KINDS if one == kind), None),
            exposure=None if milliseconds is None else milliseconds / 1000,
            pace=seconds("pace", 3, 600),
            speed=seconds("speed", 1, 500) or 250.0,
            second_task=bool(told.get("second_task")),
            alone=bool(told.get("alone")) or bool(told.get("voice")),
            voice=bool(told.get("voice")),
            keep_sound=bool(told.get("voice")) and bool(told.get("keep_sound")),
            seed=random.SystemRandom().randrange(1, 10**6),
        )


def number_told(name: str, told: object, low: float, high: float) -> float:
    """Return a number that a form sends; raises DrillError where it is none, or out of range."""
    text = str(told).strip()
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not low <= found <= high:
        raise DrillError(
            f"{name} can't be {text[:20]!r}", kind="usage", expected=[f"{low:g} to {high:g}"]
        )
    return found


@dataclass(slots=True)
class Device:
    """A browser that takes part: when it was last heard of, whether it is looked at, by how much
    its clock may be off, and how long a frame of its screen stays.
    """

    key: str = ""
    heard: float = -math.inf
    looked_at: bool = True
    error: float = 0.0
    frame: float = 0.0

    @property
    def here(self) -> bool:
        """Tell whether it answers and is looked at."""
        return self.looked_at and clock() - self.heard < AWAY

    def note(self, told: Mapping[str, Any]) -> None:
        """Take in what it says of itself."""
        self.heard = clock()
        self.looked_at = bool(told.get("visible", True))
        self.error = _told(told, "error", self.error)
        self.frame = _told(told, "frame", self.frame)


def seconds_told(told: Mapping[str, Any], name: str) -> float | None:
    """Return seconds that a page tells, None where it tells none."""
    found = _told(told, name, -1.0)
    return None if found < 0 else found


def _told(told: Mapping[str, Any], name: str, usual: float) -> float:
    """Return seconds that a device tells."""
    found = told.get(name)
    sound = isinstance(found, int | float) and math.isfinite(found) and found >= 0
    return float(found) if sound and found is not None else usual


@dataclass(slots=True)
class Asked:
    """The question that is open: ``stage`` "waiting" for the driver's device, "shown" when it is
    told to flash, "seen" when it said that it did.
    """

    number: int
    question: Question
    turn: Turn
    exposure: float
    stage: str = "waiting"
    show_at: float = 0.0
    seen_at: float = 0.0
    took: float | None = None
    flashes: int = 0


def drilled(path: Place) -> list[str]:
    """Return who has been drilled, by a journal; of one that can't be read whoever begins is
    told.
    """
    with contextlib.suppress(DrillError):
        if DrillJournal.is_there(path):
            with contextlib.closing(DrillJournal(path)) as journal:
                return list(journal.people())
    return []


class InTurn:
    """Something whose acts are done one after the other, in a thread of its own."""

    def __init__(self, name: str) -> None:
        """Begin; ``name`` is the thread's."""
        self._turns = Turns(name)

    async def do(self, act: Callable[[], Result]) -> Result:
        """Return what an act returns, when its turn has come."""
        return await self._turns.do(act)

    async def close(self) -> None:
        """Close what is open."""
        await self._turns.do(self._close, Urgency.END)

    def _close(self) -> None:
        raise NotImplementedError


class Journalled(InTurn):
    """Something that has a journal of drills, opened when somebody begins."""

    def __init__(self, path: Place, name: str) -> None:
        """Name the journal."""
        super().__init__(f"{name} {path.name}")
        self.path = path
        self._journal: DrillJournal | None = None

    @property
    def journal(self) -> DrillJournal:
        """The journal, made where there is none; raises DrillError."""
        if self._journal is None:
            self._journal = DrillJournal(self.path, create=True)
        return self._journal

    def _close(self) -> None:
        if self._journal is not None:
            self._journal.close()


class Room(Journalled, Watched):
    """The drills of one sheet's book: at most one is held at a time."""

    def __init__(
        self,
        path: Place,
        book: Callable[[], Book],
        circuit: Mapping[str, Any],
        known: Known = nothing_known,
    ) -> None:
        """Name the journal; it is opened when a drill begins. What is ``known`` of somebody is
        where their drills begin.
        """
        Journalled.__init__(self, path, "drills")
        Watched.__init__(self)
        self._book, self.circuit, self._known = book, circuit, known
        self.driver, self.coach = Device(), Device()
        self.plan: SessionPlan | None = None
        self.asked: Asked | None = None
        self.told: list[str] = []  # what went wrong, or is to be known
        self.over = ""
        self._session: DrillSession | None = None
        self._count = 0
        self._lap_from = 0.0
        self.held_as = ""  # what the session is called in the journal
        self._closing: Closing | None = None

    # from outside

    async def do(self, act: Callable[[], Result], *, tell: bool = True) -> Result:
        """Return what an act in the room's thread returns; who watches is told afterwards."""
        try:
            return await super().do(act)
        finally:
            if tell:
                self.version += 1
                await self._tell()

    # what the coach does

    def begin(self, plan: SessionPlan) -> None:
        """Begin a session; the first question waits for the driver's device."""
        if self._session is not None and not self.over:
            raise DrillError(
                f"{self.plan.person if self.plan else ''} is being drilled",
                kind="usage",
                hint="end that session first",
            )
        book = self._book()
        pool = Pool(book)
        self._session = DrillSession(
            self.journal, pool, plan.person, "read",
            kinds=(plan.kind,) if plan.kind else (), seed=plan.seed, pace=plan.pace,
            second_task=plan.second_task, profile=self._known(plan.person),
        )  # fmt: skip
        self.journal.new_session()
        self.held_as = self.journal.session
        self.plan, self.over, self._count, self.asked = plan, "", 0, None
        self._closing = None
        self._lap_from = clock()
        others = {
            one.book
            for one in self.journal.answers(plan.person)
            if not one.of_wheel and one.book != self._session.digest
        }
        self.told = (
            ["this book has changed since: answers to its earlier form do not count here"]
            if others
            else []
        )
        self._next()

    @property
    def session(self) -> DrillSession:
        """The session that is held; raises DrillError where there is none."""
        if self._session is None or self.over:
            raise DrillError(
                "no session is held", kind="usage", hint="begin one on the coach's page"
            )
        return self._session

    def _next(self) -> None:
        """Choose what is asked next, or end."""
        plan, session = self._held
        if self._count >= plan.items:
            self._end("all was asked")
            return
        if self._book().digest != session.digest:
            self._end("the book has changed: begin again; everything marked is on the disk")
            return
        question, turn = session.ask()
        exposure = plan.exposure
        if exposure is None:
            question = self._drawn()
            kind = question.item.kind
            exposure = Staircase.of(session.kept(), kind).next()
        self._count += 1
        self.asked = Asked(self._count, question, turn, exposure)
        self._show()

    def _drawn(self) -> Question:
        """Return an item drawn as it occurs, to be measured by: not one that is weak."""
        plan, session = self._held
        draw = random.Random(f"{plan.seed} {session.memory.answers} {self._count}")  # noqa: S311 - repeatable
        items = session.pool.of(plan.kind or "report")
        last = session.answers[-1].shown if session.answers else ""
        weights = [item.share + 1e-9 if item.text != last else 1e-12 for item in items]
        return Question(
            draw.choices(items, weights)[0], "drawn as it occurs: the glance is measured"
        )

    @property
    def _held(self) -> tuple[SessionPlan, DrillSession]:
        session = self.session
        if self.plan is None:
            raise DrillError("no session is held", kind="usage")
        return self.plan, session

    def _show(self) -> None:
        """Have the open question flashed, as soon as the driver's device is there."""
        asked, plan = self.asked, self.plan
        if asked is None or plan is None or asked.stage == "seen":
            return
        if not self.driver.here:
            asked.stage = "waiting"
            return
        asked.stage, asked.flashes = "shown", asked.flashes + 1
        asked.show_at = self._straight(clock() + _SOON)

    def _straight(self, soonest: float) -> float:
        """Return the first moment from which the car is on a straight, where a lap has a pace."""
        lap = self.plan.pace if self.plan else None
        if lap is None:
            return soonest
        place = (soonest - self._lap_from) / lap
        starts = sorted(
            whole + begin
            for whole in (math.floor(place), math.floor(place) + 1)
            for begin, _ in self.circuit["straights"]
        )
        straights = self.circuit["straights"]
        inside = any(begin <= place % 1 <= (begin + end) / 2 for begin, end in straights)
        return soonest if inside else self._lap_from + lap * next(s for s in starts if s >= place)

    def again(self) -> None:
        """Flash the open question once more; it counts as asked for again."""
        asked = self._open()
        if asked.stage == "seen":
            asked.turn.repeats += 1
        asked.stage = "waiting"
        self._show()

    def _open(self, number: int | None = None) -> Asked:
        asked = self.asked
        if not self.session or asked is None or number not in (None, asked.number):
            raise DrillError("this question is marked already", kind="drill-marked")
        return asked

    def first_word(self, number: int, at: float) -> None:
        """Take the moment of the first word, by the desk's clock."""
        asked = self._open(number)
        if asked.stage == "seen" and asked.turn.first is None and at > asked.seen_at:
            asked.turn.first = at - asked.seen_at

    def mark(self, number: int, text: str | None, at: float, *, corrected: bool = False) -> Answer:
        """Mark the open question and write it: ``text`` is what was said, None for right; ``at``
        the end of the last word, by the desk's clock. Raises DrillError.
        """
        asked, (plan, session) = self._open(number), self._held
        if asked.stage != "seen":
            raise DrillError("it was not flashed yet", kind="usage", hint="S flashes it")
        turn = asked.turn
        spent = at - asked.seen_at
        turn.last = spent if turn.first is not None and spent > turn.first else None
        turn.first = turn.first if turn.last is not None else None
        turn.done = spent if spent > 0 else None
        turn.signals.end = max(turn.signals.end, spent)
        answer, _ = session.mark(asked.question, turn, text, corrected=corrected)
        error = self.driver.error + (0.0 if plan.alone else self.coach.error) + self.driver.frame
        written = session.write(
            answer.replace(
                exposure=asked.took,
                measured=plan.exposure is None,
                speed=plan.speed,
                clock_error=round(min(error, _MOST_ERROR), 4),
            )
        )
        self.asked = None
        self._next()
        return written

    def mark_kept(self, kept: Mapping[str, Any], text: str | None, *, corrected: bool) -> None:
        """Write a mark that a coach's page kept while the desk was away, of a session that ended
        with it: without times, which nobody knows any more. Raises DrillError.
        """
        book = self._book()
        shown, kind, person = (str(kept.get(name, "")) for name in ("text", "kind", "person"))
        named = next((one for one in KINDS if one == kind), None)
        if named is None or not set(shown) <= book.alphabet.index.keys() or not shown:
            raise DrillError("this book does not ask that", kind="usage")
        item = Item(named, shown, 0.0, str(kept.get("part_of", "")))
        name, last = str(kept.get("session", ""))[:64], None
        for answer in self.journal.answers(person):
            last = answer if answer.session == name else last
        if last is not None and last.shown == shown:
            return  # it was on the disk before the desk went away
        away = DrillSession(self.journal, Pool(book), person, "read")
        answer, _ = away.mark(Question(item, ""), Turn("read"), text, corrected=corrected)
        exposure, speed = (_told(kept, one, 0.0) or None for one in ("exposure", "speed"))
        self.journal.append(
            answer.replace(
                session=name, exposure=exposure, speed=speed, measured=bool(kept.get("measured"))
            )
        )
        self._say(f"{shown}: its mark is on the disk; the session ended when the desk went away")

    def undo(self, seq: int) -> None:
        """Take the last mark of this session, which is the one named, back: it no longer counts."""
        session = self._session
        if session is None or not session.answers or session.answers[-1].seq != seq:
            raise DrillError("that mark is not the last one, or taken back already", kind="usage")
        self.journal.withdraw(session.answers[-1].seq)
        session.answers.pop()
        self._closing = None
        session.learn_anew()

    def correct(self, seq: int, outcome: str, text: str, note: str) -> None:
        """Put another mark, or a note, in the place of one of this session's; raises DrillError."""
        session = self._session
        found = [n for n, one in enumerate(session.answers if session else []) if one.seq == seq]
        if session is None or not found:
            raise DrillError(f"this session has no answer {seq}", kind="usage")
        before = session.answers[found[0]]
        if outcome == "note":
            after = before.replace(note=note)
        else:
            item = next(
                (one for one in [*session.pool.reports, *session.pool.unusual, *session.pool.parts]
                 if one.key == key_of(before.kind, before.part_of, before.shown)),
                None,
            )  # fmt: skip
            if item is None:
                raise DrillError("this book asks it no longer", kind="usage")
            said = None if outcome in ("right", "corrected") else text or "?"
            answer, _ = session.mark(
                Question(item, ""), Turn("read"), said, corrected=outcome == "corrected"
            )
            after = before.replace(
                outcome=answer.outcome, answer=answer.answer, said=answer.said,
                refusal=answer.refusal, note=note or before.note,
            )  # fmt: skip
        session.answers[found[0]] = self.journal.correct(seq, after)
        self._closing = None
        session.learn_anew()

    def end(self) -> None:
        """End the session; what is open is not asked."""
        self.session  # noqa: B018 - raises where there is none
        self._end("ended by the coach")

    def _end(self, why: str) -> None:
        self.over, self.asked = why, None

    # what the driver's device does

    def take_seat(self, key: str, told: Mapping[str, Any], *, over: bool) -> bool:
        """Note that a driver's device is there; return whether it has the seat: another one's it
        gets only by taking it over.
        """
        if self.driver.key != key and self.driver.here and not over:
            return False
        fresh = self.driver.key != key
        was_here = self.driver.here and not fresh
        if fresh:
            if self.driver.key:
                self._say("another device has taken the driver's seat over")
            self.driver = Device(key)
        self.driver.note(told)
        if self.driver.here and not was_here and self.asked is not None and not self.over:
            if self.asked.stage == "shown" and clock() > self.asked.show_at + 1:
                self._say("the driver's device was away: the question is flashed again")
                self.asked.stage = "waiting"
            if self.asked.stage == "waiting":
                self._show()
        return True

    def gone(self, key: str) -> None:
        """Note that a driver's device does not listen any more, until it says that it is there."""
        if self.driver.key == key:
            self.driver.looked_at = False
            self.version += 1

    def seen(self, key: str, told: Mapping[str, Any]) -> None:
        """Take what the driver's device tells of a flash: when it was there, how long it stayed,
        and how the braking marks were answered.
        """
        number = told.get("number")
        asked = self._open(number if isinstance(number, int) else -1)
        if key != self.driver.key:
            raise DrillError("another device has the driver's seat", kind="drill-seat")
        if asked.stage == "shown":
            took = _told(told, "took", -1.0)
            off = abs(took - asked.exposure)
            if took < 0 or off > max(_LATE, _SPOILT * asked.exposure):
                stayed = "not at all" if took < 0 else f"{took * 1000:.0f} ms"
                self._say(
                    f"flash {asked.number} stayed {stayed} instead of"
                    f" {asked.exposure * 1000:.0f} ms: it does not count, and comes again"
                )
                asked.stage = "waiting"
                self._show()
                return
            asked.stage, asked.took = "seen", round(took, 4)
            asked.seen_at = _told(told, "at", clock())
        reactions, signals = told.get("reactions"), asked.turn.signals
        if isinstance(reactions, dict):
            for place in range(len(signals.times)):
                after = _told(reactions, str(place), math.inf)
                if after <= IN_TIME:
                    signals.reactions.setdefault(place, after)

    def alone(self, key: str, number: int, text: str, at: float) -> None:
        """Take the answer of a driver who is alone; raises DrillError where it can't be read."""
        if self.plan is None or not self.plan.alone or key != self.driver.key:
            raise DrillError("the coach marks this session", kind="usage")
        self.mark(number, text, at)

    def aloud(
        self, key: str, number: int, said: Transmission, first: float, last: float, sound: bytes
    ) -> dict[str, Any]:
        """Mark what a driver who is alone said, from ``first`` to ``last`` by the desk's clock,
        where it is sure what that was; return what was heard, and its mark. Raises DrillError.
        """
        asked, plan = self._open(number), self.plan
        if plan is None or not plan.voice or key != self.driver.key:
            raise DrillError("nobody is marked by voice", kind="usage")
        heard = read_aloud(self.session.book, asked.question.item.text, said)
        told = {"heard": heard.text or said.text, "sure": round(heard.sure, 4), "marked": ""}
        if asked.stage != "seen":
            return told
        if not heard.enough:
            asked.turn.repeats += 1  # it is to be said again
            return told
        self.first_word(number, first)
        answer = self.mark(number, heard.text, last)
        if plan.keep_sound:
            self.journal.keep_sound(answer.seq, sound)
        return told | {"marked": MEANINGS[answer.outcome], "right": answer.right}

    def stirred(self, key: str) -> bool:
        """Tell whether a word from this device is news: the first one, or the first for long."""
        return self.driver.key != key or not self.driver.here or self._session is None

    @staticmethod
    def error_of(told: Mapping[str, Any]) -> float:
        """Return by how much a device says that its clock may be off, in seconds."""
        return _told(told, "error", 0.0)

    def watched(self) -> bool:
        """Tell whether somebody came or went since it was last told."""
        if self.asked is not None and self.asked.stage == "shown" and not self.driver.here:
            self.asked.stage = "waiting"
            self._say("the driver's device is away or asleep: the question waits for it")
            return True
        return False

    def _say(self, words: str) -> None:
        self.told = [*self.told[-4:], words]

    # what is shown

    def for_driver(self, key: str) -> dict[str, Any]:
        """Return what the driver's page has to know."""
        self.watched()
        asked, plan = self.asked, self.plan
        told: dict[str, Any] = {
            "version": self.version,
            "seat": key == self.driver.key,
            "taken": bool(self.driver.key) and key != self.driver.key and self.driver.here,
            "over": self.over,
            "person": plan.person if plan else "",
            "alone": bool(plan and plan.alone),
            "voice": bool(plan and plan.voice),
            "keeps": bool(plan and plan.keep_sound),
            "held": plan is not None and not self.over,
            "lap": {"seconds": plan.pace, "from": self._lap_from} if plan and plan.pace else None,
        }
        if asked is not None and plan is not None and key == self.driver.key:
            told |= {
                "number": asked.number, "of": plan.items, "stage": asked.stage,
                "flash": asked.flashes,
            }  # fmt: skip
            if asked.stage == "shown":
                item, dash = asked.question.item, self._book().dash
                groups = self._groups(item)
                told |= {
                    "picture": flashed(dash, groups),
                    "mask": flashed(dash, groups, masked=True),
                    "ground": dash.ground,
                    "colour": dash.usual,
                    "show_at": asked.show_at,
                    "exposure": asked.exposure,
                    "marks": [round(one, 3) for one in asked.turn.signals.times],
                }
        return told

    def _groups(self, item: Item) -> list[list[Part]]:
        """Return an item in the groups, and the colours, in which the dash shows it."""
        book = self._book()
        return parted(book, book.messages.get(item.part_of), item.text, item.part_of)

    def for_coach(self) -> dict[str, Any]:
        """Return what the coach's page has to know."""
        self.watched()
        asked, plan, session = self.asked, self.plan, self._session
        driver = {
            "here": self.driver.here,
            "ever": bool(self.driver.key),
            "error": round(self.driver.error * 1000, 1),
            "frame": round(self.driver.frame * 1000, 1),
        }
        told: dict[str, Any] = {
            "version": self.version, "driver": driver, "told": self.told, "over": self.over,
            "held": plan is not None and not self.over, "answers": [], "closing": None,
        }  # fmt: skip
        if plan is None or session is None:
            return told
        if self.over and self._closing is None:
            self._closing = closing(session.book, session.kept(), now())
        if self.over and self._closing is not None:
            told["closing"] = self._closing.as_dict()
        words = session.book.alphabet.words
        told |= {
            "person": plan.person,
            "of": plan.items,
            "alone": plan.alone,
            "answers": [
                {
                    "seq": one.seq, "shown": one.shown, "outcome": one.outcome,
                    "meaning": MEANINGS[one.outcome], "right": one.right, "said": one.said,
                    "note": one.note, "missed": one.missed, "marks": one.marks,
                    "exposure": None if one.exposure is None else round(one.exposure * 1000),
                    "metres": round(metres(one.exposure or 0.0, plan.speed)),
                    "first": one.first,
                }
                for one in session.answers
            ],
        }  # fmt: skip
        if asked is not None:
            text, groups = asked.question.item.text, self._groups(asked.question.item)
            told["asked"] = {
                "number": asked.number, "stage": asked.stage, "text": text,
                "groups": ["".join(part for part, _ in group) for group in groups],
                "words": " ".join(words[symbol].word for symbol in text),
                "why": asked.question.why, "kind": asked.question.item.kind,
                "exposure": round(asked.exposure * 1000),
                "metres": round(metres(asked.exposure, plan.speed)),
                "begun": asked.turn.first is not None, "repeats": asked.turn.repeats,
                "kept": {
                    "session": self.held_as, "person": plan.person, "text": text,
                    "kind": asked.question.item.kind, "part_of": asked.question.item.part_of,
                    "exposure": asked.took, "speed": plan.speed,
                    "measured": plan.exposure is None,
                },
            }  # fmt: skip
        return told
