"""When things were said, and in which lap: by time, then by the number of the entry.

A lap runs from the report of the lap before to its own: behind its report the next lap is being
driven. So "the lap" of anything that is no report of a lap is the lap being driven.
"""

from __future__ import annotations

import array
import bisect
import copy
import datetime
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from codec.sheet.entry import Entry, Said

SINCE_1970 = 10**11  # milliseconds from here on are times of day, below they count from a beginning
_DAY = 24 * 3600 * 1000
_LIVE = 20_000  # an entry logged so soon after it was said was said to the clock it is logged by
_OUT_OF_ORDER = 60_000  # a transcript may be so far out of its order, and two clocks apart
_TOLD = 1000  # a clock that is put right by less than this is not worth a word

# the message of a note that a desk's clock was so many seconds (its amount) ahead of the one that
# all desks share, from the entry that it is about on until there
CLOCK = "clock"

ClockStepKind = Literal["back", "midnight", "mixed"]


class ClockStep(NamedTuple):
    """Where times can't be taken as they stand: from the entry ``seq`` on the clock had gone back,
    or began anew at midnight, or counts from another beginning than before.
    """

    seq: int
    kind: ClockStepKind

    def __str__(self) -> str:
        """Tell it in words."""
        return {
            "back": (
                f"the clock had gone backwards before entry {self.seq}; the order is that of the"
                " entries"
            ),
            "midnight": f"times begin anew at midnight before entry {self.seq}",
            "mixed": (
                f"entry {self.seq} counts time from another beginning than those before it; the"
                " order is that of the entries"
            ),
        }[self.kind]


@dataclass(slots=True)
class _Writer:
    last: int
    ahead: int = 0  # what is added to the times of this writer since the clock went back


class _Times:
    """A time in milliseconds for each number that has one, in 8 bytes; one beyond what these hold
    is taken for the furthest that they do.
    """

    _BITS, _NONE, _MOST = 9, -(2**63), 2**63 - 1

    def __init__(self) -> None:
        """Begin with none."""
        self._pages: dict[int, array.array[int]] = {}

    def __setitem__(self, number: int, time: int) -> None:
        page = self._pages.get(number >> self._BITS)
        if page is None:
            page = array.array("q", [self._NONE]) * (1 << self._BITS)
            self._pages[number >> self._BITS] = page
        within = -self._MOST <= time <= self._MOST
        place = number & (1 << self._BITS) - 1
        page[place] = time if within else self._MOST if time > 0 else -self._MOST

    def get(self, number: int) -> int | None:
        """Return the time of a number, None for none."""
        page = self._pages.get(number >> self._BITS)
        found = self._NONE if page is None else page[number & (1 << self._BITS) - 1]
        return None if found == self._NONE else found

    def copy(self) -> _Times:
        """Return the times as they are now."""
        found = _Times()
        found._pages = {page: times[:] for page, times in self._pages.items()}
        return found


