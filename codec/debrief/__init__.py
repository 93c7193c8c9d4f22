"""After the race: what was said held against what the car recorded, and the race on one page.

comparison = compare(journal.book, journal.entries(), read_car_file("car.csv", journal.book),
car="7") write(summarise(journal.book, journal.entries(), car="7", event=event), folder)
"""

from __future__ import annotations

from codec.debrief.compare import compare
from codec.debrief.findings import Comparison, Finding
from codec.debrief.recorded import CarFile, read_car_file
from codec.debrief.summary import Debrief, summarise

__all__ = [
    "CarFile",
    "Comparison",
    "Debrief",
    "Finding",
    "compare",
    "read_car_file",
    "summarise",
]
