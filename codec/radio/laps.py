"""Which lap a report stands against: the one it says, the one the clock says, or the next one."""

from __future__ import annotations

import bisect
import csv
import itertools
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from codec.lap_report import lap_field
from codec.radio.forms import milliseconds
from codec.reading import Reading
from codec.sheet.entry import LapBy, SheetError
from codec.sheet.state import MOST_LAP
from grammar.book import Book
from grammar.exact import whole
from grammar.fields import Value


def whole_lap(value: Value | None) -> int | None:
    """Return the lap that a field's value is; None for a value that is no whole number."""
    whole = isinstance(value, Decimal) and value == value.to_integral_value()
    return int(value) if isinstance(value, Decimal) and whole else None


def near_lap(book: Book, lap: int | None) -> dict[str, Any]:
    """Return what restores a wrapped lap as the nearest to one, and never below nought."""
    name = lap_field(book)
    if not name or lap is None:
        return {}
    remainders = book.fields[name].progression if book.fields[name].wraps else None
    return {name: lap if remainders is None else max(remainders.last / 2, lap)}


def without_report(reported: Iterable[int], lap: int) -> str:
    """Return in words the laps between the last of those reported and a lap, "" where there are
    none.
    """
    last = max(reported, default=lap)
    if lap <= last + 1:
        return ""
    return f"lap {last + 1}" if lap == last + 2 else f"laps {last + 1} to {lap - 1}"


def _start(start: str | None, lap: str | None) -> tuple[int, int]:
    """Return when a lap began, and the lap; raises ValueError."""
    at = milliseconds(start or None)
    if at is None:
        raise ValueError("a time is missing: when the lap began is expected")
    try:
        return at, whole(lap or "", 0, MOST_LAP)
    except ValueError as error:
        raise ValueError(f"no lap: {error}") from None


class LapTimes:
    """When each lap of each car began, in milliseconds, from a file of car, lap, start."""

    def __init__(self, starts: Mapping[str, Iterable[tuple[int, int]]]) -> None:
        """Take (start, lap) pairs by car."""
        self._starts = {car: sorted(pairs) for car, pairs in starts.items()}

    @classmethod
    def read(cls, lines: Iterable[str], name: str) -> LapTimes:
        """Read a CSV with the columns car, lap, start (seconds, or ISO 8601); raises SheetError."""
        rows, starts = csv.DictReader(lines), dict[str, list[tuple[int, int]]]()
        try:
            if not {"car", "lap", "start"} <= set(rows.fieldnames or ()):
                raise SheetError(
                    f"{name}: columns car, lap, start are expected",
                    kind="lap-times",
                    hint="the first line names the columns",
                )
            for row in rows:
                starts.setdefault(row["car"] or "", []).append(_start(row["start"], row["lap"]))
        except SheetError:
            raise
        except (ValueError, csv.Error) as error:
            raise SheetError(f"{name}, line {rows.line_num}: {error}", kind="lap-times") from None
        for car, pairs in starts.items():
            pairs.sort()
            for (before, lap), (at, following) in itertools.pairwise(pairs):
                if at == before or following <= lap:
                    message = (
                        f"{name}: car {car} begins lap {lap} at {before / 1000:g} s and lap"
                        f" {following} at {at / 1000:g} s"
                    )
                    raise SheetError(
                        message, kind="lap-times", expected=["laps that begin one after the other"]
                    )
        return cls(starts)

    def lines(self, car: str) -> list[tuple[int, int]]:
        """Return when a car crossed the line, and the lap that it began there, in order."""
        return self._starts.get(car, [])

    def at(self, car: str, moment: int | None) -> int | None:
        """Return the lap a car was on."""
        starts = self._starts.get(car)
        if not starts or moment is None:
            return None
        place = bisect.bisect_right(starts, (moment, 10**9)) - 1
        return starts[place][1] if place >= 0 else None


class LapKeeper:
    """Knows the lap of one car from one report to the next."""

    def __init__(self, book: Book, car: str, times: LapTimes | None = None, last: int = 0) -> None:
        """Begin behind lap ``last``."""
        self.car, self.last, self._times, self._field = car, last, times, lap_field(book)
        field = book.fields.get(self._field)
        self._remainders = field.progression if field is not None and field.wraps else None
        cars = book.sent_by("car")
        # without a lap field every report of the first message is one more lap
        self._counted = "" if self._field or not cars else cars[0].name

    def expected(self, at: int | None) -> int:
        """Return the lap the next report is expected to be of."""
        timed = self._timed(at)
        return self.last + 1 if timed is None else timed

    def _timed(self, at: int | None) -> int | None:
        """Return the lap the clock says, None where nobody knows when laps began."""
        return self._times.at(self.car, at) if self._times else None

    def context(self, at: int | None, likely: int | None = None) -> dict[str, Any]:
        """Return what restores a wrapped lap: the lap expected, up to two before it, else the ones
        after it, for races run forward; where another lap is ``likely`` by the clock, as many
        before it as after it.
        """
        if self._remainders is None:
            return {self._field: self.expected(at)} if self._field else {}
        half = self._remainders.last / 2
        first = self.expected(at) - 2
        if likely is not None:
            middle = likely - int(half)
            first = middle if likely <= self.last else max(first, middle)
        return {self._field: max(half, first + half)}

    def of(self, reading: Reading, at: int | None, given: int | None) -> tuple[int | None, LapBy]:
        """Return the lap of a report and how it is known; the next one is expected behind a lap
        report, and behind anything that says its lap.
        """
        lap, lap_by = self._of(reading, at, given)
        of_lap = lap_by == "said" or reading.message == self._counted
        if lap is not None and of_lap and reading.direction == "car":
            self.last = max(self.last, lap)
        return lap, lap_by

    def said(self, reading: Reading) -> int | None:
        """Return the lap that a report says."""
        return whole_lap(reading.values.get(self._field))

    def _of(self, reading: Reading, at: int | None, given: int | None) -> tuple[int | None, LapBy]:
        said = self.said(reading)
        if said is not None:
            return said, "said"
        if given is None and self._timed(at) is None and reading.message == self._counted:
            return self.last + 1, "order"
        return self.now(at, given)

    def of_unread(
        self, perhaps: int | None, at: int | None, given: int | None
    ) -> tuple[int, LapBy]:
        """Return the lap of a report that can't be read, of which most likely lap ``perhaps`` was
        said (None if nobody knows).
        """
        if given is not None:
            return given, "given"
        return (self.expected(at), "order") if perhaps is None else (perhaps, "said")

    def now(self, at: int | None, given: int | None) -> tuple[int | None, LapBy]:
        """Return the lap of anything that is no lap report: the one being driven, None before
        there is any report to tell.
        """
        if given is not None:
            return given, "given"
        timed = self._timed(at)
        if timed is not None:
            return timed, "time"
        return (self.last + 1, "order") if self.last else (None, "")
