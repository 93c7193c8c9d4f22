"""The laps of everything said, once more is known: a hidden Markov model of a car's reports.

The state is the lap that a report is of. From one report to the next so many laps go by, by the
time between them and by how long a lap takes; some reports are not heard, some laps take longer
than others (neutralised, or with a stop). What a report says of its lap, most often only its last
figure, is what is observed. Forward and backward sums give each lap its probability (L. R. Rabiner,
"A tutorial on hidden Markov models", 1989).

Where a book has no lap to say, what tells is how the values went on between two reports: by the
drift of the fields and the time together, so that a report that is lost moves none behind it. What
is doubtful may be no report at all: the laps are weighed with it and without it, and the likeliest
way through all of them is taken, as sure as the sums say.

Where a file tells when laps began, a report is of the lap that was driven, or of the one just ended
where this driver's reports come as the line is crossed, or a few seconds behind it: which of both
is told by all of them together.

Everything else stands between reports. A lap begins at the same part of the way from one report to
the next all race long; where the recording begins with the race, its first report tells which.
"""

from __future__ import annotations

import math
import operator
import statistics
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import pairwise
from typing import TypeVar

from codec.lap_report import lap_field, lap_message
from codec.radio.exchange import Draft
from codec.radio.forms import LeftOut
from codec.radio.laps import LapTimes
from codec.radio.outlook import (
    SAID,
    USUAL,
    flat_fit,
    lap_counts,
    lap_odds,
    level_of_lap,
    values_fit,
)
from codec.sheet.entry import Entry, LapBy
from codec.sheet.state import NEUTRALISED, RESUMED, STOPPED
from grammar.book import Book

_IN_ORDER = 2000  # milliseconds: lines may be so far out of their order
_MOST_HELD = 400  # drafts that wait for a later report
_MOST_REPORTS = 24  # of a car, that tell of each other
_PHASE = 0.5  # of a lap gone by at a report, where nothing tells
_SEEN = (0.02, 1.3)  # what it may be by the first report
_PHASE_SPREAD, _PHASE_UNKNOWN = 0.05, 0.3
_LIKELY = 0.5
_LEAST, _UNLIKELY = 1e-9, 1e-5  # of laps, and of laps from one report to the next
_MOST_KEPT = 10_000
_MOST_LAPS = 16  # that a report may be of
_ASTRAY = 2  # laps about a first report that is of none
_STEP = 250.0  # milliseconds to which the length of a lap is told
_ABOUT = ("readback", "question", "answer")  # on the lap of what they are about
_TOLD = ("given", "time")  # by somebody, or by when laps began
_BEHIND, _BEHIND_UNSAID = 2, 6  # reports that must follow before one is put on its lap
_MOST_DOUBTFUL = 4  # in a row
# how likely something doubtful is a report of a lap, and against that, that it is none: where times
# tell, it may have come at any moment, a report comes when it is due
_REPORT, _NO_REPORT = 0.6, 0.4 * 0.3
_REPORT_UNTIMED, _NO_REPORT_UNTIMED = 0.4, 0.6
_BEGINS = 0.5  # how often a recording begins with the race, and otherwise: common practice
_BEFORE = 0.1  # and how likely it began any one lap before
_MISSED = 0.12  # how often a report before the first one heard is lost
_AT_THE_LINE = 8_000  # milliseconds behind the line: reports later are of the lap begun, as often
_AT_THE_LINE_SPREAD = 4_000  # as not of the one ended at that moment; common practice, no source
_SLOWLY = 0.3  # how likely laps of a neutralised race are of any one length
_NEARLY = 0.85  # of a usual lap: what one takes at least then
_SHORTEST, _LONGEST = 20_000, 600_000  # milliseconds of a lap
_PARTS = 3  # laps that the time between two reports may be
_ALIKE = 0.02  # of a lap: lengths so near are one
_UNUSUAL = 3.0  # against a length that is not usual
_DAY = 86_400_000 * 30  # milliseconds: times beyond are of the clock, not of the recording


@dataclass(slots=True)
class _Report:
    """A report of a car: when, the lap said (None where none is), and how likely each lap is.

    ``levels`` are of its values where they tell of laps, ``earlier`` are the laps that it may be of
    by the reports before it, and one that is not ``sure`` may be no report of a lap at all.
    """

    at: int | None
    uid: str
    said: int | None
    order: int | None = None
    levels: Mapping[str, int] | None = None
    sure: bool = True
    laps: dict[int, float] = field(default_factory=dict)
    lap: int | None = None
    earlier: dict[int, float] = field(default_factory=dict)
    moved: dict[tuple[str, int], float] = field(default_factory=dict)

    @property
    def counts(self) -> bool:
        """Tell whether it is likely a report of a lap."""
        return self.sure or sum(self.laps.values()) >= _LIKELY


