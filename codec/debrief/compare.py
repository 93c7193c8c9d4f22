"""What was said held against what the car recorded, lap by lap.

Where the driver's words are known (``said`` in the car's file), a report that differs from the dash
was *read wrong* if the words differ from it, and *heard wrong* if what was heard differs from the
words; it may be both. Where they are not known, the two can't be told apart, and nothing is
guessed: the report is *wrong*. A report that tells what the dash showed on an earlier lap, or that
came after the following lap had ended, is *late*. Values that differ from the recorded ones by no
more than the code rounds are *rounding only*.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from codec.debrief.findings import Comparison, Finding, Verdict
from codec.debrief.recorded import CarFile, RecordedLap
from codec.debrief.symbols import Aligned, heard_symbols, side_by_side, string_of
from codec.encoding import encode
from codec.lap_report import lap_message
from codec.sheet.entry import Entry
from codec.sheet.state import Row, rows
from grammar.book import Book
from grammar.errors import CodeError
from grammar.exact import difference
from grammar.fields import Value
from grammar.message import Message

_EARLIER = 3  # laps back to which a report that is late may belong


def compare(
    book: Book, entries: Iterable[Entry], recorded: CarFile, *, car: str, message: str | None = None
) -> Comparison:
    """Return what is found of one car's reports; ``message`` names the lap report, by default the
    car's first message of the book.
    """
    report = book.messages[message if message is not None else lap_message(book)]
    found = Comparison(unused=recorded.unused)
    by_lap: dict[int, list[Row]] = {}
    for row in rows(entries):
        entry = row.entry
        if (
            row.first.kind == "report"
            and entry.car == car
            and entry.lap is not None
            and entry.message in ("", report.name)
        ):
            by_lap.setdefault(entry.lap, []).append(row)
    for lap in sorted(by_lap.keys() | recorded.laps.keys()):
        _Lap(book, report, recorded, lap, found).judge(by_lap.get(lap, []))
    return found


@dataclass(frozen=True, slots=True)
class _Attempt:
    """One time a report was heard: the entry, and whether it stands in the sheet."""

    entry: Entry
    stands: bool


def _attempts(listed: Iterable[Row]) -> list[_Attempt]:
    """Return every time the report of a lap was heard, in order."""
    attempts: list[_Attempt] = []
    for row in listed:
        heard = [row.first]
        heard += [
            entry for entry in row.corrections if entry.heard and entry.heard != heard[-1].heard
        ]
        standing = row.entry if row.counts else None
        for number, entry in enumerate(heard):
            last = number == len(heard) - 1
            attempts.append(
                _Attempt(entry, standing is not None and last and standing.values == entry.values)
            )
    return attempts


class _Lap:
    def __init__(
        self, book: Book, report: Message, recorded: CarFile, lap: int, found: Comparison
    ) -> None:
        self.book, self.report, self.recorded, self.lap, self.found = (
            book,
            report,
            recorded,
            lap,
            found,
        )

    def judge(self, listed: list[Row]) -> None:
        """Judge every attempt at the lap's report."""
        recorded = self.recorded.lap(self.lap)
        attempts = _attempts(listed)
        if recorded is None or not (
            recorded.dash
            or recorded.values
            or any(string_of(self.book, said) for said in recorded.said)
        ):
            self.found.findings.append(
                Finding(self.lap, "not recorded", attempts[0].entry.seq if attempts else 0)
            )
            return
        if not attempts:
            self.found.findings.append(Finding(self.lap, "no report", dash=self._dash(recorded)))
        for number, attempt in enumerate(attempts):
            self._attempt(attempt, recorded, self._said(recorded, number))
        if attempts and not any(attempt.stands for attempt in attempts):
            self.found.findings.append(
                Finding(
                    self.lap,
                    "no report",
                    dash=self._dash(recorded),
                    note="refused, and not said again",
                )
            )

    def _said(self, recorded: RecordedLap, number: int) -> str:
        return (
            string_of(self.book, recorded.said[min(number, len(recorded.said) - 1)])
            if recorded.said
            else ""
        )

    def _dash(self, recorded: RecordedLap) -> str:
        """Return what the dash showed: as recorded, else what the recorded values are said as; ""
        if that can't be told.
        """
        if recorded.dash:
            return recorded.dash
        values: dict[str, object] = {
            name: value for name, value in recorded.values.items() if name in self.report.fields
        }
        for name, field_ in self.report.fields.items():
            if name not in values and field_.wraps:
                values[name] = recorded.lap
        try:
            return encode(self.book, values, self.report.name).string
        except CodeError:
            return ""

    def _attempt(self, attempt: _Attempt, recorded: RecordedLap, said: str) -> None:
        entry, dash = attempt.entry, self._dash(recorded)
        by_field = entry.accepted and not entry.string  # a part of a report, told field by field
        said = "" if by_field else said
        raw = [] if entry.string or by_field else heard_symbols(self.book, entry.heard)
        symbols = list(entry.string) or [heard.symbol for heard in raw]
        heard = "".join(symbol or "?" for symbol in symbols)
        aligned = side_by_side(said, symbols) if said else None
        late = self._late(entry, said or heard, dash)
        self._count(dash, said, symbols, aligned, late=bool(late))
        if len(said) == len(raw):
            self.found.foreign += [
                (symbol, heard.word)
                for symbol, heard in zip(said, raw, strict=True)
                if not heard.symbol
            ]
        values = entry.values if entry.accepted or entry.string else {}
        wrong_fields = self._differing(values, dash)
        verdicts: list[tuple[Verdict, str]] = [("late", late)] if late else []
        if said:
            if dash and said != dash and not late and self._other_reading(said, dash):
                verdicts.append(("read wrong", ""))
            if aligned is not None and (aligned.wrong or aligned.lost or aligned.added):
                verdicts.append(("heard wrong", ""))
        elif (
            not late
            and (wrong_fields or (not entry.string and not by_field and heard != dash))
            and not self._only_rounded(values, recorded)
        ):
            verdicts.append(("wrong", "read or heard: the driver's words are not known"))
        for verdict, note in verdicts:
            words = aligned.wrong if aligned is not None and verdict == "heard wrong" else ()
            self.found.findings.append(
                Finding(
                    self.lap,
                    verdict,
                    entry.seq,
                    not attempt.stands,
                    dash,
                    said,
                    heard,
                    wrong_fields,
                    words,
                    note=note,
                )
            )
        if not verdicts and attempt.stands:
            self._agrees(entry, recorded, dash, said, heard)

    def _agrees(
        self, entry: Entry, recorded: RecordedLap, dash: str, said: str, heard: str
    ) -> None:
        largest = {name: gap for name, gap in self._gaps(entry.values, recorded).items() if gap}
        verdict: Verdict = "rounding only" if largest else "as recorded"
        self.found.findings.append(
            Finding(
                self.lap,
                verdict,
                entry.seq,
                False,
                dash,
                said,
                heard,
                tuple(largest),
                largest=largest,
            )
        )

    def _count(
        self, dash: str, said: str, symbols: list[str], aligned: Aligned | None, *, late: bool
    ) -> None:
        """Count words: those said against those heard where they are known, or nothing differs; and
        what was read off the dash.
        """
        if aligned is None and dash == "".join(symbols):
            aligned = side_by_side(dash, symbols)
        if aligned is not None:
            self.found.heard += [pair for pair in aligned.pairs if pair[1]]
            self.found.heard += [(symbol, "") for symbol in aligned.lost] + [
                ("", symbol) for symbol in aligned.added
            ]
            self.found.marks += [aligned.marks] if aligned.marks else []
        if dash and said and not late:
            read = side_by_side(dash, list(said)).pairs
            self.found.read += read
            self.found.swapped += sum(
                one == other[::-1] and one[0] != one[1] for one, other in itertools.pairwise(read)
            )

    def _late(self, entry: Entry, said: str, dash: str) -> str:
        """Return in words why a report is late, "" if it is not."""
        following = self.recorded.lap(self.lap + 1)
        if (
            entry.at is not None
            and following is not None
            and following.time is not None
            and entry.at > following.time
        ):
            return (
                f"said {(entry.at - following.time) / 1000:.1f} s after lap {self.lap + 1} had"
                " ended"
            )
        if said and dash and said != dash:
            for lap in range(self.lap - 1, max(0, self.lap - 1 - _EARLIER), -1):
                earlier = self.recorded.lap(lap)
                if earlier is not None and self._same_but_lap(said, self._dash(earlier), dash):
                    return f"tells what the dash showed on lap {lap}"
        return ""

    def _values(self, string: str) -> Mapping[str, Value] | None:
        match = self.report.quick(string)
        if match is None:
            return None
        from codec.reading import Reading

        return Reading(self.book, match).values

    def _same_but_lap(self, said: str, earlier: str, dash: str) -> bool:
        """Tell whether a string tells the values of an earlier lap and not of this one, whatever
        lap number it says.
        """
        values, before, now = self._values(said), self._values(earlier), self._values(dash)
        if values is None or before is None or now is None:
            return False
        names = [name for name in values if not self.report.fields[name].wraps]
        return all(values[name] == before.get(name) for name in names) and any(
            values[name] != now.get(name) for name in names
        )

    def _other_reading(self, said: str, dash: str) -> bool:
        """Tell whether two strings mean different things; the same may be said in more than one
        way.
        """
        one, other = self._values(said), self._values(dash)
        return one is None or other is None or one != other

    def _differing(self, values: Mapping[str, Value], dash: str) -> tuple[str, ...]:
        shown = self._values(dash) if dash else None
        if shown is None or not values:
            return ()
        wrapped = {name for name in shown if self.report.fields[name].wraps}
        return tuple(
            name
            for name, value in values.items()
            if name in shown and name not in wrapped and value != shown[name]
        )

    def _gaps(self, values: Mapping[str, Value], recorded: RecordedLap) -> dict[str, Decimal]:
        """Return how far each number said lies from the recorded one."""
        found: dict[str, Decimal] = {}
        for name, value in values.items():
            was, field_ = recorded.values.get(name), self.report.fields.get(name)
            if field_ is None or field_.wraps:
                continue
            if isinstance(value, Decimal) and isinstance(was, Decimal):
                found[name] = abs(difference(value, was))
        return found

    def _only_rounded(self, values: Mapping[str, Value], recorded: RecordedLap) -> bool:
        """Tell whether every value lies less than one step from the recorded one, where the dash
        itself was not recorded.
        """
        if recorded.dash or not values:
            return False
        differing = self._differing(values, self._dash(recorded))
        gaps = self._gaps(values, recorded)
        return all(
            name in gaps
            and (steps := self.report.fields[name].progression) is not None
            and gaps[name] < steps.step
            for name in differing
        )
