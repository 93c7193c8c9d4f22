"""A programme of weeks: what somebody wants to reach, how far they are week by week, what is due,
and people beside each other.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.drill.answer import Answer, DrillError, checked_name
from codec.drill.cards import moment
from codec.drill.closing import closing, missed
from codec.drill.measuring import times_of
from codec.drill.memory import Memory
from codec.drill.pool import key_of
from codec.drill.staircase import LONGEST, SHORTEST, Exposure, exposures
from codec.drill.timing import share

if TYPE_CHECKING:
    from grammar.book import Book

_MOST_WEEKS = 52
_LATEST = 60  # whole reports, the last ones, that tell how somebody is doing now


@dataclass(frozen=True, slots=True, kw_only=True)
class Programme:
    """What ``person`` wants to reach from the day ``begins`` on in so many weeks: the share of
    whole reports right, at an exposure in seconds, said in so many seconds; ``sessions`` a week.
    """

    person: str
    begins: datetime.date
    weeks: int = 6
    sessions: int = 3
    share: float = 0.95
    exposure: float = 0.5
    seconds: float = 4.0

    def __post_init__(self) -> None:
        """Check it; raises DrillError."""
        checked_name(self.person)
        for name, low, high in (
            ("weeks", 1, _MOST_WEEKS),
            ("sessions", 1, 21),
            ("share", 0.5, 1.0),
            ("exposure", SHORTEST, LONGEST),
            ("seconds", 0.5, 60.0),
        ):
            if not low <= getattr(self, name) <= high:
                raise DrillError(
                    f"{name} can't be {getattr(self, name):g}",
                    kind="usage",
                    expected=[f"{low:g} to {high:g}"],
                )


@dataclass(frozen=True, slots=True)
class Week:
    """One week of a programme: its first day, the sessions held, the whole reports asked and right,
    the mean seconds of those, and of their exposures; None where there are none.
    """

    begins: datetime.date
    sessions: int
    asked: int
    right: int
    seconds: float | None
    exposure: float | None

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval of the share right."""
        return share(self.right, self.asked)


@dataclass(frozen=True, slots=True)
class ProgrammeStanding:
    """How somebody stands: their last whole reports, the glance they need, symbols due for a
    repeat, what is weak, and, in a programme, its weeks so far, how many in a row had their
    sessions, and which goals are reached.
    """

    person: str
    latest: Week
    needed: Exposure | None
    due: int
    next_due: datetime.date | None
    weak: tuple[str, ...]
    programme: Programme | None
    weeks: tuple[Week, ...]
    in_a_row: int
    reached: dict[str, bool]


def standing(
    book: Book, answers: Sequence[Answer], programme: Programme | None, at: datetime.datetime
) -> ProgrammeStanding | None:
    """Return how one person stands, by their answers with one book in one drill; None where there
    are none.
    """
    told = closing(book, answers, at)
    if told is None:
        return None
    reports = [one for one in answers if one.kind == "report"]
    latest = _week(at.date(), reports[-_LATEST:])
    memory = Memory.of(answers)
    dues = [memory.cards.due(key_of("symbol", "", symbol)) for symbol in memory.symbols]
    known = sorted(due for due in dues if due is not None)
    weeks = () if programme is None else tuple(_weeks(programme, answers, at.date()))
    needed = exposures(answers).get("report")
    return ProgrammeStanding(
        told.person,
        latest,
        needed,
        sum(due <= at for due in known),
        known[0].date() if known else None,
        told.weak,
        programme,
        weeks,
        _in_a_row(weeks, programme),
        {} if programme is None else _reached(programme, latest, needed),
    )


def _weeks(programme: Programme, answers: Sequence[Answer], today: datetime.date) -> list[Week]:
    """Return the weeks that have begun."""
    found = []
    for number in range(programme.weeks):
        first = programme.begins + datetime.timedelta(weeks=number)
        if first > today:
            break
        last = first + datetime.timedelta(weeks=1)
        found.append(_week(first, [one for one in answers if first <= _day(one) < last]))
    return found


def _day(answer: Answer) -> datetime.date:
    return moment(answer.at).date()


def _week(begins: datetime.date, answers: Sequence[Answer]) -> Week:
    reports = [one for one in answers if one.kind == "report"]
    spoken = [one.speaking for one in reports if one.right and one.speaking is not None]
    seen = [one.exposure for one in reports if one.exposure]
    return Week(
        begins,
        len({one.session for one in answers}),
        len(reports),
        sum(one.right for one in reports),
        sum(spoken) / len(spoken) if spoken else None,
        sum(seen) / len(seen) if seen else None,
    )


def _in_a_row(weeks: Sequence[Week], programme: Programme | None) -> int:
    """Return how many weeks up to now had all their sessions; the one that runs may yet have."""
    count = 0
    for place, week in enumerate(reversed(weeks)):
        if programme is not None and week.sessions >= programme.sessions:
            count += 1
        elif place:
            break
    return count


def _reached(programme: Programme, latest: Week, needed: Exposure | None) -> dict[str, bool]:
    """Tell which goals are reached: at the goal's exposure, by what was measured of it."""
    return {
        "share": bool(latest.asked) and latest.right / latest.asked >= programme.share,
        "exposure": needed is not None and needed.seconds <= programme.exposure,
        "seconds": latest.seconds is not None and latest.seconds <= programme.seconds,
    }


@dataclass(frozen=True, slots=True)
class Beside:
    """One symbol as two people have it: its word, and for each of them how often it was asked and
    right, and the seconds that they take to say it.
    """

    word: str
    asked: tuple[int, int]
    right: tuple[int, int]
    seconds: tuple[float | None, float | None]

    @property
    def apart(self) -> float:
        """How far their shares are apart."""
        one, other = (right / asked for right, asked in zip(self.right, self.asked, strict=True))
        return abs(one - other)


def beside(book: Book, one: Sequence[Answer], other: Sequence[Answer]) -> list[Beside]:
    """Return the symbols that both were asked, those first that part them most."""
    both = [missed(answers) for answers in (one, other)]
    times = [times_of(book, answers) for answers in (one, other)]
    rows = []
    for symbol in book.alphabet.symbols:
        asked = (both[0][0][symbol], both[1][0][symbol])
        if all(asked):
            right = (asked[0] - both[0][1][symbol], asked[1] - both[1][1][symbol])
            spoken = [
                found.words[symbol].seconds if found and symbol in found.words else None
                for found in times
            ]
            word = book.alphabet.words[symbol].word
            rows.append(Beside(word, asked, right, (spoken[0], spoken[1])))
    return sorted(rows, key=lambda row: (-row.apart, row.word))