@dataclass(slots=True)
class _CarLaps:
    reports: list[_Report] = field(default_factory=list)
    fresh: bool = False
    unsaid: tuple[float | None] | None = None  # the length of a lap where none is said
    shift: int = 0  # of the laps of the last report, against their order
    phase: tuple[float, float] | None = None  # once the first report is forgotten

    def length(self) -> float | None:
        """Return the milliseconds of a usual lap, by the laps that are said."""
        known = [one for one in self.reports if one.said is not None]
        lengths = sorted(
            (after.at - before.at) / (after.said - before.said)
            for before, after in pairwise(known)
            if before.at is not None and after.at is not None
            if before.said is not None and after.said is not None and after.said > before.said
        )
        return _met_again(lengths[len(lengths) // 2]) if lengths else None


def _met_again(length: float) -> float:
    """Return a length of a lap so that what is kept of it is met again."""
    return max(_STEP, round(length / _STEP) * _STEP)


_Fact = TypeVar("_Fact")
_Way = tuple[int, Mapping[int, float]]  # the place of a report, and the weights of laps since


class LapModel:
    """Puts what was said on its lap; ``start`` is when the recording began, if that is known."""

    def __init__(
        self, book: Book, after: dict[str, int] | None = None, times: LapTimes | None = None
    ) -> None:
        """Begin with nothing known, but for when laps began where somebody took the ``times``."""
        self.book, self._lap, self._message = book, lap_field(book), lap_message(book)
        self._behind = _BEHIND if self._lap else _BEHIND_UNSAID
        self._after, self._times = after or {}, times
        # by car, when reports were said, and how far behind the line
        self._timed: dict[str, deque[tuple[int, int]]] = {}
        self._cars: dict[str, _CarLaps] = {}
        self._held: deque[Draft] = deque()
        self._moved: dict[str, tuple[int | None, LapBy, float | None]] = {}
        self._sure: dict[str, float] = {}
        self._says_so: dict[tuple[int, int], float] = {}
        self._slow: list[tuple[int, float]] = []  # from when to when the race was neutralised
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
        if entry.kind == "event":
            self._observe_fact(entry)
            return
        reported = entry.kind in ("report", "correction") and entry.message in (self._message, "")
        if reported and entry.lap_by == "time" and entry.accepted:
            self._observe_timed(entry)
        if not reported or entry.lap_by == "time" or not self._message:
            return
        if entry.at is None and self._lap:
            return
        car = self._cars.setdefault(entry.car, _CarLaps())
        said = entry.lap if entry.accepted and entry.lap_by in ("said", "given") else None
        report = _Report(entry.at, draft.about or entry.uid, said, entry.lap, lap=entry.lap)
        if not self._lap:
            report.sure = entry.accepted
            report.levels = self._levels(entry) if report.sure else None
        if entry.kind == "correction":
            for place, one in enumerate(car.reports):
                if one.uid == draft.about:
                    del car.reports[place]
                    report.at = one.at
                    car.reports.insert(place, report)
                    break
            else:
                car.reports.append(report)
        else:
            car.reports.append(report)
        if all(one.at is not None for one in car.reports):
            car.reports.sort(key=lambda one: one.at or 0)
        if len(car.reports) > (_MOST_REPORTS if self._lap else 2 * _MOST_REPORTS):
            self._forget(car, entry.car)
        car.fresh, car.unsaid = False, None

    def _observe_timed(self, entry: Entry) -> None:
        """Take how long behind the line a report was said, or before it."""
        lines = [] if self._times is None else self._times.lines(entry.car)
        if entry.at is not None and lines:
            at = entry.at
            apart = min((at - start for start, _ in lines), key=abs)
            behind = self._timed.setdefault(entry.car, deque(maxlen=_MOST_REPORTS))
            behind.append((at, apart))

    def _observe_fact(self, entry: Entry) -> None:
        """Take that laps take longer from now on, or no more."""
        open_now = bool(self._slow) and self._slow[-1][1] == math.inf
        if entry.at is None:
            return
        if entry.message in (NEUTRALISED, STOPPED) and not open_now:
            self._slow.append((entry.at, math.inf))
        elif entry.message == RESUMED and open_now:
            self._slow[-1] = self._slow[-1][0], entry.at
        for car in self._cars.values():
            car.fresh, car.unsaid = False, None

    def _levels(self, entry: Entry) -> Mapping[str, int] | None:
        """Return the levels of what an entry says; None where that is nothing."""
        fields = self.book.fields
        return {
            name: fields[name].level(value).level
            for name, value in entry.values.items()
            if name in fields
        } or None

    def _forget(self, car: _CarLaps, name: str) -> None:
        """Keep the last reports of a car; of those before, what they tell of the first kept."""
        car.phase = car.phase or self._phase(car, self._length(car))
        first = len(car.reports) - _MOST_REPORTS
        if not self._lap:
            self._sum(car, name)
            while first < len(car.reports) - 1 and not car.reports[first].sure:
                first += 1
        del car.reports[:first]

    def _known(self, draft: Draft, since: int | None) -> bool:
        """Tell whether enough is known to put a draft on its lap, and nothing said before it
        waits.
        """
        entry = draft.entry
        if since is not None and entry.at is not None and entry.at > since:
            return False
        if self._of_report(draft):
            at, told = entry.at, self._timed.get(entry.car, ())
            return at is None or sum(one > at for one, _ in told) >= _BEHIND_UNSAID
        if not self._open(entry) or not self._message or (entry.at is None and self._lap):
            return True
        car = self._cars.get(entry.car)
        if car is None:
            return entry.at is None
        if entry.at is not None:
            behind = sum((one.at or 0) > entry.at for one in car.reports)
            return behind >= self._behind
        uids = [one.uid for one in car.reports]
        uid = draft.about or entry.uid
        return uid not in uids or len(uids) - 1 - uids.index(uid) >= self._behind

    @staticmethod
    def _open(entry: Entry) -> bool:
        """Tell whether the lap of an entry is only supposed."""
        return entry.kind != "car" and entry.lap_by in ("", "order")

    def _placed(self, draft: Draft) -> Draft:
        entry, car = draft.entry, self._cars.get(draft.entry.car)
        if draft.about in self._moved and (self._open(entry) or self._of_report(draft)):
            lap, known_by, sure = self._moved[draft.about]
            entry = entry.replace(
                lap=lap, lap_by="" if lap is None else known_by, lap_certainty=sure
            )
            return replace(draft, entry=entry)
        if draft.about and entry.lap is not None and entry.kind in _ABOUT:
            return replace(draft, entry=entry.replace(lap_certainty=self._sure.get(draft.about)))
        if self._of_report(draft) and entry.at is not None:
            lap, sure = self._by_the_line(entry.car, entry.at, entry.lap)
            self._keep(self._moved, entry.uid, (lap, "time", sure))
            return replace(draft, entry=entry.replace(lap=lap, lap_certainty=sure))
        if entry.lap_by in _TOLD:
            return replace(draft, entry=entry.replace(lap_certainty=1.0))
        if car is None or not self._message or (entry.at is None and self._lap):
            return draft
        if not car.fresh:
            self._sum(car, entry.car)
        uid = draft.about if entry.kind == "correction" else entry.uid
        own = next((one for one in car.reports if one.uid == uid), None)
        if not self._open(entry):
            if own is None or entry.lap is None:
                return draft
            self._keep(self._sure, uid, min(1.0, own.laps.get(entry.lap, 0.0)))
            return replace(draft, entry=entry.replace(lap_certainty=self._sure[uid]))
        return self._supposed(draft, car, own if own is not None and own.counts else None)

    def _of_report(self, draft: Draft) -> bool:
        """Tell whether an entry is a lap report whose lap the times tell."""
        entry = draft.entry
        reported = entry.kind in ("report", "correction") and entry.message in (self._message, "")
        return reported and entry.lap_by == "time" and self._times is not None

    def _by_the_line(self, car: str, at: int, lap: int | None) -> tuple[int | None, float]:
        """Return the lap of a report said at a moment, by when laps began, and how likely: of the
        lap ended, where reports are said as the line is crossed.
        """
        lines, behind = self._times.lines(car) if self._times else [], self._timed.get(car)
        if not lines or not behind:
            return lap, 1.0
        if len(lines) > 1:  # the last lap ends as well
            length = statistics.median(b[0] - a[0] for a, b in pairwise(lines))
            lines = [*lines, (round(lines[-1][0] + length), lines[-1][1] + 1)]
        middle = statistics.median(apart for _, apart in behind)
        place = min(range(len(lines)), key=lambda n: abs(at - lines[n][0] - middle))
        begun = lines[place][1]
        ended = 0.5 * math.erfc((middle - _AT_THE_LINE) / _AT_THE_LINE_SPREAD / math.sqrt(2))
        if ended > 0.5 and begun > 1:
            return begun - 1, ended
        return begun, 1 - ended if begun > 1 else 1.0

    def _supposed(self, draft: Draft, car: _CarLaps, own: _Report | None) -> Draft:
        """Return what is on a lap that nobody told: as its ``own`` report is, else as the time
        tells.
        """
        entry = draft.entry
        if own is not None and own.laps:
            lap, sure = own.lap, own.laps.get(own.lap or 0, 0.0)
        elif entry.at is None:
            return self._in_order(draft, car)
        else:
            lap, sure = self._between(car, entry.at, self._after.get(entry.car, 0))
        if sure <= 0:
            return draft
        if own is not None and lap is not None and entry.lap is not None:
            car.shift = lap - entry.lap
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

    def _in_order(self, draft: Draft, car: _CarLaps) -> Draft:
        """Return what was said between reports, where there are no times: on the lap behind the
        last one.
        """
        entry = draft.entry
        if entry.lap is None or not car.shift:
            return draft
        lap = max(1, entry.lap + car.shift)
        self._keep(self._moved, entry.uid, (lap, entry.lap_by, None))
        return replace(draft, entry=entry.replace(lap=lap))

    # how likely each lap is

    def _sum(self, car: _CarLaps, name: str) -> None:
        """Work out how likely each lap is for each report: forward and backward."""
        length, reports = self._length(car), car.reports
        car.fresh = True
        if all(
            before.said is not None and after.said is not None and before.said < after.said
            for before, after in pairwise([_Report(0, "", -1), *reports])
        ):
            for report in reports:
                report.laps, report.lap = {report.said or 0: 1.0}, report.said
            return
        ways = self._ways(reports, length)
        begins = [
            self._first(one, car, name, length) if self._none_before(reports, place) else {}
            for place, one in enumerate(reports)
        ]
        for place, laps in enumerate(begins):
            left = math.prod(_passed_over(one) for one in reports[:place])
            begins[place] = {
                lap: share * left * _taken(reports[place]) for lap, share in laps.items()
            }
        forward, weights = self._through(reports, ways, begins, operator.add)
        whole = sum(
            sum(laps.values()) * math.prod(_passed_over(one) for one in reports[place + 1 :])
            for place, laps in enumerate(forward)
        )
        likeliest = weights
        if not self._lap:
            _, likeliest = self._through(reports, ways, begins, max)
        for report, laps, earlier, best in zip(reports, weights, forward, likeliest, strict=True):
            report.laps = {lap: weight / whole for lap, weight in laps.items()} if whole else {}
            report.earlier = _scaled(earlier)
            report.lap = max(best, key=best.__getitem__) if best else report.order

    @staticmethod
    def _none_before(reports: Sequence[_Report], place: int) -> bool:
        return not any(one.sure for one in reports[:place])

    def _ways(self, reports: Sequence[_Report], length: float | None) -> list[list[_Way]]:
        """Return for each report those that may come before it, and the weights of so many laps
        between: where what stands between may be none, several.
        """
        ways: list[list[_Way]] = []
        for place, report in enumerate(reports):
            found, left = list[_Way](), _taken(report)
            for earlier in range(place - 1, max(-1, place - 2 - _MOST_DOUBTFUL), -1):
                before = reports[earlier]
                counts = self._counts(reports[: earlier + 1], report, length)
                most = max(counts.values())
                found.append(
                    (earlier, {n: left * p for n, p in counts.items() if p > _UNLIKELY * most})
                )
                if before.sure:
                    break
                left *= _passed_over(before)
            ways.append(found)
        return ways

    def _counts(
        self, reports: Sequence[_Report], report: _Report, length: float | None
    ) -> Mapping[int, float]:
        """Return the weights of so many laps from the last of some reports to another: by time, and
        by how the values went on, since the last one that could be read.
        """
        before = reports[-1]
        by_time = self._by_time(before, report, length)
        valued = next((one for one in reversed(reports) if one.levels is not None), None)
        if valued is None or report.levels is None or self._slowly(valued, report):
            return by_time
        more = 0
        if valued is not before:
            since = self._by_time(valued, before, length)
            more = max(since, key=since.__getitem__)
        most = max(by_time.values()) * _LEAST
        return {
            count: share * self._went_on(valued, report, count + more)
            for count, share in by_time.items()
            if share > most
        }

    def _by_time(
        self, before: _Report, report: _Report, length: float | None
    ) -> Mapping[int, float]:
        """Return the weights of so many laps from one report to another by the time between."""
        odds = lap_odds(before.at, report.at, length)
        if length is None or not self._slowly(before, report):
            return odds
        gone = (report.at or 0) - (before.at or 0)
        return {
            count: share
            + (count == 1 or 0 < count * length * _NEARLY <= gone)
            * _SLOWLY
            * _MISSED ** (count - 1)
            for count, share in odds.items()
        }

    def _slowly(self, before: _Report, report: _Report) -> bool:
        """Tell whether the race was neutralised between two reports, or in a part of that time."""
        if self._lap or before.at is None or report.at is None:
            return False
        return any(start < report.at and before.at < end for start, end in self._slow)

    def _went_on(self, before: _Report, report: _Report, count: int) -> float:
        """Return how likely values are so many laps after others, against any values at all."""
        if before.levels is None or report.levels is None:
            return 1.0
        key = before.uid, count
        if key not in report.moved:
            levels, laps = report.levels, max(1, count)  # said again, they may be those of later
            fit = values_fit(self.book, before.levels, levels, laps) - flat_fit(self.book, levels)
            report.moved[key] = math.exp(fit)
        return report.moved[key]

    def _through(
        self,
        reports: Sequence[_Report],
        ways: Sequence[Sequence[_Way]],
        begins: Sequence[Mapping[int, float]],
        add: Callable[[float, float], float],
    ) -> tuple[list[dict[int, float]], list[dict[int, float]]]:
        """Return the weights of the laps of each report by those before it, and by all: summed over
        every way through the laps, or, with the greatest for a sum, of the likeliest way.
        """
        forward: list[dict[int, float]] = []
        for report, before, begin in zip(reports, ways, begins, strict=True):
            laps = dict(begin)
            for place, counts in before:
                for lap, share in forward[place].items():
                    for count, likely in counts.items():
                        of = lap + count
                        laps[of] = add(laps.get(of, 0.0), share * likely)
            forward.append(_kept(self._told(report, laps)))
        backward: list[dict[int, float]] = []
        for place, laps in enumerate(forward):
            left = math.prod(_passed_over(one) for one in reports[place + 1 :])
            backward.append(dict.fromkeys(laps, left))
        for place in range(len(reports) - 1, 0, -1):
            worth = {n: self._says(reports[place], n) * p for n, p in backward[place].items()}
            for earlier, counts in ways[place]:
                behind = backward[earlier]
                for lap in behind:
                    for count, likely in counts.items():
                        if lap + count in worth:
                            behind[lap] = add(behind[lap], likely * worth[lap + count])
        return forward, [
            {lap: share * behind[lap] for lap, share in laps.items()}
            for laps, behind in zip(forward, backward, strict=True)
        ]

    def _length(self, car: _CarLaps) -> float | None:
        """Return the milliseconds of a usual lap: by the laps said, else as explains best the time
        between reports and how their values went on.
        """
        said = car.length()
        if said is not None or self._lap:
            return said
        if car.unsaid is None:
            car.unsaid = (self._fitting([one for one in car.reports if one.sure]),)
        return car.unsaid[0]

    def _fitting(self, reports: Sequence[_Report]) -> float | None:
        steps = [
            (before, after, after.at - before.at)
            for before, after in pairwise(reports)
            if before.at is not None and after.at is not None and after.at > before.at
            if not self._slowly(before, after)
        ]
        lengths = sorted(gap / parts for _, _, gap in steps for parts in range(1, _PARTS + 1))
        apart: list[float] = []
        for length in lengths:
            if _SHORTEST <= length <= _LONGEST and (not apart or length > apart[-1] * (1 + _ALIKE)):
                apart.append(length)
        if len(steps) < 2 or not apart:
            return None

        def weights(step: tuple[_Report, _Report, int], length: float) -> dict[int, float]:
            before, after, gap = step
            odds = lap_odds(0, gap, _met_again(length))
            return {n: share * self._went_on(before, after, n) for n, share in odds.items()}

        def fit(length: float) -> float:
            usual = USUAL[0] <= length <= USUAL[1]
            logs = (math.log(sum(weights(step, length).values())) for step in steps)
            return sum(logs) - (0.0 if usual else _UNUSUAL)

        best = max(apart, key=fit)
        each = []
        for step in steps:
            counts = weights(step, best)
            if count := max(counts, key=counts.__getitem__):
                each.append(step[2] / count)
        return _met_again(sorted(each)[len(each) // 2] if each else best)

    def _first(
        self, report: _Report, car: _CarLaps, name: str, length: float | None
    ) -> dict[int, float]:
        """Return the laps that a first report may be of."""
        if report.earlier and not self._lap:
            return report.earlier  # by those that are forgotten
        if report.said is not None:
            return _about(report.said)
        said = next((one for one in car.reports if one.said is not None), None)
        if said is not None and said.said is not None:
            counts = lap_counts(report.at, said.at, length)
            return {said.said - n: share for n, share in counts.items() if said.said - n > 0} or {
                1: 1.0
            }
        if self._lap:
            return {max(1, report.order or 1): 1.0}
        first = self._after.get(name, 0) + 1
        if report.at is None or length is None or first > 1:
            return {first: 1.0}
        gone = self._since_start(report.at)
        if gone is None or gone / length <= _SEEN[1]:
            return {first: 1.0}
        later = {
            lap: _BEGINS * _MISSED ** (lap - 1)
            for lap in range(2, 2 + int(gone / length))
            if _SEEN[0] <= gone / length - (lap - 1) <= _SEEN[1]
        }
        return later | {first: (1 - _BEGINS) * _BEFORE}

    def _since_start(self, at: int) -> int | None:
        """Return how long the recording ran before a moment; None where nobody knows."""
        if at <= _DAY:
            return at
        return None if self.start is None else at - self.start

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
        first = next((one for one in car.reports if one.lap is not None and one.counts), None)
        if first is None or first.lap is None or first.at is None or length is None:
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
        known = [
            (one.at, one.lap, one.laps.get(one.lap, 1.0))
            for one in car.reports
            if one.at is not None and one.lap is not None and one.counts
        ]
        length = self._length(car)
        if not known or (length is None and len(known) < 2):
            return None, 0.0
        before = max((one for one in known if one[0] <= at), default=None)
        behind = min((one for one in known if one[0] > at), default=None)
        phase, spread = self._phase(car, length)
        if before is not None and behind is not None and before[1] < behind[1]:
            gone = (at - before[0]) / (behind[0] - before[0]) * (behind[1] - before[1])
        else:
            gone = (at - (before or behind or (at,))[0]) / (length or math.inf)
        _, last, last_sure = before or behind or (at, 0, 0.0)
        place = last + phase + gone
        lap = math.floor(place)
        near = min(place - lap, lap + 1 - place)
        sure = 0.5 * (1 + math.erf(near / spread / math.sqrt(2)))
        return (lap if lap > after else None), sure * last_sure


def _about(said: int) -> dict[int, float]:
    """Return the laps of a first report that says one: that one, unless it is of no lap at all."""
    near = range(max(1, said - _ASTRAY), said + _ASTRAY + 1)
    return {lap: 1.0 if lap == said else 1 - SAID for lap in near} | {said: 1.0}


def _kept(weights: dict[int, float]) -> dict[int, float]:
    """Return weights without those that are next to nothing."""
    whole = sum(weights.values())
    likely = sorted(weights, key=weights.__getitem__, reverse=True)[:_MOST_LAPS]
    return {lap: weights[lap] for lap in likely if weights[lap] > _LEAST * whole}


def _scaled(weights: Mapping[int, float]) -> dict[int, float]:
    """Return weights as shares of their sum."""
    whole = sum(weights.values())
    return {lap: weight / whole for lap, weight in weights.items()} if whole else {}


def _taken(report: _Report) -> float:
    """Return the weight of a report being one of a lap."""
    if report.sure:
        return 1.0
    return _REPORT_UNTIMED if report.at is None else _REPORT


def _passed_over(report: _Report) -> float:
    """Return the weight of a report being none of a lap."""
    if report.sure:
        return 0.0
    return _NO_REPORT_UNTIMED if report.at is None else _NO_REPORT
