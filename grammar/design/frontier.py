"""Figures of proposed codes, and the trade-off between them."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from grammar import sound
from grammar.book import Book
from grammar.design.candidates import NOW, SINGLE, Candidate
from grammar.design.capacity import capacity, entropy
from grammar.design.ears import Ear, HearingTrial, Met, one_in
from grammar.design.learning import Learning, learning_of
from grammar.design.needs import Needs
from grammar.design.noise import Rates, noise_of, rates
from grammar.design.write import book_text, held
from grammar.errors import BookError, CodeError
from grammar.figures import Drawn, drawn, longest
from grammar.garbage import uncollected
from grammar.parsing import made_book

if TYPE_CHECKING:
    from grammar.message import Message

DRAWS = 1000
_FEW = 40  # reports that tell where wrong readings are far too many


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


class Most(NamedTuple):
    """The most symbols and words of a report, and the most symbols of a glance."""

    symbols: int = 0
    words: int = 0
    glance: int = 0


_NONE = Most()


@dataclass(frozen=True, slots=True)
class Proposal:
    """A candidate with its figures, all of one report, for one ear that hears it.

    ``mean`` and ``worst`` are seconds said once (``error``: standard error of the mean), ``met`` is
    what becomes of it in the air, ``rows`` how many its card has. ``symbols`` are its mean symbols,
    ``most`` the most symbols, words, and symbols of a glance; ``looked`` the mean seconds that a
    driver looks down for it, as the prices have it.
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
    learning: Learning
    ear: Ear
    met: Met
    symbols: float = 0.0
    most: Most = _NONE
    looked: float = 0.0

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
        return self.candidate.card

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
            "symbols": {"mean": round(self.symbols, 3), "most": self.most.symbols},
            "looked_down": round(self.looked, 3),
            "rows": self.rows,
            "learning": self.learning.as_dict(),
            "readable": self.readable,
            "check": self.checked,
        }


def bound_of(needs: Needs) -> Bound:
    """Return the bound for needs: independent fields, all symbols that may be used."""
    times = [entry.seconds for entry in needs.alphabet.words.values()]
    return Bound(math.fsum(entropy(shares) for shares in needs.shares.values()), capacity(times))


class _Trial:
    """A candidate whose book has passed every check a book must, and ``draws`` reports of it."""

    def __init__(self, needs: Needs, candidate: Candidate, draws: int, seed: int) -> None:
        """Make the book."""
        self.needs, self.candidate, self.draws, self.seed = needs, candidate, draws, seed
        sections, notes = candidate.sections, candidate.notes
        self.book = made_book(held(sections), lambda: book_text(sections, [], notes), needs.name)
        self.message = self.book.messages[needs.message]
        self.pauses = needs.demands.spec.report.pause * len(self.message.pauses)

    def drawn(self, draws: int) -> list[Drawn]:
        """Draw reports; the first are the same however many there are."""
        return drawn(self.book, self.message, draws, self.seed, self.needs.shares)

    @functools.cached_property
    def reports(self) -> list[Drawn]:
        """The reports."""
        return self.drawn(self.draws)

    @functools.cached_property
    def mean(self) -> float:
        """Mean seconds of a report said once."""
        return mean_of(self.reports)[0] + self.pauses

    def heard(self, most: float = math.inf, reports: Sequence[Drawn] | None = None) -> Rates:
        """Return what becomes of the reports, heard word by word (see ``noise.rates``)."""
        reports = self.reports if reports is None else reports
        noise = noise_of(self.book.alphabet, self.book.hearing)
        return rates(self.book, self.message, noise, reports, seed=self.seed, most=most)

    def exceeds(self, most: float) -> bool:
        """Tell whether the first few reports alone are too often wrong for ``most`` of all."""
        few = self.drawn(_FEW)
        share = most * self.draws / max(1, len(few))
        return self.heard(share, few).wrong > share

    def proposal(self, met: Rates) -> Proposal:
        """Return the candidate with its figures."""
        needs, candidate, message = self.needs, self.candidate, self.message
        count, error = max(1, len(self.reports)), mean_of(self.reports)[1]
        again = sound.seconds("say again") + needs.hearing.turnaround + self.mean
        refused = math.sqrt(max(met.ask * (1 - met.ask), 0.0) / count)
        symbols = math.fsum(len(one.string) for one in self.reports) / count
        tables = {table.name: table for table in message.tables if table.check is None}
        return Proposal(
            candidate.name,
            candidate.family,
            candidate,
            self.book,
            self.mean,
            error,
            longest(self.book, message)[0] + self.pauses,
            sum(table.size for table in tables.values()),
            bound_of(needs),
            candidate.checked,
            learning_of(message),
            "card" if candidate.card else "tool",
            Met(self.mean + met.ask * again, error, met.wrong, met.error, met.ask, refused),
            symbols,
            _most(self.book, message),
            needs.demands.spec.prices.looked(_glances(message), symbols),
        )


