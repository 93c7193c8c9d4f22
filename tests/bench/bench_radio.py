"""What the import finds of the radio of invented races: recall and precision by style, by who is
said to have said it and by what was spoilt; lost apart from flagged; laps right.

    python tests/bench/bench_radio.py [EVENTS] [SEED] [SHARES OF WORDS WRONG…] [--show]
        [--book=FILE] [--ceiling]

The events are those of radio_events.py, which shares no word list and no code with the finder; half
of them are in styles that no figure was set by. ``--show`` prints what was missed and what was
wrong. Nothing is asserted: the aims are printed beside the figures. They are of the race book; with
another ``--book`` its reports are of values that wander, and styles that name fields are left out.
``--ceiling`` tells beside what the import finds of reports said in symbols how many of them an
oracle could accept (radio_ceiling.py).
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from common import ROOT, table
from radio_ceiling import Ceiling
from radio_events import DEVELOPED, FRESH, HELD_OUT, Event, Truth, events

from codec import load_book
from codec.radio.crews import crews_of
from codec.radio.importing import import_transcript
from codec.radio.laps import LapTimes
from codec.sheet import Journal
from codec.sheet.state import Row, rows
from grammar.book import Book

AIMS = {0.0: 0.97, 0.03: 0.93, 0.08: 0.88}
RACE = ROOT / "examples" / "race" / "race.toml"
_NEAR = 30.0  # seconds between what was said and the entry of it


def imported(book: Book, event: Event, *, times: bool) -> list[Row]:
    """Return the rows of the sheet that an event's transcript makes."""
    with (
        tempfile.TemporaryDirectory() as folder,
        Journal(Path(folder) / "x.sheet", book) as journal,
    ):
        import_transcript(
            journal,
            event.written(),
            event.form,
            crews_of(event.crews),
            times=LapTimes.read(event.lap_times, "times") if times else None,
        )
        return rows(journal.entries())


