"""Figures of proposed codes, and the trade-off between them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from grammar import sound
from grammar.book import Book
from grammar.design.candidates import CARD, Candidate
from grammar.design.capacity import capacity, entropy
from grammar.design.ears import Ear, HearingTrial, Met, one_in
from grammar.design.needs import LimitsSpec, Needs
from grammar.design.noise import noise_of, rates
from grammar.design.write import book_text
from grammar.errors import CodeError
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
    """A candidate with its figures, all of one report, for one ear that hears it.

    ``mean`` and ``worst`` are seconds said once (``error``: standard error of the mean), ``met`` is
    what becomes of it in the air, ``rows`` how many its card has.
    """

    name: str
    family: str
    candidate: Candidate = field(repr=False)
    book: Book = field(repr=False)
    mean: float
    error: float
    worst: float
    rows: int
    bound: Bound
    checked: bool
    ear: Ear
    met: Met

    @property
    def seconds(self) -> float:
        """The seconds of a report with its questions and answers."""
        return self.met.seconds

    @property
    def wrong(self) -> float:
        """The share of reports accepted with a wrong reading."""
        return self.met.wrong

    @property
    def ask(self) -> float:
        """The share of reports asked about."""
        return self.met.ask

    @property
    def over(self) -> float:
        """How far the mean lies above the bound, as a share of it."""
        return self.mean / self.bound.seconds - 1 if self.bound.seconds else math.inf

    @property
    def readable(self) -> bool:
        """Tell whether people can read it from a card: one table a field."""
        return self.family in CARD

    def figures(self) -> tuple[float, ...]:
        """Return what is to be small; how many are asked about counts by the seconds it takes."""
        return (self.seconds, self.worst, self.wrong, float(self.rows))

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for ``--json``."""
        return {
            "name": self.name,
            "family": self.family,
            "seconds": {
                "mean": round(self.mean, 4),
                "error": round(self.error, 4),
                "worst": round(self.worst, 3),
                "with_questions": round(self.seconds, 4),
                "with_questions_error": round(self.met.seconds_error, 4),
            },
            "bound": {
                "seconds": round(self.bound.seconds, 4),
                "bits": round(self.bound.bits, 3),
                "capacity": round(self.bound.capacity, 4),
            },
            "over_bound": round(self.over, 4),
            "wrong": float(f"{self.wrong:.3g}"),
            "wrong_error": float(f"{self.met.wrong_error:.2g}"),
            "ask": round(self.ask, 4),
            "ask_error": round(self.met.ask_error, 4),
            "given_up": round(self.met.lost, 4),
            "ear": self.ear,
            "rows": self.rows,
            "readable": self.readable,
            "check": self.checked,
        }


def bound_of(needs: Needs) -> Bound:
    """Return the bound for needs: independent fields, all symbols that may be used."""
    times = [entry.seconds for entry in needs.alphabet.words.values()]
    return Bound(math.fsum(entropy(shares) for shares in needs.shares.values()), capacity(times))


def propose(needs: Needs, candidate: Candidate, *, draws: int = DRAWS, seed: int = 1) -> Proposal:
    """Return a candidate with its figures, heard word by word (``noise.rates``). Its book has
    passed every check a book must.
    """
    bound = bound_of(needs)
    text = book_text(candidate.sections, [], candidate.notes)
    book = parse_book(text, needs.name)
    message = book.messages[needs.message]
    reports = drawn(book, message, draws, seed, needs.shares)
    mean, error = mean_of(reports)
    met = rates(book, message, noise_of(book.alphabet, book.hearing), reports, seed=seed)
    again = sound.seconds("say again") + needs.hearing.turnaround + mean
    refused = math.sqrt(max(met.ask * (1 - met.ask), 0.0) / max(1, len(reports)))
    rows = sum(table.size for table in message.tables if table.check is None)
    return Proposal(
        candidate.name,
        candidate.family,
        candidate,
        book,
        mean,
        error,
        longest(book, message)[0],
        rows,
        bound,
        candidate.checked,
        "card" if candidate.family in CARD else "tool",
        Met(mean + met.ask * again, error, met.wrong, met.error, met.ask, refused),
    )