def propose(needs: Needs, candidate: Candidate, *, draws: int = DRAWS, seed: int = 1) -> Proposal:
    """Return a candidate with its figures, heard word by word (``noise.rates``). Its book has
    passed every check a book must.
    """
    trial = _Trial(needs, candidate, draws, seed)
    return trial.proposal(trial.heard())


def _glances(message: Message) -> int:
    """Return in how many looks a report is read: one a group, or one a glance."""
    return max(len(message.pauses), int(bool(message.glance))) + 1


def _most(book: Book, message: Message) -> Most:
    """Return the most symbols and words of a report, and symbols of a glance, table by table."""
    words = {symbol: len(one.word.split()) for symbol, one in book.alphabet.words.items()}
    tables = {table.name: table for table in message.tables}
    lengths = {name: table.lengths[1] for name, table in tables.items()}
    in_words = {
        name: max(map(words.__getitem__, book.alphabet.unmask(table.symbols))) * lengths[name]
        for name, table in tables.items()
    }
    if max(words.values()) > 1:  # where a word is several, they are counted codeword by codeword
        for name, table in tables.items():
            if table.numeral is None and table.check is None:
                in_words[name] = max(sum(map(words.__getitem__, word)) for _, word in table.words())
    first = list(tables).index(message.glance) if message.glance in tables else 0
    parts = [list(lengths.values())[:first], list(lengths.values())[first:]]
    return Most(message.lengths[1], sum(in_words.values()), max(map(sum, parts)))


def heard(needs: Needs, proposal: Proposal, listener: HearingTrial, seed: int) -> list[Proposal]:
    """Return a proposal as it is heard: by the tool, and by people with a card if they can read
    it.
    """
    message = proposal.book.messages[needs.message]
    ears: list[Ear] = ["tool", "card"] if proposal.readable else ["tool"]
    pauses = needs.demands.spec.report.pause * len(message.pauses)
    found = []
    for ear in ears:
        met = listener(proposal.book, message, ear, seed)
        found.append(replace(proposal, ear=ear, met=replace(met, seconds=met.seconds + pauses)))
    return found


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
        trial = None if candidate is None else _tried(needs, candidate, draws, seed)
        if trial is not None:
            one = trial.proposal(trial.heard())
            found += [one] if listener is None else heard(needs, one, listener, seed)
        if done is not None:
            done(candidate.name if candidate is not None else "")
    return found


