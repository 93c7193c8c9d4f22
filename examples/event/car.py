"""Make what car 7 of the example event recorded, to hold the sheet against.

    python examples/event/car.py [FOLDER]

Writes car-7.csv: for each lap when it ended, the symbols the dash showed, the driver's words as on
the recording in the car, the energy and the motor's temperature as measured. The radio is that of
generate.py, so what its recogniser misheard is to be found. Planted besides, in what the dash
showed: two reports that the driver read wrong, and one that told the lap before.
"""

from __future__ import annotations

import csv
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

from generate import BOOK, HERE, Car, Event

from codec import encode, load_book

CAR = "7"
READ_WRONG = {
    6: {"energy": Decimal("0.1")},
    18: {"motor": Decimal(-5)},
}  # lap → how much the dash showed more than was said
LATE = {
    23: {"battery": Decimal(2)}
}  # what was said is what the dash showed on the lap before, and not on this one


class Recording(Event):
    """The race as the car kept it."""

    laps: dict[int, dict[str, str]]
    said: dict[int, list[str]]
    now = 0

    def report(self, car: Car, lap: int, at: float) -> None:
        """Keep what was measured and shown."""
        self.now = lap if car.number == CAR else 0
        if self.now:
            self.laps[lap] = {
                "lap": str(lap),
                "energy": f"{car.energy:.3f}",
                "motor": f"{car.motor:.1f}",
            }
            self.said[lap] = []
        super().report(car, lap, at)
        if self.now:
            self.laps[lap]["dash"] = self.shown(lap, self.truth[-1]["string"])
        self.now = 0

    def say(self, at: float, speaker: str, text: str, slips: float = 0.0) -> bool:
        """Keep the driver's words in a report."""
        if self.now and speaker == self.cars[0].driver:
            self.said[self.now].append(text)
        return super().say(at, speaker, text, slips)

    def shown(self, lap: int, string: str) -> str:
        """Return what the dash showed where a fault is planted, else what was said."""
        change: dict[str, Any] = READ_WRONG.get(lap, LATE.get(lap, {}))
        if not change:
            return string
        from codec import decode

        values = decode(self.book, string, direction="car", typed=True).values
        for name, more in change.items():
            measured = values[name] + more  # type: ignore[operator]  # the fields changed are numbers
            values = {**values, name: measured}
            if name in self.laps[lap]:
                self.laps[lap][name] = str(measured)
        return encode(self.book, values, "lap").string


def main(folder: Path = HERE) -> None:
    """Write the file."""
    event = Recording(load_book(BOOK))
    event.laps, event.said = {}, {}
    event.run()
    car = event.cars[0]
    ends = [start for _, start in car.starts[1:]] + [car.clock]
    with (folder / f"car-{CAR}.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(
            stream, ["lap", "time", "dash", "said", "energy", "motor"], restval=""
        )
        writer.writeheader()
        for (lap, row), end in zip(event.laps.items(), ends, strict=True):
            first, *again = event.said[lap]
            writer.writerow({**row, "time": f"{end:.2f}", "said": first})
            writer.writerows({"lap": str(lap), "said": words} for words in again)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
