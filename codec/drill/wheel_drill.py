"""Practising the wheel: a change is called or shown, the driver's hands do it, and every touch is
timed; what goes worst or is due comes next, and what was measured becomes the wheel's own costs.

Answers stand in the journal of drills: ``shown`` what was wanted, ``answer`` each touch with the
second at which it was made, ``said`` where the settings ended that are not as they were.
"""

from __future__ import annotations

import datetime
import itertools
import random
import statistics
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from codec.drill.answer import Answer, DrillError, Outcome, checked_name
from codec.drill.cards import Cards, Grade, moment
from codec.drill.memory import Record
from codec.drill.turn import Signals
from codec.store.store import Clock, now, stamp
from codec.wheel import Way, Wheel, WheelError, WheelState, cheapest
from codec.wheel.map import SlipsSpec
from codec.wheel.wheel import touches_in_words
from grammar.errors import counted

if TYPE_CHECKING:
    from codec.drill.journal import DrillJournal

_MOST_STEPS = 3  # positions by which a setting is to be moved
_MOST_TOUCHES = 120
_ENOUGH = 8  # times measured of a control, from which they count
_SLIPS_KNOWN = 100  # touches that the slips of the wheel file count for
_SHARP = 3  # how much rather what gains most is asked for


@dataclass(frozen=True, slots=True)
class WheelTask:
    """What is asked: the settings wanted as the dash shows them, from where the wheel stands, and
    the cheapest way there.
    """

    wanted: Mapping[str, int]
    way: Way

    @property
    def words(self) -> str:
        """What is called: "brake balance 7, regeneration 3"."""
        return ", ".join(f"{name} {at}" for name, at in self.wanted.items())

    @property
    def key(self) -> str:
        """What is practised, whatever the positions."""
        return " + ".join(self.wanted)


@dataclass(slots=True)
class WheelTurn:
    """One change being made: touches in, the state of the wheel out. Times are those of the clock
    given with each touch.
    """

    wheel: Wheel
    task: WheelTask
    shown_at: float
    state: WheelState
    touches: list[tuple[str, float]] = field(default_factory=list)
    acts: list[str] = field(default_factory=list)
    signals: Signals = field(default_factory=Signals)
    noise: str = ""  # in which it was called, "" where it was shown
    repeats: int = 0

    @classmethod
    def begin(cls, wheel: Wheel, task: WheelTask, at: float) -> WheelTurn:
        """The task appears."""
        return cls(wheel, task, at, task.way.begins)

    def touch(self, name: str, at: float) -> None:
        """A touch; what was left alone for so long is left first. Raises WheelError for one that
        the wheel does not have.
        """
        number = self.wheel.touch(name)
        if len(self.touches) >= _MOST_TOUCHES:
            raise WheelError(f"{_MOST_TOUCHES} touches are enough", kind="touch")
        before = self.touches[-1][1] if self.touches else 0.0
        self.state = self.wheel.left_alone(self.state, at - self.shown_at - before)
        self.state, meaning = self.wheel.touched(self.state, number)
        if meaning is not None and meaning.acts:
            self.acts.append(meaning.acts)
        self.touches.append((self.wheel.touches[number].name, at - self.shown_at))

    @property
    def dash(self) -> str:
        """What a dash shows: where the places stand, what it always shows, and what was moved."""
        wheel, state = self.wheel, self.state
        moved = [
            name
            for name, at in {**state.settings, **state.drafts}.items()
            if at != self.task.way.begins.settings[name] and wheel.spec.settings[name].shown
        ]
        told = [
            f"{name} {wheel.shown(name, state.drafts.get(name, state.settings[name]))}"
            for name in dict.fromkeys([*wheel.shows(state.places), *moved])
        ]
        return "; ".join(filter(None, (wheel.in_words(state.places), ", ".join(told))))

    @property
    def wrong(self) -> dict[str, tuple[int, int]]:
        """The settings that are not where they should be: where they are, and where they should."""
        should = dict(self.task.way.begins.settings) | {
            name: self.wheel.number(name, at) for name, at in self.task.wanted.items()
        }
        return {
            name: (self.wheel.shown(name, at), self.wheel.shown(name, should[name]))
            for name, at in self.state.settings.items()
            if at != should[name]
        }

    @property
    def outcome(self) -> Outcome:
        """Right the cheapest way, right after more touches, not there, or with something else."""
        if self.acts or self.wrong.keys() - self.task.wanted.keys():
            return "accepted"
        if self.wrong:
            return "caught"
        return "right" if len(self.touches) <= self.task.way.count else "corrected"