class Moments:
    """When each entry was said, in milliseconds, on one clock that never goes back.

    Takes entries in the order of their numbers. The clock of one writer is put on by as much as it
    went back: what is said later stands later. A correction that keeps the time of what it corrects
    was said then, and tells nothing of a clock. What was written live at a desk whose clock was
    off, as a note of ``clocks`` tells, is taken for said when it was.
    """

    def __init__(self, clocks: Iterable[Said] = ()) -> None:
        """Begin with no entry."""
        self._clocks = tuple(clocks)
        self.steps: list[ClockStep] = []
        self._written = _Times()  # of those of which it is known when they were said
        self._running = _Times()
        self._fixes: dict[
            int, list[int]
        ] = {}  # corrections, by the number they are about in the end
        self._roots: dict[int, int] = {}  # of each correction that number
        self._writers: dict[tuple[str, str], _Writer] = {}
        # of each desk: its entries may come in between those of others, as soon as a line is back
        self._newest: dict[str, int] = {}
        self._logged: dict[str, tuple[Said, int]] = {}  # of each desk the last, and how far off
        self._of_day: bool | None = None

    def take(self, entry: Said) -> None:
        """Take the next entry."""
        at, off = entry.at, self.off(entry)
        if (said := self._said_before(entry)) is not None:
            self._written[entry.seq], self._running[entry.seq] = at or 0, said
            self._look_at_clock(entry, off)
            return
        live = at is not None and _is_live(entry, at)
        if at is not None and live:
            at -= off
        if at is not None and not self._counts_alike(entry, of_day=at >= SINCE_1970):
            at = None
        if at is not None:
            at = self._put_on(entry, at, live=live)
            self._written[entry.seq] = entry.at or 0
            self._newest[entry.desk] = max(self._newest.get(entry.desk, at), at)
            self._running[entry.seq] = at
        elif entry.desk in self._newest:
            self._running[entry.seq] = self._newest[entry.desk]
        self._look_at_clock(entry, off)

    def _said_before(self, entry: Said) -> int | None:
        """Return when a correction was said that keeps the time of what it corrects, or of another
        correction of it; None for anything else.
        """
        if entry.kind != "correction" or entry.about is None:
            return None
        root = self._roots[entry.seq] = self._roots.get(entry.about, entry.about)
        fixes = self._fixes.setdefault(root, [])
        same = (one for one in (root, *fixes) if self._written.get(one) == entry.at)
        said = None if entry.at is None else next(same, None)
        fixes.append(entry.seq)
        return None if said is None else self._running.get(said)

    def as_it_stands(self) -> Moments:
        """Return it as it is now: what is taken later changes nothing there."""
        found = copy.copy(self)
        found.steps, found._running = list(self.steps), self._running.copy()
        found._written = self._written.copy()
        return found

    def off(self, entry: Said) -> int:
        """Return by how many milliseconds the clock was ahead by which an entry was logged, 0 where
        nobody says that it was.
        """
        for note in self._clocks:
            if note.desk == entry.desk and (note.about or 0) <= entry.seq < note.seq:
                return round((note.amount or 0) * 1000)
        return 0

    def at(self, seq: int) -> int | None:
        """Return when an entry was said, None where nobody knows."""
        return None if self._written.get(seq) is None else self._running.get(seq)

    def key(self, seq: int) -> tuple[float, int]:
        """Return what puts entries in order; one without a time stands where it was written."""
        running = self._running.get(seq)
        return float("-inf") if running is None else running, seq

    def _look_at_clock(self, entry: Said, off: int) -> None:
        """Tell where the clock by which entries are logged went back, though nobody knows when they
        were said.
        """
        if not entry.logged:
            return
        if entry.at is None and entry.desk in self._logged:
            last, was_off = self._logged[entry.desk]
            logged, before = _logged(entry), _logged(last)
            if logged is None:
                return
            if before is not None and logged - off < before - was_off - _TOLD:
                self.steps.append(ClockStep(entry.seq, "back"))
        self._logged[entry.desk] = entry, off

    def _counts_alike(self, entry: Said, *, of_day: bool) -> bool:
        """Tell whether an entry counts from the same beginning as those before it."""
        if self._of_day is None:
            self._of_day = of_day
        if of_day == self._of_day:
            return True
        if not any(step.kind == "mixed" for step in self.steps):
            self.steps.append(ClockStep(entry.seq, "mixed"))
        return False

    def _put_on(self, entry: Said, at: int, *, live: bool) -> int:
        who = entry.desk, entry.writer
        writer = self._writers.get(who)
        if writer is None:
            writer = self._writers[who] = _Writer(at)
            if live and entry.desk in self._newest:
                writer.last = max(at, self._newest[entry.desk] - _OUT_OF_ORDER)
        back = writer.last - (at + writer.ahead)
        if back > (0 if live else _OUT_OF_ORDER):
            midnight = not live and at < SINCE_1970 and back > _DAY / 2
            writer.ahead += _DAY if midnight else back
            if midnight or back >= _TOLD:
                self.steps.append(ClockStep(entry.seq, "midnight" if midnight else "back"))
        writer.last = max(writer.last, at + writer.ahead)
        return at + writer.ahead


