"""The end of a session, to be read in ten seconds: what got better, what is weak, what looking
cost, and what to do next. What was never wrong is not listed.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from codec.drill.answer import PLURALS, Answer
from codec.drill.marking import align
from codec.drill.memory import Memory
from codec.drill.pool import key_of
from codec.drill.staircase import LONGEST, SHORTEST, Exposure, exposures, metres
from codec.drill.timing import share

if TYPE_CHECKING:
    from grammar.book import Book

_MOST = 5  # symbols, and pairs, that are listed as weak
_KNOWN = 0.97  # chance of a right answer from which nothing is weak
_SESSIONS = 12  # that the picture shows
_EASY, _HARD = 0.9, 0.75  # share right from which the next glance is shorter, below which longer
_STEP = 0.85  # by which it gets shorter


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One session: the day, answers and right ones, the 95 % interval of the share, and the mean
    exposure in seconds, None where nothing was flashed.
    """

    day: str
    asked: int
    right: int
    low: float
    high: float
    exposure: float | None


@dataclass(frozen=True, slots=True)
class NextSession:
    """What the next session should be: from which day, at which exposure in seconds (None: as it
    was, unflashed), and why.
    """

    day: str
    exposure: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Closing:
    """What the last session of a person came to."""

    person: str
    better: tuple[str, ...]
    weak: tuple[str, ...]
    cost: tuple[str, ...]
    exposures: dict[str, Exposure]
    sessions: tuple[SessionRow, ...]
    next: NextSession

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for JSON."""
        return {
            "person": self.person,
            "better": list(self.better),
            "weak": list(self.weak),
            "cost": list(self.cost),
            "exposures": {PLURALS[kind]: one.as_dict() for kind, one in self.exposures.items()},  # type: ignore[index]
            "sessions": [
                {"day": one.day, "asked": one.asked, "right": one.right,
                 "low": one.low, "high": one.high, "exposure": one.exposure}
                for one in self.sessions
            ],
            "next": {"day": self.next.day, "exposure": self.next.exposure, "why": self.next.why},
        }  # fmt: skip


def closing(book: Book, answers: Sequence[Answer], at: datetime.datetime) -> Closing | None:
    """Return what the last session came to, out of all answers of one person with one book in one
    drill; None where there are none.
    """
    if not answers:
        return None
    groups: dict[str, list[Answer]] = {}
    for answer in answers:
        groups.setdefault(answer.session, []).append(answer)
    *before, last = groups.values()
    earlier = [answer for group in before for answer in group]
    memory = Memory.of(answers)
    return Closing(
        last[0].person,
        _better(book, earlier, last),
        _weak(book, answers, memory, at),
        _cost(last),
        {str(kind): one for kind, one in exposures(answers).items()},
        tuple(_row(group) for group in list(groups.values())[-_SESSIONS:]),
        _next(memory, last, at),
    )


def missed(answers: Sequence[Answer]) -> tuple[Counter[str], Counter[str]]:
    """Return how often each symbol was asked, and how often it went wrong, where it is known which
    did.
    """
    asked, wrong = Counter[str](), Counter[str]()
    for answer in answers:
        if not answer.right and not answer.said:
            continue
        said = answer.shown if answer.right else answer.said
        for shown, heard in align(answer.shown, said):
            if shown:
                asked[shown] += 1
                wrong[shown] += shown != heard
    return asked, wrong


def _better(book: Book, earlier: Sequence[Answer], last: Sequence[Answer]) -> tuple[str, ...]:
    words = book.alphabet.words
    told = []
    _, wrong = missed(earlier)
    asked, now = missed(last)
    mended = [
        one for one in wrong if wrong[one] and asked[one] > 1 and not now[one] and one in words
    ]
    if mended:
        names = ", ".join(
            words[one].word for one in sorted(mended, key=lambda o: -wrong[o])[:_MOST]
        )
        told.append(f"no longer wrong: {names}")
    for kind, found in exposures([*earlier, *last]).items():
        known = exposures(earlier).get(kind)
        if known is not None and found.seconds < 0.95 * known.seconds:
            told.append(
                f"{PLURALS[kind]}: a glance of {found.seconds:.2f} s is enough,"
                f" {known.seconds:.2f} s before"
            )
    if earlier:
        shares = [sum(one.right for one in rows) / len(rows) for rows in (earlier, last)]
        if shares[1] > shares[0]:
            told.append(f"{shares[1]:.0%} right, {shares[0]:.0%} before")
    return tuple(told)


def _weak(
    book: Book, answers: Sequence[Answer], memory: Memory, at: datetime.datetime
) -> tuple[str, ...]:
    words, known = book.alphabet.words, memory.knowledge.alone
    asked, wrong = missed(answers)
    chances = {
        symbol: known.chance(symbol, memory.recall(symbol, at))
        for symbol in wrong
        if wrong[symbol] and symbol in words
    }
    weakest = [one for one in sorted(chances, key=chances.__getitem__) if chances[one] < _KNOWN]
    taken = Counter(
        (shown, said)
        for answer in answers
        if answer.said and not answer.right
        for shown, said in align(answer.shown, answer.said)
        if shown != said and shown and said
    )
    told = []
    for symbol in weakest[:_MOST]:
        rivals = [(count, said) for (shown, said), count in taken.items() if shown == symbol]
        count, rival = max(rivals, default=(0, ""))
        like = f", taken for {words[rival].word}" if count > 1 and rival in words else ""
        told.append(f"{words[symbol].word}: wrong {wrong[symbol]} of {asked[symbol]} times{like}")
    return tuple(told)


def _cost(last: Sequence[Answer]) -> tuple[str, ...]:
    told = []
    glances = [(one.exposure, one.speed) for one in last if one.exposure and one.speed]
    if glances:
        seconds = sum(one for one, _ in glances) / len(glances)
        speed = glances[-1][1]
        told.append(
            f"a glance of {seconds:.2f} s is {metres(seconds, speed):.0f} m at {speed:.0f} km/h"
        )
    marks = sum(one.marks for one in last)
    if marks:
        told.append(
            f"{sum(one.missed for one in last)} of {marks} braking marks missed while reading"
        )
    return tuple(told)


def _row(group: Sequence[Answer]) -> SessionRow:
    right = sum(one.right for one in group)
    seen = [one.exposure for one in group if one.exposure]
    low, high = share(right, len(group))
    mean = round(sum(seen) / len(seen), 3) if seen else None
    return SessionRow(group[0].at[:10], len(group), right, round(low, 4), round(high, 4), mean)


def _next(memory: Memory, last: Sequence[Answer], at: datetime.datetime) -> NextSession:
    right = sum(one.right for one in last) / len(last)
    seen = [one.exposure for one in last if one.exposure and not one.measured]
    exposure = sum(seen) / len(seen) if seen else None
    if exposure is None:
        told = f"{right:.0%} were right"
    elif right >= _EASY:
        told = f"{right:.0%} were right: look more briefly"
        exposure *= _STEP
    elif right < _HARD:
        told = f"{right:.0%} were right: look longer"
        exposure /= _STEP
    else:
        told = f"{right:.0%} were right: the same glance again"
    due = [memory.cards.due(key_of("symbol", "", symbol)) for symbol in memory.symbols]
    soonest = min((one for one in due if one is not None), default=at)
    day = max(soonest, at).date().isoformat()
    if exposure is not None:
        exposure = round(min(LONGEST, max(SHORTEST, exposure)), 2)
    return NextSession(day, exposure, told)