class WheelDrill:
    """Asks for changes, marks what the hands did, and writes it.

    ``answers`` are those of this session.
    """

    def __init__(
        self,
        journal: DrillJournal,
        wheel: Wheel,
        person: str,
        *,
        seed: int = 1,
        second_task: bool = False,
        clock: Clock = now,
    ) -> None:
        """Begin where the person's earlier changes on this wheel ended; raises DrillError."""
        self.journal, self.wheel = journal, wheel
        self.person, self._clock, self._second_task = checked_name(person), clock, second_task
        self._draw, self._cards = random.Random(f"{seed} {person}"), Cards()  # noqa: S311
        self._state = wheel.at_rest(wheel.start)
        self._often, self._records = _often(wheel), dict[str, Record]()
        journal.keep(wheel.digest, wheel.name, wheel.spec.model_dump_json())
        self.answers: list[Answer] = []
        for one in journal.answers(person):
            if one.of_wheel and one.book == wheel.digest:
                self._learn(one)

    def ask(self) -> tuple[WheelTask, Signals]:
        """Return the next change, the least known of what is often made, and its signals."""
        at = self._clock()
        keys = list(self._often)
        gains = [self._often[key] * (1 - self._known(key, at)) for key in keys]
        weights = [(gain / max(gains)) ** _SHARP if max(gains) else 1.0 for gain in gains]
        last = _key(self.answers[-1].shown) if self.answers else ""
        if len(keys) > 1:  # not the same twice
            weights = [0.0 if key == last else one for key, one in zip(keys, weights, strict=True)]
        key = self._draw.choices(keys, weights)[0]
        wanted = {name: self._wanted(name) for name in key.split(" + ")}
        way = cheapest(self.wheel, self._state, wanted)
        return WheelTask(wanted, way), Signals.drawn(self._draw) if self._second_task else Signals()

    def _known(self, key: str, at: datetime.datetime) -> float:
        """Return how well a change is known now: right as a rule, and not forgotten since."""
        record = self._records.get(key)
        return 0.0 if record is None else record.accuracy * self._cards.recall(key, at)

    def _wanted(self, name: str) -> int:
        spec, at = self.wheel.spec.settings[name], self._state.settings[name]
        steps = self._draw.randint(1, min(_MOST_STEPS, spec.count - 1))
        moved = self.wheel.moved(name, at, steps * self._draw.choice((1, -1)))
        return self.wheel.shown(name, moved)

    def marked(self, turn: WheelTurn, at: float) -> Answer:
        """Return the answer that the touches made are; the wheel stands where they left it."""
        turn.signals.end = at - turn.shown_at
        times = [second for _, second in turn.touches]
        wrong = "; ".join(f"{name}={at} for {meant}" for name, (at, meant) in turn.wrong.items())
        return Answer(
            person=self.person,
            drill="wheel",
            session=self.journal.session,
            book=self.wheel.digest,
            kind="change",
            shown="; ".join(f"{name}={at}" for name, at in turn.task.wanted.items()),
            answer="; ".join(f"{second:.3f} {name}" for name, second in turn.touches),
            said="; ".join(filter(None, (wrong, *turn.acts))),
            outcome=turn.outcome,
            first=times[0] if times else None,
            last=times[-1] if times else None,
            done=at - turn.shown_at,
            noise=turn.noise,
            repeats=turn.repeats,
            marks=turn.signals.came,
            missed=turn.signals.missed,
            reaction=turn.signals.reaction,
            speed=float(self.wheel.spec.speed),
            at=stamp(self._clock),
        )

    def write(self, turn: WheelTurn, answer: Answer) -> Answer:
        """Write an answer to the journal, then learn from it. Raises DrillError; it may be tried
        again.
        """
        written = self.journal.append(answer)
        self.answers.append(written)
        self._learn(written)
        self._state = self.wheel.at_rest(turn.state)
        return written

    def _learn(self, answer: Answer) -> None:
        grade: Grade = "good" if answer.right else "again"
        if answer.outcome == "corrected" or answer.missed:
            grade = "hard"
        key = _key(answer.shown)
        self._cards.review(key, grade, moment(answer.at))
        self._records.setdefault(key, Record()).note(right=answer.right, pace=None)

    def due(self, key: str) -> datetime.datetime | None:
        """Return when a change is due again, None where it was never made."""
        return self._cards.due(key)


def _often(wheel: Wheel) -> dict[str, float]:
    """Return what is practised, and how often it is done in a race: what the wheel file tells of
    changes, and every other setting now and then.
    """
    found: dict[str, float] = {}
    for change in wheel.spec.changes:
        key = " + ".join(change.settings)
        found[key] = found.get(key, 0.0) + float(change.often)
    rest = 0.1 * (min(found.values()) if found else 1.0)
    return found | {name: rest for name in wheel.spec.settings if name not in found}


def _key(shown: str) -> str:
    return " + ".join(part.rpartition("=")[0] for part in shown.split("; "))


OUTCOMES: Mapping[Outcome, str] = {
    "right": "right, the cheapest way",
    "corrected": "right, with more touches than it takes",
    "caught": "not there yet",
    "accepted": "something else was changed",
}


def result(turn: WheelTurn, answer: Answer) -> str:
    """Return in words what came of a change: what was made, what is wrong, and the way there."""
    made = touches_in_words([name for name, _ in turn.touches]) or "nothing"
    told = [f"{OUTCOMES[answer.outcome]}: {made}, {answer.last or 0:.1f} s"]
    if turn.wrong:
        ends = ", ".join(f"{name} {at} for {meant}" for name, (at, meant) in turn.wrong.items())
        told.append(f"now {ends}")
    if answer.outcome != "right":
        told.append(f"the way: {turn.task.way.told}")
    if answer.marks:
        told.append(f"brake signals missed: {answer.missed} of {answer.marks}")
    return "\n".join(told)