@uncollected()
def safest(
    needs: Needs,
    makers: Iterable[Callable[[], Candidate | None]],
    wrong: float,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    done: Callable[[str], None] | None = None,
) -> dict[str, Proposal]:
    """Return of all ``proposals`` those that are "quickest", and that of them on a "card" that
    people can read, with at most ``wrong`` accepted with a wrong reading; and the one that is
    "surest", whose wrong readings are fewest. None of them where there is none.

    A candidate is heard only until too many wrong readings were met for it to be one of them.
    """
    trials: list[tuple[_Trial, int]] = []
    done = done or (lambda _: None)
    for number, make in enumerate(makers):
        candidate = make()
        trial = None if candidate is None else _tried(needs, candidate, draws, seed)
        if trial is not None:
            trials.append((trial, number))
        else:
            done("")
    best: dict[str, tuple[float, int, _Trial, Rates]] = {}

    def better(what: str, figure: float, number: int) -> bool:
        return what not in best or (figure, number) < best[what][:2]

    # quick ones with a check come first: the fewer wrong readings are known of, the sooner others
    # have too many; most without one have even in few reports
    checked = [one for one in trials if one[0].candidate.checked]
    rest = [one for one in trials if not one[0].candidate.checked]
    for trial, number in (*sorted(checked, key=lambda one: one[0].mean), *rest):
        done(trial.candidate.name)
        least = best["surest"][0] if best else math.inf
        if not trial.candidate.checked and trial.exceeds(max(least, wrong)):
            continue
        kinds = ("card", "quickest") if trial.candidate.card else ("quickest",)
        quicker = [what for what in kinds if better(what, trial.mean, number)]
        most = max(least, wrong) if quicker else least
        met = trial.heard(most)
        if met.wrong <= most:
            for what in quicker if met.wrong <= wrong else ():
                best[what] = (trial.mean, number, trial, met)
            if better("surest", met.wrong, number):
                best["surest"] = (met.wrong, number, trial, met)
    made: dict[int, Proposal] = {}
    for _, number, trial, met in best.values():
        made[number] = made.get(number) or trial.proposal(met)
    return {what: made[number] for what, (_, number, *_) in best.items()}


