"""What a comparison finds: one finding each, and the words that were counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from grammar.book import Book
from grammar.profile import Profile, word_of

Verdict = Literal[
    "read wrong",
    "heard wrong",
    "wrong",
    "late",
    "rounding only",
    "as recorded",
    "no report",
    "not recorded",
]
FAULTS: tuple[Verdict, ...] = ("read wrong", "heard wrong", "wrong", "late")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found. ``caught`` tells that it was refused or corrected: no wrong value stands in
    the sheet.

    ``fields`` names the fields whose values differ, ``largest`` the largest difference by field
    where it is rounding only. ``dash``, ``said`` and ``heard`` are symbols ("" where not known),
    ``words`` the pairs of symbols (said, heard) that differ.
    """

    lap: int
    verdict: Verdict
    seq: int = 0
    caught: bool = False
    dash: str = ""
    said: str = ""
    heard: str = ""
    fields: tuple[str, ...] = ()
    words: tuple[tuple[str, str], ...] = ()
    largest: Mapping[str, Decimal] = field(default_factory=dict)
    note: str = ""


@dataclass(slots=True)
class Comparison:
    """All findings by lap, and the words counted.

    ``heard`` pairs each symbol said with the one heard, ``read`` each symbol on the dash with the
    one said, ``foreign`` each symbol said with a word heard that is none of the book's. Right ones
    are among them; "" stands for nothing said, or nothing heard.
    ``marks`` tells of each report which of its words were heard (see ``Profile``), ``swapped`` how
    many neighbours were read the wrong way round.
    """

    findings: list[Finding] = field(default_factory=list)
    heard: list[tuple[str, str]] = field(default_factory=list)
    read: list[tuple[str, str]] = field(default_factory=list)
    foreign: list[tuple[str, str]] = field(default_factory=list)
    marks: list[str] = field(default_factory=list)
    swapped: int = 0
    unused: tuple[str, ...] = ()

    @property
    def faults(self) -> list[Finding]:
        """What was read wrong, heard wrong, wrong or late."""
        return [finding for finding in self.findings if finding.verdict in FAULTS]

    def confused(self) -> list[tuple[str, str, int]]:
        """Return the symbols heard for others as (said, heard, how often), most frequent first."""
        counts = Counter(pair for pair in self.heard if pair[0] != pair[1] and all(pair))
        return sorted(
            ((said, heard, count) for (said, heard), count in counts.items()),
            key=lambda one: (-one[2], one[0], one[1]),
        )

    def profile(self, book: Book, *people: str) -> Profile:
        """Return what was counted as a profile, for ``hear``, ``encode`` and the designer."""
        strange: dict[str, dict[str, float]] = {}
        for said, word in self.foreign:
            row = strange.setdefault(word_of(book.alphabet, said), {})
            row[word.casefold()] = row.get(word.casefold(), 0) + 1
        known = Profile(
            people=people, heard=strange, swapped=self.swapped, reports=Counter(self.marks)
        )
        return known.with_heard(book.alphabet, self.heard).with_read(book.alphabet, self.read)
