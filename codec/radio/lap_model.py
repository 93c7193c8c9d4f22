"""The laps of everything said, once more is known: a hidden Markov model of a car's reports.

The state is the lap that a report is of. From one report to the next so many laps go by, by the
time between them and by how long a lap takes; some reports are not heard, some laps take longer
than others (neutralised, or with a stop). What a report says of its lap, most often only its last
figure, is what is observed. Forward and backward sums give each lap its probability (L. R. Rabiner,
"A tutorial on hidden Markov models", 1989).

Everything else stands between reports. A lap begins at the same part of the way from one report to
the next all race long; where the recording begins with the race, its first report tells which.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import pairwise
from typing import TypeVar

from codec.radio.exchange import Draft
from codec.radio.forms import LeftOut
from codec.radio.laps import lap_field
from codec.radio.outlook import SAID, lap_counts, level_of_lap
from codec.sheet.entry import Entry, LapBy
from codec.sheet.state import lap_message
from grammar.book import Book

_IN_ORDER = 2000  # milliseconds: lines may be so far out of their order
_MOST_HELD = 400  # drafts that wait for a later report
_MOST_REPORTS = 24  # of a car, that tell of each other
_PHASE = 0.5  # of a lap gone by at a report, where nothing tells
_SEEN = (0.02, 1.3)  # what it may be by the first report
_PHASE_SPREAD, _PHASE_UNKNOWN = 0.05, 0.3
_LEAST, _UNLIKELY = 1e-9, 1e-5  # of laps, and of laps from one report to the next
_MOST_KEPT = 10_000
_MOST_LAPS = 16  # that a report may be of
_ASTRAY = 2  # laps about a first report that is of none
_STEP = 250.0  # milliseconds to which the length of a lap is told
_ABOUT = ("readback", "question", "answer")  # on the lap of what they are about
_TOLD = ("given", "time")  # by somebody, or by when laps began
_DAY = 86_400_000 * 30  # milliseconds: times beyond are of the clock, not of the recording


@dataclass(slots=True)
class _Report:
    """A report of a car: when, the lap said (None where none is), and how likely each lap is."""

    at: int
    uid: str
    said: int | None
    order: int | None = None
    laps: dict[int, float] = field(default_factory=dict)

    @property
    def lap(self) -> int | None:
        """The likeliest lap."""
        return max(self.laps, key=self.laps.__getitem__) if self.laps else self.order


@dataclass(slots=True)
class _CarLaps:
    reports: list[_Report] = field(default_factory=list)
    fresh: bool = False
    phase: tuple[float, float] | None = None  # once the first report is forgotten

    def length(self) -> float | None:
        """Return the milliseconds of a usual lap."""
        known = [one for one in self.reports if one.said is not None]
        lengths = sorted(
            (after.at - before.at) / (after.said - before.said)
            for before, after in pairwise(known)
            if before.said is not None and after.said is not None and after.said > before.said
        )
        if not lengths:
            return None
        middle = lengths[len(lengths) // 2]
        return max(_STEP, round(middle / _STEP) * _STEP)  # what is kept of it is met again


_Fact = TypeVar("_Fact")


class LapModel:
    """Puts what was said on its lap; ``start`` is when the recording began, if that is known."""

    def __init__(self, book: Book, after: dict[str, int] | None = None) -> None:
        """Begin with nothing known."""
        self.book, self._lap, self._message = book, lap_field(book), lap_message(book)
        self._after = after or {}
        self._cars: dict[str, _CarLaps] = {}
        self._held: deque[Draft] = deque()
        self._moved: dict[str, tuple[int | None, LapBy, float | None]] = {}
        self._sure: dict[str, float] = {}
        self._says_so: dict[tuple[int, int], float] = {}
        self.start: int | None = None

    def placed(
        self, drafts: Iterable[Draft | LeftOut], waits: Callable[[], int | None]
    ) -> Iterator[Draft | LeftOut]:
        """Yield drafts in the order in which they were said, each on its lap; ``waits`` tells since
        when something waits to become one.
        """
        for draft in drafts:
            if isinstance(draft, LeftOut):
                yield draft
                continue
            self._observe(draft)
            self._hold(draft)
            since = waits()
            while self._held and (
                len(self._held) > _MOST_HELD or self._known(self._held[0], since)
            ):
                yield self._placed(self._held.popleft())
        while self._held:
            yield self._placed(self._held.popleft())

    def _hold(self, draft: Draft) -> None:
        """Hold a draft back: one that waited stands before what was said later."""
        at, behind = draft.entry.at, list[Draft]()
        while at is not None and self._held:
            last = self._held[-1].entry
            if last.at is None or last.at <= at + _IN_ORDER or draft.about == last.uid:
                break
            behind.append(self._held.pop())
        self._held.append(draft)
        self._held.extend(reversed(behind))

    def _observe(self, draft: Draft) -> None:
        entry = draft.entry
        reported = entry.kind in ("report", "correction") and entry.message in (self._message, "")
        if not reported or entry.at is None or entry.lap_by == "time" or not self._message:
            return
        car = self._cars.setdefault(entry.car, _CarLaps())
        said = entry.lap if entry.accepted and entry.lap_by in ("said", "given") else None
        report = _Report(entry.at, draft.about or entry.uid, said, entry.lap)
        if entry.kind == "correction":
            for place, one in enumerate(car.reports):
                if one.uid == draft.about:
                    del car.reports[place]
                    report.at = one.at
                    break
        car.reports.append(report)
        car.reports.sort(key=lambda one: one.at)
        if len(car.reports) > _MOST_REPORTS:
            car.phase = car.phase or self._phase(car, car.length())
            del car.reports[:-_MOST_REPORTS]
        car.fresh = False

    def _known(self, draft: Draft, since: int | None) -> bool:
        """Tell whether enough is known to put a draft on its lap, and nothing said before it
        waits.
        """
        entry = draft.entry
        if since is not None and entry.at is not None and entry.at > since:
            return False
        if entry.at is None or not self._open(entry) or not self._message:
            return True
        car = self._cars.get(entry.car)
        return car is not None and sum(one.at > entry.at for one in car.reports) >= 2

    @staticmethod
    def _open(entry: Entry) -> bool:
        """Tell whether the lap of an entry is only supposed."""
        return entry.kind != "car" and entry.lap_by in ("", "order")

    def _placed(self, draft: Draft) -> Draft:
        entry, car = draft.entry, self._cars.get(draft.entry.car)
        if draft.about in self._moved and self._open(entry):
            lap, known_by, sure = self._moved[draft.about]
            entry = entry.replace(
                lap=lap, lap_by="" if lap is None else known_by, lap_certainty=sure
            )
            return replace(draft, entry=entry)
        if draft.about and entry.lap is not None and entry.kind in _ABOUT:
            return replace(draft, entry=entry.replace(lap_certainty=self._sure.get(draft.about)))
        if entry.lap_by in _TOLD:
            return replace(draft, entry=entry.replace(lap_certainty=1.0))
        if entry.at is None or car is None or not self._message:
            return draft
        if not car.fresh:
            self._sum(car)
        uid = draft.about if entry.kind == "correction" else entry.uid
        own = next((one for one in car.reports if one.uid == uid), None)
        if not self._open(entry):
            if own is None or entry.lap is None:
                return draft
            self._keep(self._sure, uid, min(1.0, own.laps.get(entry.lap, 0.0)))
            return replace(draft, entry=entry.replace(lap_certainty=self._sure[uid]))
        if own is not None and own.laps:
            lap, sure = own.lap, own.laps[own.lap or 0] if own.lap in own.laps else 0.0
        else:
            lap, sure = self._between(car, entry.at, self._after.get(entry.car, 0))
        if sure <= 0:
            return draft
        values = dict(entry.values)
        if self._lap in values and own is not None and lap is not None:
            values[self._lap] = Decimal(lap)
        by: LapBy = "order" if own is not None else "time"
        certainty = None if lap is None else min(1.0, sure)
        entry = entry.replace(
            lap=lap, lap_by="" if lap is None else by, values=values, lap_certainty=certainty
        )
        self._keep(self._moved, entry.uid, (lap, by, certainty))
        return replace(draft, entry=entry)

    @staticmethod
    def _keep(kept: dict[str, _Fact], uid: str, fact: _Fact) -> None:
        """Keep what is known of an entry for those about it, which soon follow."""
        kept[uid] = fact
        if len(kept) > 2 * _MOST_HELD:
            del kept[next(iter(kept))]

    def _sum(self, car: _CarLaps) -> None:
        """Work out how likely each lap is for each report: forward and backward."""
        length, reports = car.length(), car.reports
        car.fresh = True
        if all(
            before.said is not None and after.said is not None and before.said < after.said
            for before, after in pairwise([_Report(0, "", -1), *reports])
        ):
            for report in reports:
                report.laps = {report.said or 0: 1.0}
            return
        steps = [
            [
                pair
                for pair in lap_counts(before.at, after.at, length).items()
                if pair[1] > _UNLIKELY
            ]
            for before, after in pairwise(reports)
        ]
        forward: list[dict[int, float]] = []
        for place, report in enumerate(reports):
            if place == 0:
                laps = self._first(report, car) if report.said is None else _about(report.said)
            else:
                laps = {}
                for lap, share in forward[-1].items():
                    for count, likely in steps[place - 1]:
                        laps[lap + count] = laps.get(lap + count, 0.0) + share * likely
            forward.append(_scaled(self._told(report, laps)))
        backward = dict.fromkeys(forward[-1], 1.0)
        reports[-1].laps = _scaled(dict(forward[-1]))
        for place in range(len(reports) - 2, -1, -1):
            here, following = forward[place], reports[place + 1]
            worth = {n: (self._says(following, n), p) for n, p in backward.items()}
            backward = {}
            for lap in here:
                total = 0.0
                for count, likely in steps[place]:
                    if lap + count in worth:
                        says, behind = worth[lap + count]
                        total += likely * says * behind
                backward[lap] = total
            backward = _scaled(backward)
            reports[place].laps = _scaled({n: p * backward.get(n, 0.0) for n, p in here.items()})

    def _first(self, report: _Report, car: _CarLaps) -> dict[int, float]:
        """Return the laps that a first report may be of, whose lap nobody said."""
        said = next((one for one in car.reports if one.said is not None), None)
        if said is None or said.said is None:
            return {max(1, report.order or 1): 1.0}
        counts = lap_counts(report.at, said.at, car.length())
        return {said.said - n: share for n, share in counts.items() if said.said - n > 0} or {
            1: 1.0
        }

    def _told(self, report: _Report, laps: dict[int, float]) -> dict[int, float]:
        """Return the laps that a report may be of, weighed by what it says."""
        if report.said is None:
            return laps
        return {lap: share * self._says(report, lap) for lap, share in laps.items()}

    def _says(self, report: _Report, lap: int) -> float:
        """Return how likely a report says what it says, if it is of a lap."""
        if report.said is None:
            return 1.0
        pair = report.said, lap
        if pair not in self._says_so:
            if len(self._says_so) > _MOST_KEPT:
                self._says_so.clear()
            self._says_so[pair] = SAID if self._alike(*pair) else 1 - SAID
        return self._says_so[pair]

    def _alike(self, said: int, lap: int) -> bool:
        if not self._lap or said == lap:
            return said == lap
        wraps = self.book.fields[self._lap].wraps
        return wraps and level_of_lap(self.book, said) == level_of_lap(self.book, lap)

    def _phase(self, car: _CarLaps, length: float | None) -> tuple[float, float]:
        """Return how much of a lap is gone by at its report, and how far that may be wrong."""
        if car.phase is not None:
            return car.phase
        first = next((one for one in car.reports if one.lap is not None), None)
        if first is None or first.lap is None or length is None:
            return _PHASE, _PHASE_UNKNOWN
        start = self.start if self.start is not None and first.at > _DAY else 0
        phase = (first.at - start) / length - (first.lap - 1)
        if not _SEEN[0] <= phase <= _SEEN[1]:
            return _PHASE, _PHASE_UNKNOWN
        return phase, _PHASE_SPREAD

    def _between(self, car: _CarLaps, at: int, after: int) -> tuple[int | None, float]:
        """Return the lap that was driven at a moment, and how likely it is; 0 where nobody
        knows.
        """
        known = [one for one in car.reports if one.lap is not None]
        length = car.length()
        if not known or (length is None and len(known) < 2):
            return None, 0.0
        before = max((one for one in known if one.at <= at), key=lambda o: o.at, default=None)
        behind = min((one for one in known if one.at > at), key=lambda o: o.at, default=None)
        phase, spread = self._phase(car, length)
        if before is not None and behind is not None and (before.lap or 0) < (behind.lap or 0):
            laps = (behind.lap or 0) - (before.lap or 0)
            gone = (at - before.at) / (behind.at - before.at) * laps
        elif before is not None:
            gone = (at - before.at) / (length or math.inf)
        else:
            before = behind
            gone = (at - (behind.at if behind else at)) / (length or math.inf)
        place = ((before.lap if before else 0) or 0) + phase + gone
        lap = math.floor(place)
        near = min(place - lap, lap + 1 - place)
        sure = 0.5 * (1 + math.erf(near / spread / math.sqrt(2)))
        return (lap if lap > after else None), sure


def _about(said: int) -> dict[int, float]:
    """Return the laps of a first report that says one: that one, unless it is of no lap at all."""
    near = range(max(1, said - _ASTRAY), said + _ASTRAY + 1)
    return {lap: 1.0 if lap == said else 1 - SAID for lap in near} | {said: 1.0}


def _scaled(weights: dict[int, float]) -> dict[int, float]:
    """Return weights as shares of their sum; what is next to nothing is left out."""
    whole = sum(weights.values())
    if whole <= 0:
        return weights
    likely = sorted(weights, key=weights.__getitem__, reverse=True)[:_MOST_LAPS]
    return {lap: weights[lap] / whole for lap in likely if weights[lap] > _LEAST * whole}
