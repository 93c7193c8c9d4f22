"""Figures of proposed codes, and the trade-off between them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from grammar import sound
from grammar.book import Book
from grammar.design.candidates import CARD, Candidate
from grammar.design.capacity import capacity, entropy
from grammar.design.needs import LimitsSpec, Needs
from grammar.design.noise import noise_of, rates
from grammar.design.write import book_text
from grammar.figures import Drawn, drawn, longest
from grammar.parsing import parse_book

DRAWS = 1000


@dataclass(frozen=True, slots=True)
class Bound:
    """The least mean seconds of any code that tells its own end: ``bits`` of the values over
    ``capacity`` of the words, in bits a second.
    """

    bits: float
    capacity: float

    @property
    def seconds(self) -> float:
        """Bits over capacity."""
        return self.bits / self.capacity


@dataclass(frozen=True, slots=True)
class Proposal:
    """A candidate with its figures, all of one report.

    ``mean`` and ``worst`` are seconds (``error``: standard error of the mean), ``wrong`` and
    ``ask`` shares of reports accepted with a wrong reading and refused, ``harm`` the mean harm of
    what slips through, ``rows`` of its card.
    """

    name: str
    family: str
    candidate: Candidate = field(repr=False)
    book: Book = field(repr=False)
    mean: float
    error: float
    worst: float
    wrong: float
    wrong_error: float
    ask: float
    harm: float
    rows: int
    bound: Bound
    checked: bool

    @property
    def over(self) -> float:
        """How far the mean lies above the bound, as a share of it."""
        return self.mean / self.bound.seconds - 1 if self.bound.seconds else math.inf

    @property
    def readable(self) -> bool:
        """Tell whether people can read it from a card: one table a field."""
        return self.family in CARD

    def figures(self) -> tuple[float, ...]:
        """Return what is to be small."""
        return (self.mean, self.worst, self.wrong, self.ask, float(self.rows))

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for ``--json``."""
        return {
            "name": self.name,
            "family": self.family,
            "seconds": {
                "mean": round(self.mean, 4),
                "error": round(self.error, 4),
                "worst": round(self.worst, 3),
            },
            "bound": {
                "seconds": round(self.bound.seconds, 4),
                "bits": round(self.bound.bits, 3),
                "capacity": round(self.bound.capacity, 4),
            },
            "over_bound": round(self.over, 4),
            "wrong": float(f"{self.wrong:.3g}"),
            "wrong_error": float(f"{self.wrong_error:.2g}"),
            "ask": round(self.ask, 4),
            "harm": float(f"{self.harm:.3g}"),
            "rows": self.rows,
            "readable": self.readable,
            "check": self.checked,
        }


def bound_of(needs: Needs) -> Bound:
    """Return the bound for needs: independent fields, all symbols that may be used."""
    times = [entry.seconds for entry in needs.alphabet.words.values()]
    return Bound(math.fsum(entropy(shares) for shares in needs.shares.values()), capacity(times))


def propose(needs: Needs, candidate: Candidate, *, draws: int = DRAWS, seed: int = 1) -> Proposal:
    """Return a candidate with its figures. Its book has passed every check a book must."""
    bound = bound_of(needs)
    text = book_text(candidate.sections, [], candidate.notes)
    book = parse_book(text, needs.name)
    message = book.messages[needs.message]
    reports = drawn(book, message, draws, seed, needs.shares)
    mean, error = mean_of(reports)
    met = rates(book, message, noise_of(book.alphabet, book.hearing), reports, seed=seed)
    rows = sum(table.size for table in message.tables if table.check is None)
    worst, _ = longest(book, message)
    figures = (mean, error, worst, met.wrong, met.error, met.ask, met.harm, rows)
    return Proposal(
        candidate.name, candidate.family, candidate, book, *figures, bound, candidate.checked
    )


def mean_of(reports: Sequence[Drawn]) -> tuple[float, float]:
    """Return the mean seconds of drawn reports and its standard error."""
    count = max(1, len(reports))
    mean = math.fsum(report.seconds for report in reports) / count
    spread = math.fsum((report.seconds - mean) ** 2 for report in reports) / max(1, count - 1)
    return mean, math.sqrt(spread / count)


def proposals(
    needs: Needs,
    makers: Iterable[Callable[[], Candidate | None]],
    *,
    draws: int = DRAWS,
    seed: int = 1,
    done: Callable[[str], None] | None = None,
) -> list[Proposal]:
    """Return all candidates that can be built, with their figures; ``done`` is told the name of
    each.
    """
    found = []
    for make in makers:
        candidate = make()
        if candidate is not None:
            found.append(propose(needs, candidate, draws=draws, seed=seed))
        if done is not None:
            done(candidate.name if candidate is not None else "")
    return found


def frontier(found: Sequence[Proposal]) -> list[Proposal]:
    """Return the proposals that no other beats: none is as good in every figure and better in one,
    sorted by mean seconds.
    """
    kept = [one for one in found if not any(_beats(other, one) for other in found)]
    return sorted(kept, key=lambda one: (one.mean, one.name))


def _beats(one: Proposal, other: Proposal) -> bool:
    pairs = list(zip(one.figures(), other.figures(), strict=True))
    return all(a <= b for a, b in pairs) and any(a < b for a, b in pairs)


def expected_seconds(one: Proposal, needs: Needs) -> float:
    """Return the seconds a report is expected to cost in all: said, asked for and said again where
    it is refused, and the price of ``[hearing]`` for a wrong reading.
    """
    again = sound.seconds("say again") + needs.hearing.turnaround + one.mean
    return one.mean + one.ask * again + one.wrong * needs.hearing.wrong


def broken(one: Proposal, limits: LimitsSpec) -> dict[str, str]:
    """Return the limits a proposal does not keep: what is asked, and what it comes to."""
    found = {}
    if limits.seconds is not None and one.worst > limits.seconds:
        found[f"at most {limits.seconds:g} s for the longest report"] = f"{one.worst:.2f} s"
    if limits.wrong is not None and one.wrong > limits.wrong:
        found[f"at most {limits.wrong:.2g} accepted wrong"] = f"{one.wrong:.2g}"
    if limits.card and not one.readable:
        found["read from a card"] = "needs the tool"
    if limits.card and one.readable and one.rows > limits.rows:
        found[f"at most {limits.rows} rows of the card"] = f"{one.rows} rows"
    return found


def chosen(found: Sequence[Proposal], needs: Needs) -> Proposal | None:
    """Return the proposal to take of those that keep the limits, None if none does.

    It is that of least mean seconds where the limits say how many wrong readings may be accepted,
    else that of least expected seconds in all, as the quickest code alone would be the one most
    easily misheard.
    """
    kept = [one for one in found if not broken(one, needs.limits)]
    return min(
        kept,
        key=lambda one: (
            expected_seconds(one, needs) if needs.limits.wrong is None else one.mean,
            one.name,
        ),
        default=None,
    )