def _tried(needs: Needs, candidate: Candidate, draws: int, seed: int) -> _Trial | None:
    """Return a candidate with reports drawn from it; None where codewords that people ask for give
    a string two readings in it, and where it has symbols with two meanings though its family has
    none.
    """
    try:
        trial = _Trial(needs, candidate, draws, seed)
    except BookError:
        if needs.demands.required:
            return None
        raise
    alone = candidate.family == SINGLE
    return None if alone and learning_of(trial.message).several else trial


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
    it is doubted, and the prices of wrong readings, of questions and of looking down.
    """
    return math.fsum(costs(one, needs).values())


def costs(one: Proposal, needs: Needs) -> dict[str, float]:
    """Return what a report is expected to cost in seconds of radio, by what it is spent on."""
    prices, paid = needs.demands.spec.prices, one.met.price
    return {
        "the radio": one.seconds,
        "wrong readings": one.wrong * needs.hearing.wrong if paid is None else paid,
        "questions": one.ask * prices.repeat,
        "looking down": one.looked * prices.looking,
    }


@dataclass(frozen=True, slots=True)
class Ceiling:
    """A limit: what is ``asked`` in words, the ``most`` there may be of what is ``measured`` of a
    proposal, and how such a figure, and one by so much beyond the limit, are ``told``.
    """

    asked: str
    most: float
    measured: Callable[[Proposal], float]
    told: Callable[[float], str]
    beyond: Callable[[float, float], str] | None = None

    def missed(self, one: Proposal) -> bool:
        """Tell whether a proposal does not keep the limit."""
        return self.measured(one) > self.most

    def came(self, one: Proposal) -> str:
        """Return what a proposal comes to, and by how much that is too much."""
        came = self.measured(one)
        told = self.told(came)
        return f"{told}, {self.beyond(came, self.most)}" if self.beyond else told


def ceilings(needs: Needs) -> list[Ceiling]:
    """Return the limits that needs state."""
    limits, found = needs.limits, list[Ceiling]()
    if limits.seconds is not None:
        found.append(
            Ceiling(
                f"at most {limits.seconds:g} s for the longest report",
                limits.seconds,
                lambda one: one.worst,
                lambda came: f"{came:.2f} s",
                lambda came, most: f"{came - most:.2f} s too long",
            )
        )
    if limits.wrong is not None:
        found.append(
            Ceiling(
                f"at most {one_in(limits.wrong)} accepted wrong",
                limits.wrong,
                lambda one: one.wrong,
                one_in,
                lambda came, most: f"{came / most:.2g} times as many",
            )
        )
    if limits.card:
        found.append(
            Ceiling(
                "read from a card",
                0,
                lambda one: float(one.ear != "card"),
                lambda came: "needs the tool" if came else "read from a card",
            )
        )
        found.append(
            Ceiling(
                f"at most {limits.rows} rows of the card",
                limits.rows,
                lambda one: float(one.rows) if one.ear == "card" else 0.0,
                lambda came: f"{came:,.0f} rows",
                lambda came, most: f"{came - most:,.0f} too many",
            )
        )
    report, people = needs.demands.spec.report, needs.demands.spec.people
    if people.decode == "by heart":
        found.append(
            Ceiling(
                f"at most {people.pairs} pairs to learn by heart",
                people.pairs,
                lambda one: float(one.learning.pairs),
                lambda came: f"{came:,.0f} pairs",
                lambda came, most: f"{came - most:,.0f} too many",
            )
        )
    for name, most, measured in (
        ("symbols", report.symbols, lambda one: float(one.most.symbols)),
        ("words", report.words, lambda one: float(one.most.words)),
        ("symbols a glance", needs.demands.spec.dash.places, lambda one: float(one.most.glance)),
    ):
        if most is not None:
            found.append(
                Ceiling(
                    f"at most {most} {name}",
                    most,
                    measured,
                    lambda came, name=name: f"{came:.0f} {name}",  # type: ignore[misc]
                    lambda came, most: f"{came - most:.0f} too many",
                )
            )
    return found


def broken(one: Proposal, needs: Needs) -> dict[str, str]:
    """Return the limits a proposal does not keep: what is asked, and what it comes to."""
    return {limit.asked: limit.came(one) for limit in ceilings(needs) if limit.missed(one)}


def nearest(found: Sequence[Proposal], needs: Needs) -> list[tuple[str, Proposal, str]]:
    """Return (limit, proposal, what it comes to) of each limit that alone keeps a proposal from
    being taken: the proposal that would be taken without it, the one nearest to the limit. Where
    several limits must give way together, all of them for the proposal that breaks fewest.
    """
    limits = ceilings(needs)
    each = [
        (one, [limit for limit in limits if limit.missed(one)])
        for one in found
        if one.family != NOW
    ]
    single = {
        limit.asked: (limit, [one for one, missed in each if missed == [limit]]) for limit in limits
    }
    told = [
        (asked, min(several, key=lambda one: (limit.measured(one), expected_seconds(one, needs))))
        for asked, (limit, several) in single.items()
        if several
    ]
    if told:
        rows = [(asked, one, broken(one, needs)[asked]) for asked, one in told]
        return sorted(rows, key=lambda row: row[2] == "needs the tool")
    ear = "card" if needs.limits.card else "tool"
    one, missed = min(
        each,
        key=lambda pair: (len(pair[1]), pair[0].ear != ear, expected_seconds(pair[0], needs)),
    )
    together = " and ".join(limit.asked for limit in missed)
    return [(together, one, " and ".join(limit.came(one) for limit in missed))]


def chosen(found: Sequence[Proposal], needs: Needs) -> Proposal | None:
    """Return the proposal to take of those that keep the limits, None if none does.

    It is that of least seconds with questions where the limits say how many wrong readings may be
    accepted and no prices are stated, else that of least expected seconds in all, as the quickest
    code alone would be the one most easily misheard. A code that the tool can hear is taken for
    the tool, unless the limits want a card.
    """
    by_tool = {one.name for one in found if one.ear == "tool"}
    kept = [
        one
        for one in found
        if one.family != NOW
        and not broken(one, needs)
        and (needs.limits.card or one.ear == "tool" or one.name not in by_tool)
    ]
    return min(
        kept,
        key=lambda one: (
            expected_seconds(one, needs)
            if needs.limits.wrong is None or needs.demands.spec.prices.given
            else one.seconds,
            one.name,
        ),
        default=None,
    )
