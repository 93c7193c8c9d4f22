"""An invented race of the race book, driven, spoken and heard, with planted faults: what the
debrief is tried on.

The car drives by its own numbers (numpy, seeded); the dash rounds them to the code; the driver says
the words. Of the faults planted, each tells what ``compare`` must find.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy

from codec import CodeError, Encoded, decode, decode_all, encode, load_book
from codec.race import Event, load_event
from codec.race.plan import EnergyPlan
from codec.sheet import Entry
from grammar.book import Book
from grammar.exact import exact

ROOT = Path(__file__).parents[2]
LAP_MS = 74_000
LAPS, ADDED = 24, 2
FIRST, LAST = (
    8,
    11,
)  # the race is neutralised in the middle of lap 8 and resumed in the middle of lap 11
READ_WRONG = {
    5: (2, "0"),
    16: (3, "F"),
}  # lap → (place, the symbol that is said in its place): the check symbol does not fit
READ_OTHER = {
    6: Decimal("0.3")
}  # lap → how much more energy is said, with a check symbol that fits it
HEARD_WRONG = {3: (1, "2"), 10: (5, "E"), 17: (4, "A"), 20: (2, "4")}
LATE_VALUES = (19,)  # the driver reads what the dash showed a lap before
LATE_TIME = (22,)  # the report comes when the following lap has ended
MISSING = (13,)


@dataclass
class Story:
    """The race: its book and event, the entries of the sheet in order, the rows of the car's file,
    the faults planted by (lap, verdict).
    """

    book: Book
    event: Event
    entries: list[Entry] = field(default_factory=list)
    rows: list[dict[str, str]] = field(default_factory=list)
    planted: list[tuple[int, str]] = field(default_factory=list)
    confused: Counter[tuple[str, str]] = field(default_factory=Counter)
    words: int = 0

    def car_file(self, *leave_out: str) -> list[str]:
        """Return the car's file as lines, without some columns."""
        columns = [
            name
            for name in (
                "lap",
                "time",
                "dash",
                "said",
                "energy",
                "motor",
                "inverter",
                "battery",
                "alert",
            )
            if name not in leave_out
        ]
        stream = io.StringIO()
        writer = csv.DictWriter(
            stream, columns, extrasaction="ignore", lineterminator="\r\n", restval=""
        )
        writer.writeheader()
        writer.writerows(row for row in self.rows if row.get("dash") or "said" not in leave_out)
        return stream.getvalue().splitlines(keepends=True)


