"""What a simulation counted: how sure the best reading was called, how often it was right, and what
asking cost.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import Any

EDGES = (0.0, 0.3, 0.5, 0.7, 0.85, 0.95, 0.99, 0.999, 1.0)
THRESHOLDS = (0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999)


@dataclass(frozen=True, slots=True)
class Reliability:
    """Reports whose best reading was called between ``low`` and ``high``: how many, how sure on
    average, how many right.
    """

    low: float
    high: float
    reports: int
    called: float
    right: int

    @property
    def share(self) -> float:
        """The share that was right."""
        return self.right / self.reports if self.reports else float("nan")

    @property
    def error(self) -> float:
        """The standard deviation of the share by chance alone, if what was called is true."""
        return (
            float((self.called * (1 - self.called) / self.reports) ** 0.5)
            if self.reports
            else float("nan")
        )


@dataclass(slots=True)
class Tally:
    """What a simulation counted.

    ``first`` holds (probability, right) of the best reading of each report when first heard.
    """

    title: str
    reports: int = 0
    first: list[tuple[float, bool]] = field(default_factory=list)
    right: int = 0
    wrong: int = 0
    given_up: int = 0
    asked_part: int = 0
    asked_all: int = 0
    # reports asked about when first heard, what that was expected to cost, and what it came to
    # (giving up is free)
    doubted: int = 0
    expected_cost: float = 0.0
    cost: float = 0.0
    seconds: float = 0.0  # of radio, reports and questions and answers and the pauses before them
    plain_seconds: float = 0.0  # of the reports alone, said once

    def reliability(self, edges: tuple[float, ...] = EDGES) -> list[Reliability]:
        """Return the reports by how sure the best reading was called."""
        rows = []
        for low, high in itertools.pairwise(edges):
            inside = [(p, ok) for p, ok in self.first if low <= p < high or p == high == 1.0]
            called = sum(p for p, _ in inside) / len(inside) if inside else float("nan")
            rows.append(Reliability(low, high, len(inside), called, sum(ok for _, ok in inside)))
        return rows

    def near(self, called: float, width: float = 0.05) -> Reliability:
        """Return the reports whose best reading was called within ``width`` of a probability."""
        return self.reliability((called - width, called + width))[0]

    def at_threshold(self, threshold: float) -> tuple[float, float]:
        """Return (share refused when first heard, share of all reports accepted and wrong) had the
        threshold been this.
        """
        taken = [ok for p, ok in self.first if p >= threshold]
        return 1 - len(taken) / max(1, self.reports), (len(taken) - sum(taken)) / max(
            1, self.reports
        )

    def calibration_error(self) -> float:
        """Return the mean gap between what was called and what was right, over the rows, weighted
        by their reports.
        """
        rows = [row for row in self.reliability() if row.reports]
        return sum(abs(row.called - row.share) * row.reports for row in rows) / max(1, self.reports)

    def as_dict(self) -> dict[str, Any]:
        """Return the figures for ``--json``."""
        n = max(1, self.reports)
        return {
            "title": self.title,
            "reports": self.reports,
            "accepted_right": self.right / n,
            "accepted_wrong": self.wrong / n,
            "given_up": self.given_up / n,
            "asked_part": self.asked_part / n,
            "asked_all": self.asked_all / n,
            "asking_expected": self.expected_cost / max(1, self.doubted),
            "asking_came_to": self.cost / max(1, self.doubted),
            "seconds": self.seconds / n,
            "seconds_said_once": self.plain_seconds / n,
            "calibration_error": self.calibration_error(),
            "reliability": [
                {
                    "from": r.low,
                    "to": r.high,
                    "reports": r.reports,
                    "called": r.called,
                    "right": r.share,
                    "error": r.error,
                }
                for r in self.reliability()
                if r.reports
            ],
            "thresholds": [
                dict(
                    zip(("threshold", "refused", "wrong"), (t, *self.at_threshold(t)), strict=True)
                )
                for t in THRESHOLDS
            ],
        }