def _is_live(entry: Said, at: int) -> bool:
    """Tell whether an entry was said when it was logged."""
    logged = _logged(entry)
    return at >= SINCE_1970 and logged is not None and abs(logged - at) <= _LIVE


def puts_clock_right(entry: Said) -> bool:
    """Tell whether an entry tells by how much a desk's clock was off."""
    return entry.kind == "note" and entry.message == CLOCK and entry.amount is not None


def _logged(entry: Said) -> float | None:
    """Return when an entry was logged, in milliseconds since 1970; None where it does not say."""
    try:
        moment = datetime.datetime.fromisoformat(entry.logged)
    except ValueError:
        return None
    return (moment if moment.tzinfo else moment.replace(tzinfo=datetime.UTC)).timestamp() * 1000


class Placed(NamedTuple):
    """Something said: ``behind`` so many laps; a report of a lap stands at its end."""

    behind: int
    entry: Entry
    of_lap: bool

    @property
    def lap(self) -> int:
        """The lap: of a report its own, of anything else the lap being driven."""
        return self.behind if self.of_lap else self.behind + 1


def reports_lap(entry: Entry, message: str) -> bool:
    """Tell whether an entry is a report of a lap; ``message`` is the one reported each lap.

    Any other report is of a lap only where it says so.
    """
    return (
        entry.kind == "report"
        and entry.lap is not None
        and (entry.message in ("", message) or entry.lap_by == "said")
    )


def placed(said: Iterable[Entry], of_lap: Callable[[Entry], bool]) -> list[Placed]:
    """Return what was said to and by one car, given in order, lap by lap; ``of_lap`` tells which of
    it are reports of laps.

    A report stands at its own lap, however late it came; anything else in the lap that was being
    driven: behind the last lap reported before it, or, where reports of laps are missing there and
    times are known, behind the lap that had ended by then.
    """
    told = [(entry, of_lap(entry)) for entry in said]
    ends = _ends(entry for entry, reports in told if reports and not entry.refusal)
    found: list[Placed] = []
    running = 0
    for entry, reports in told:
        if reports:
            running = running if entry.refusal else max(running, entry.lap or 0)
            found.append(Placed(entry.lap or 0, entry, of_lap=True))
        else:
            told_lap = entry.lap - 1 if entry.lap_by in ("time", "given") and entry.lap else None
            behind = max(running, _ended_by(entry, running, ends)) if told_lap is None else told_lap
            found.append(Placed(behind, entry, of_lap=False))
    return sorted(found, key=lambda one: (one.behind, not one.of_lap))


def _ends(reports: Iterable[Entry]) -> list[tuple[int, int]]:
    """Return the laps reported whose times are known, each with its time, in order of both."""
    ends: list[tuple[int, int]] = []
    for entry in reports:
        if entry.lap is None or entry.at is None:
            continue
        if not ends or (entry.lap > ends[-1][0] and entry.at > ends[-1][1]):
            ends.append((entry.lap, entry.at))
    return ends


def _time(end: tuple[int, int]) -> int:
    return end[1]


def _ended_by(entry: Entry, running: int, ends: Sequence[tuple[int, int]]) -> int:
    """Return the last lap that had ended when something was said, by the clock, 0 where it does
    not tell.
    """
    if entry.at is None:
        return 0
    place = bisect.bisect(ends, entry.at, key=_time)
    if not 0 < place < len(ends) or ends[place - 1][0] < running:
        return 0
    (lap, begun), (following, ended) = ends[place - 1], ends[place]
    return min(following - 1, lap + (entry.at - begun) * (following - lap) // (ended - begun))