class _Teller:
    def __init__(self, seed: int, *, faults: bool) -> None:
        self.book = load_book(ROOT / "examples" / "race" / "race.toml")
        self.event = load_event(ROOT / "examples" / "race" / "event.toml", self.book)
        self.random = numpy.random.default_rng(seed)
        self.story = Story(self.book, self.event)
        self.faults, self.seq = faults, 0
        self.plan = EnergyPlan(self.event.plan, self.event.spec.plan.changed)
        self.strings: dict[int, Encoded] = {}

    def tell(self) -> Story:
        used, habit = 0.0, 0.03
        temperatures = {"motor": (70.0, 6.0), "inverter": (48.0, 4.0), "battery": (30.0, 1.3)}
        for lap in range(1, LAPS + ADDED + 1):
            share = max(0.0, min(lap, LAST - 0.5) - max(lap - 1, FIRST - 0.5))
            expected = float(self.plan.planned(lap)) if lap < 16 else 1.33
            used += expected * (1 - share * 0.4) + habit * (1 - share) + self.random.normal(0, 0.03)
            habit = 0.0 if lap == 15 else habit + self.random.normal(0, 0.006)
            for name, (now, rise) in temperatures.items():
                settles = float(self.event.spec.temperatures[name].settles)
                temperatures[name] = (
                    now + rise * (1 - 0.6 * share) + self.random.normal(0, 0.3),
                    rise * settles,
                )
            self._lap(
                lap,
                float(self.plan.used(lap)) - used,
                {name: now for name, (now, _) in temperatures.items()},
            )
        return self.story

    def _write(self, kind: str, lap: int, at: int, **facts: Any) -> Entry:
        self.seq += 1
        entry = Entry(kind=kind, car="7", lap=lap, at=at, seq=self.seq, **facts)  # type: ignore[arg-type]  # the kinds are the sheet's
        self.story.entries.append(entry)
        return entry

    def _lap(self, lap: int, delta: float, temperatures: dict[str, float]) -> None:
        now = lap * LAP_MS
        if lap == FIRST:
            self._write("event", lap, now - LAP_MS // 2, heard="safety car", message="neutralised")
        if lap == LAST:
            self._write("event", lap, now - LAP_MS // 2, heard="green flag", message="resumed")
        recorded: dict[str, Any] = {
            "energy": round(delta, 4),
            **{name: round(value, 2) for name, value in temperatures.items()},
        }
        alert = "cooling" if lap in (14, 15) else "none"
        self.strings[lap] = encode(self.book, {"lap": lap, **recorded, "alert": alert}, "lap")
        row = {
            "lap": str(lap),
            "time": f"{now / 1000:.3f}",
            "dash": self.strings[lap].string,
            "alert": alert,
        }
        self.story.rows.append({**row, **{name: str(value) for name, value in recorded.items()}})
        self._report(lap, now + 9_000)
        if lap == LAST:
            self._added(now + 20_000)
        if lap == 4:
            self._setting(lap, now + 22_000)
        if lap == 15:
            self._call(lap, now + 22_000, {"target": Decimal("1.33")}, "pace")

    def _report(self, lap: int, at: int) -> None:
        dash = self.strings[lap].string
        if not self.faults:
            self._said(lap, at, dash, dash)
            return
        if lap in MISSING:
            return
        said = heard = dash
        if lap in READ_WRONG:
            said = heard = _changed(dash, *READ_WRONG[lap])
            self.story.planted.append((lap, "read wrong"))
        if lap in READ_OTHER:
            values = dict(self.strings[lap].reading.values)
            said = heard = encode(
                self.book, {**values, "energy": exact(values["energy"]) + READ_OTHER[lap]}, "lap"
            ).string
            self.story.planted.append((lap, "read wrong"))
        if lap in LATE_VALUES:
            earlier = self.strings[lap - 1]
            said = heard = encode(self.book, {**earlier.reading.values, "lap": lap}, "lap").string
            self.story.planted.append((lap, "late"))
        if lap in HEARD_WRONG:
            heard = _changed(said, *HEARD_WRONG[lap])
            self.story.planted.append((lap, "heard wrong"))
            self.story.confused.update((a, b) for a, b in zip(said, heard, strict=True) if a != b)
        if lap in LATE_TIME:
            at += LAP_MS
            self.story.planted.append((lap, "late"))
        self._said(lap, at, said, heard)

    def _said(self, lap: int, at: int, said: str, heard: str) -> None:
        """Write what is heard; what is refused for its check symbol is asked for, and said again as
        the dash has it.
        """
        self.story.rows[-1]["said"] = self.book.alphabet.say(said)
        self.story.words += len(said)
        words = self.book.alphabet.say(heard)
        try:
            reading = decode(self.book, words, direction="car", context={"lap": lap})
        except CodeError as error:
            refused = self._write("report", lap, at, heard=words, refusal=error.kind)
            self._write("question", lap, at + 4_000, heard="say again", about=refused.seq)
            dash = self.strings[lap].string
            again = "i say again " + self.book.alphabet.say(dash)
            reading = decode(self.book, again, direction="car", context={"lap": lap})
            facts = {
                "heard": again,
                "message": "lap",
                "string": reading.said,
                "values": reading.values,
                "certainty": 0.99,
            }
            self._write("correction", lap, at + 8_000, about=refused.seq, **facts)
            self.story.rows.append({"lap": str(lap), "said": self.book.alphabet.say(dash)})
            self.story.words += len(dash)
            return
        certainty = round(float(self.random.uniform(0.93, 1.0)), 3)
        self._write(
            "report",
            lap,
            at,
            heard=words,
            message="lap",
            string=reading.said,
            values=reading.values,
            certainty=certainty,
        )

    def _call(self, lap: int, at: int, values: dict[str, Any], message: str) -> Entry:
        call = encode(self.book, values, message)
        return self._write(
            "call",
            lap,
            at,
            heard=call.words,
            message=message,
            string=call.string,
            values=call.reading.values,
        )

    def _readback(self, lap: int, at: int, values: dict[str, Any], message: str) -> None:
        said = encode(self.book, values, message)
        reading = decode_all(self.book, said.words, direction="car").reports[0]
        self._write(
            "report",
            lap,
            at,
            heard=said.words,
            message=message,
            string=said.string,
            values=reading.values,
        )

    def _setting(self, lap: int, at: int) -> None:
        values = {"dial": "brake balance", "way": "up", "clicks": 2}
        self._call(lap, at, values, "wheel")
        self._readback(lap, at + 9_000, values, "set")

    def _added(self, at: int) -> None:
        self._write("event", LAST, at - 2_000, message="added", amount=Decimal(ADDED))
        self._call(LAST, at, {"added": ADDED}, "distance")
        self._readback(LAST, at + 9_000, {"added": ADDED}, "entered")
        self.plan = self.plan.change(LAST, laps=ADDED, removed=Fraction(0))


def _changed(string: str, place: int, other: str) -> str:
    other = other if string[place] != other else "G"
    return string[:place] + other + string[place + 1 :]


def tell(seed: int = 7, *, faults: bool = True) -> Story:
    """Return the race."""
    return _Teller(seed, faults=faults).tell()