@dataclass(frozen=True, slots=True)
class WheelScore:
    """One change, whatever the positions: how often asked and right, touches against the fewest
    possible are told by ``corrected``; seconds to the last touch, and signals missed.
    """

    name: str
    asked: int
    right: int
    corrected: int
    seconds: float | None
    marks: int
    missed: int


def scores(answers: Iterable[Answer]) -> list[WheelScore]:
    """Return how it goes change by change, the worst first."""
    groups: dict[str, list[Answer]] = {}
    for answer in answers:
        if answer.of_wheel:
            groups.setdefault(_key(answer.shown), []).append(answer)
    found = [
        WheelScore(
            name,
            len(group),
            sum(one.right for one in group),
            sum(one.outcome == "corrected" for one in group),
            statistics.median(times) if (times := [o.last for o in group if o.last]) else None,
            sum(one.marks for one in group),
            sum(one.missed for one in group),
        )
        for name, group in groups.items()
    ]
    return sorted(found, key=lambda one: (one.right / one.asked, -one.asked, one.name))


def practised(wheel: Wheel, answers: Sequence[Answer]) -> tuple[Wheel, list[str]]:
    """Return the wheel with the times of a person's touches, and their slips, in place of the
    file's as far as enough was measured; and in words what was taken.

    A touch of the control that the hand is at tells what a touch takes, one of another what it
    takes to find it besides; medians, so that a pause counts little.
    """
    again: dict[str, list[float]] = {}
    other: dict[str, list[float]] = {}
    turned = back = 0
    for touches in map(_touches, (one for one in answers if one.of_wheel)):
        for (name, at), (following, then) in itertools.pairwise(touches):
            one, two = (_control(wheel, touch) for touch in (name, following))
            if two is None:
                continue
            (again if one == two else other).setdefault(two, []).append(then - at)
            if one == two and wheel.touches[wheel.touch(following)].way:
                turned += 1
                back += name != following
    controls, told = dict(wheel.spec.controls), list[str]()
    for name, control in controls.items():
        changes = dict[str, Decimal]()
        if len(again.get(name, [])) >= _ENOUGH:
            changes["seconds"] = _decimal(statistics.median(again[name]))
        touch = float(changes.get("seconds", control.seconds))
        if len(other.get(name, [])) >= _ENOUGH:
            found = statistics.median(other[name]) - touch
            changes["find"] = _decimal(max(0.0, found))
        if changes:
            controls[name] = control.model_copy(update=changes)
            told.append(f"{name}: " + ", ".join(f"{key} {one} s" for key, one in changes.items()))
    known = float(wheel.slips.further)
    further = (known * _SLIPS_KNOWN + back) / (_SLIPS_KNOWN + turned)
    spec = wheel.spec.model_copy(
        update={
            "controls": controls,
            "slips": SlipsSpec(
                further=_decimal(further), short=wheel.slips.short, missed=wheel.slips.missed
            ),
        }
    )
    if turned:
        measured = counted(turned, "turn")
        told.append(f"one detent too many: {further:.1%}, by {measured} and the wheel file")
    from codec.wheel.compiling import compiled_wheel

    return compiled_wheel(spec, wheel.name, lambda _: None), told


def _touches(answer: Answer) -> list[tuple[str, float]]:
    """Return the touches of an answer; raises DrillError where they can't be read."""
    found = []
    for part in filter(None, answer.answer.split("; ")):
        second, _, name = part.partition(" ")
        try:
            found.append((name, float(second)))
        except ValueError:
            raise DrillError(
                f"{part[:40]!r} is no touch with its time", kind="drill-answer"
            ) from None
    return found


def _control(wheel: Wheel, touch: str) -> str | None:
    return next((one.control for one in wheel.touches if one.name == touch), None)


def _decimal(value: float) -> Decimal:
    return Decimal(str(round(max(value, 0.001), 3)))


def keys_of(wheel: Wheel) -> Iterator[tuple[str, str]]:
    """Yield a key of the keyboard for each touch: two beside each other for two ways, figures for
    presses, and letters behind them for long ones.
    """
    pairs = iter(("qw", "as", "zx", "er", "df", "cv", "ty", "gh", "nm", "ui", "jk", "op"))
    figures, others = iter("1234567890"), iter("!@#$%^&*()")
    controls: dict[str, list[str]] = {}
    for touch in wheel.touches:
        controls.setdefault(touch.control, []).append(touch.name)
    for control, names in controls.items():
        if wheel.spec.controls[control].kind == "button":
            keys = [next(figures, ""), next(others, "")]
        else:
            up, down = reversed(next(pairs, "  "))
            keys = [up, down]
        yield from ((key, name) for key, name in zip(keys, names, strict=False) if key.strip())