def heard(needs: Needs, proposal: Proposal, listener: HearingTrial, seed: int) -> list[Proposal]:
    """Return a proposal as it is heard: by the tool, and by people with a card if they can read
    it.
    """
    message = proposal.book.messages[needs.message]
    ears: list[Ear] = ["tool", "card"] if proposal.readable else ["tool"]
    return [
        replace(proposal, ear=ear, met=listener(proposal.book, message, ear, seed)) for ear in ears
    ]


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
    listener: HearingTrial | None = None,
    wanted: str | None = None,
    done: Callable[[str], None] | None = None,
) -> list[Proposal]:
    """Return all candidates that can be built, with their figures: those of each ear, if there is
    a ``listener`` to tell them. ``done`` is told the name of each.

    Raises CodeError where none is named as the one ``wanted``, before any is heard.
    """
    built = [make() for make in makers]
    names = [candidate.name for candidate in built if candidate is not None]
    if wanted is not None and wanted not in names:
        raise CodeError(f"there is no proposal {wanted!r}", kind="unknown-proposal", expected=names)
    found = []
    for candidate in built:
        if candidate is not None:
            one = propose(needs, candidate, draws=draws, seed=seed)
            found += [one] if listener is None else heard(needs, one, listener, seed)
        if done is not None:
            done(candidate.name if candidate is not None else "")
    return found


def frontier(found: Sequence[Proposal]) -> list[Proposal]:
    """Return the proposals that no other of the same ear beats: none is as good in every figure and
    better in one. They are sorted by mean seconds.
    """
    kept = [one for one in found if not any(_beats(other, one) for other in found)]
    return sorted(kept, key=lambda one: (one.mean, one.name, one.ear != "tool"))


def _beats(one: Proposal, other: Proposal) -> bool:
    pairs = list(zip(one.figures(), other.figures(), strict=True))
    return one.ear == other.ear and all(a <= b for a, b in pairs) and any(a < b for a, b in pairs)


def expected_seconds(one: Proposal, needs: Needs) -> float:
    """Return the seconds a report is expected to cost in all: said, asked for and said again where
    it is doubted, and the price of ``[hearing]`` for a wrong reading.
    """
    return one.seconds + one.wrong * needs.hearing.wrong


def broken(one: Proposal, limits: LimitsSpec) -> dict[str, str]:
    """Return the limits a proposal does not keep: what is asked, and what it comes to."""
    found = {}
    if limits.seconds is not None and one.worst > limits.seconds:
        found[f"at most {limits.seconds:g} s for the longest report"] = f"{one.worst:.2f} s"
    if limits.wrong is not None and one.wrong > limits.wrong:
        found[f"at most {one_in(limits.wrong)} accepted wrong"] = one_in(one.wrong)
    if limits.card and one.ear != "card":
        found["read from a card"] = "needs the tool"
    if limits.card and one.ear == "card" and one.rows > limits.rows:
        found[f"at most {limits.rows} rows of the card"] = f"{one.rows} rows"
    return found


def nearest(found: Sequence[Proposal], needs: Needs) -> list[tuple[str, Proposal, str]]:
    """Return (limit, proposal, what it comes to) of each limit that alone keeps a proposal from
    being taken: the proposal that would be taken without it, the one nearest to the limit. Where
    several limits must give way together, those of the proposal that breaks fewest.
    """
    each = [(one, broken(one, needs.limits)) for one in found]
    single: dict[str, list[Proposal]] = {}
    for one, missed in each:
        if len(missed) == 1:
            single.setdefault(next(iter(missed)), []).append(one)
    if not single:
        ear = "card" if needs.limits.card else "tool"
        one, missed = min(
            each,
            key=lambda pair: (
                len(pair[1]),
                pair[0].ear != ear,
                expected_seconds(pair[0], needs),
            ),
        )
        return [(asked, one, came) for asked, came in missed.items()]
    told = []
    for asked, several in single.items():
        if asked.endswith("rows of the card"):
            one = min(several, key=lambda one: (one.rows, expected_seconds(one, needs)))
        elif asked.endswith("accepted wrong"):
            one = min(several, key=lambda one: (one.wrong, expected_seconds(one, needs)))
        elif asked.endswith("longest report"):
            one = min(several, key=lambda one: (one.worst, expected_seconds(one, needs)))
        else:
            one = min(several, key=lambda one: expected_seconds(one, needs))
        told.append((asked, one, broken(one, needs.limits)[asked]))
    return sorted(told, key=lambda row: row[2] == "needs the tool")


def chosen(found: Sequence[Proposal], needs: Needs) -> Proposal | None:
    """Return the proposal to take of those that keep the limits, None if none does.

    It is that of least seconds with questions where the limits say how many wrong readings may be
    accepted, else that of least expected seconds in all, as the quickest code alone would be the
    one most easily misheard. A code that the tool can hear is taken for the tool, unless the limits
    want a card.
    """
    by_tool = {one.name for one in found if one.ear == "tool"}
    kept = [
        one
        for one in found
        if not broken(one, needs.limits)
        and (needs.limits.card or one.ear == "tool" or one.name not in by_tool)
    ]
    return min(
        kept,
        key=lambda one: (
            expected_seconds(one, needs) if needs.limits.wrong is None else one.seconds,
            one.name,
        ),
        default=None,
    )