class Score:
    """What became of everything that was said."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.counts: Counter[tuple[str, str, str]] = Counter()  # (by what, which, outcome)
        self.total: Counter[str] = Counter()
        self.shown: list[str] = []

    def add(self, event: Event, found: list[Row]) -> None:
        """Compare a sheet with the truth."""
        accepted = [row for row in found if row.counts and row.entry.car]
        used: set[int] = set()
        for truth in event.truth:
            outcome = self._outcome(truth, found, accepted, used)
            self.total[f"{truth.kind} {outcome}"] += 1
            if truth.kind == "report":
                for by, which in (
                    ("style", event.style.name),
                    ("speakers", event.speakers),
                    ("cause", truth.why or "none"),
                ):
                    self.counts[by, which, outcome] += 1
            if outcome not in ("right", "right lap wrong"):
                self.shown.append(f"{outcome:8} {event.style.name}/{event.speakers} {truth}")
                self.shown += [
                    f"      {line.at:7.1f} {line.speaker}: {line.text}"
                    for line in event.lines
                    if line.report and -1 < line.at - truth.at < 25
                ]
        for row in accepted:
            if id(row) not in used and row.first.kind in ("report", "call"):
                own = row.entry.message in ("set", "entered", "status")
                kind = "other" if own else "wrong"
                self.total[f"{row.first.kind} {kind}"] += 1
                if kind == "wrong":
                    self.counts["style", event.style.name, "wrong"] += 1
                    self.counts["speakers", event.speakers, "wrong"] += 1
                    entry = row.entry
                    self.shown.append(
                        f"WRONG    {event.style.name}/{event.speakers} car {entry.car} lap"
                        f" {entry.lap} {entry.string} {entry.certainty} at"
                        f" {(entry.at or 0) / 1000} {entry.heard!r} {entry.note}"
                    )

    @staticmethod
    def _outcome(truth: Truth, found: list[Row], accepted: list[Row], used: set[int]) -> str:
        outcome = ""
        kind = "event" if truth.kind == "phrase" else truth.kind
        for row in found:
            entry = row.entry
            at = entry.at if row.first.at is None else row.first.at
            near = at is not None and abs(at / 1000 - truth.at) < _NEAR
            if row.first.kind != kind or not near:
                continue
            if kind == "event":
                same = entry.message == truth.what
            else:
                same = row.counts and entry.string == truth.what and entry.car == truth.car
            if same and kind == "report" and entry.lap != truth.lap:
                continue
            if same:
                used.add(id(row))
                outcome = "right" if entry.lap == truth.lap else "right lap wrong"
                break
        del accepted
        if outcome:
            return outcome
        flagged = any(
            row.entry.refusal and row.first.kind == kind
            and abs((row.first.at or 0) / 1000 - truth.at) < _NEAR
            and row.entry.car in (truth.car, "")
            for row in found
        )  # fmt: skip
        return "flagged" if flagged else "lost"

    def print(self, head: str, aim: float) -> None:
        """Print the figures."""
        right = self.total["report right"] + self.total["report right lap wrong"]
        reports = sum(n for name, n in self.total.items() if name.startswith("report ")
            and name.split()[1] not in ("wrong", "other"))  # fmt: skip
        wrong = self.total["report wrong"] + self.total["call wrong"]
        others = [
            sum(n for name, n in self.total.items() if (name.startswith(kind)
                and not name.endswith(("wrong", "other"))) or name == f"{kind} right lap wrong")
            for kind in ("call", "phrase")
        ]  # fmt: skip
        laps = sum(self.total[f"{kind} right"] for kind in ("report", "call", "phrase"))
        off = sum(self.total[f"{kind} right lap wrong"] for kind in ("report", "call", "phrase"))
        print(
            f"\n{head}: {reports} reports, recall {right / reports:.3f} (aim {aim}), precision"
            f" {1 - wrong / max(1, right + wrong):.4f} ({wrong} wrong); lost"
            f" {self.total['report lost']}, flagged {self.total['report flagged']}"
        )
        found = [
            self.total[f"{kind} right"] + self.total[f"{kind} right lap wrong"]
            for kind in ("call", "phrase")
        ]
        print(
            f"  calls {found[0]} of {others[0]}, phrases {found[1]} of {others[1]}; laps right"
            f" {laps / max(1, laps + off):.3f}, of calls and phrases"
            f" {self._share('call', 'phrase'):.3f}"
        )

    def _share(self, *kinds: str) -> float:
        right = sum(self.total[f"{kind} right"] for kind in kinds)
        off = sum(self.total[f"{kind} right lap wrong"] for kind in kinds)
        return right / max(1, right + off)

    def rows(self, by: str) -> list[list[str]]:
        """Return a table of the outcomes of reports."""
        names = sorted({which for one, which, _ in self.counts if one == by})
        outcomes = ("right", "flagged", "lost", "wrong")
        return [[by, *outcomes, "recall"]] + [
            [
                name,
                *(str(self.counts[by, name, outcome]) for outcome in outcomes),
                f"{self._recall(by, name):.3f}",
            ]
            for name in names
        ]

    def _recall(self, by: str, name: str) -> float:
        return self.recall([name], by)

    def recall(self, names: Iterable[str], by: str = "style") -> float:
        """Return the share of the reports of some styles that was accepted and right."""
        pairs = [(name, outcome) for name in names for outcome in ("right", "flagged", "lost")]
        counted = [self.counts[by, name, outcome] for name, outcome in pairs]
        return sum(counted[::3]) / max(1, sum(counted))


def main(
    count: int, seed: int, path: Path, *, show: bool, ceiling: bool, rates: list[float]
) -> None:
    """Print every table."""
    book, race = load_book(path), path == RACE
    for errors in rates:
        for which, listed in (
            ("developed", DEVELOPED),
            ("held out", HELD_OUT),
            ("held out, fresh", FRESH),
        ):
            styles = [style for style in listed if race or not style.figures]
            score, oracle, took, lines = Score(), Ceiling(book, errors), 0.0, 0
            for number, event in enumerate(events(book, styles, errors, count // 2, seed)):
                began = time.process_time()
                score.add(event, imported(book, event, times=number % 3 == 2))
                took += time.process_time() - began
                lines += len(event.lines)
                if ceiling:
                    oracle.add(event)
            score.print(f"{which}, {errors:.0%} of words wrong", AIMS.get(errors, 0))
            print(f"  {lines} lines in {took:.1f} s of processor time")
            if ceiling:
                found = score.recall(style.name for style in styles if not style.figures)
                told = [f"{share:.3f} ({wrong} wrong) {name}" for name in ("book", "true")
                    for share, wrong in [oracle.share(name)]]  # fmt: skip
                print(f"  said in symbols: {found:.3f} found, an oracle {', '.join(told)} channel")
                found = score.recall(style.name for style in styles if style.figures)
                share, wrong = oracle.share("named")
                print(f"  in plain words: {found:.3f} found, an oracle {share:.3f} ({wrong} wrong)")
            for by in ("style", "speakers", "cause"):
                table(by, score.rows(by))
            if show:
                print("\n".join(score.shown))


if __name__ == "__main__":
    numbers = [word for word in sys.argv[1:] if word.replace(".", "").isdigit()]
    main(
        int(numbers[0]) if numbers else 72,
        int(numbers[1]) if len(numbers) > 1 else 1,
        next((Path(one[7:]) for one in sys.argv if one.startswith("--book=")), RACE),
        show="--show" in sys.argv,
        ceiling="--ceiling" in sys.argv,
        rates=[float(word) for word in numbers[2:]] or list(AIMS),
    )
