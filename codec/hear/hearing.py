"""``hear``: the exact posterior over the readings of a book, given what was heard and what was
expected, and what to do about it.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from codec.hear.alignment import Alignments, align, beginning
from codec.hear.channel import Channel, Noise, channel
from codec.hear.decision import Decision, decide, settled
from codec.hear.forward_backward import Sums, sums
from codec.hear.heard import AskedPart, HeardReport
from codec.hear.model import Expectation, model_of
from codec.hear.priors import Prior, PriorLike
from codec.hear.ranking import Ranked, Ranking
from codec.hear.scored import weighed_by_score
from codec.hear.slots import Slots, listen_to_slots
from codec.hear.words import Words, listen
from codec.reading import Reading
from grammar.errors import CodeError, EncodeError, ReportError
from grammar.fields import FieldBase, Value, plain_value
from grammar.message import Direction, Match

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book

_WEIGHED = 12  # how many readings the decision weighs against each other
_SCORED = 60  # how many a recogniser scores again


@dataclass(frozen=True, slots=True)
class WeighedReading:
    """A reading with its probability."""

    reading: Reading
    probability: float


@dataclass(frozen=True)
class Marginal:
    """How probable each level of one field is; ``absent`` is the share of everything that does not
    say the field.

    ``expected`` and ``spread`` are the mean and the standard deviation of a quantity, in its unit,
    given that it is said; None for others.
    """

    field: FieldBase
    probabilities: np.ndarray
    absent: float
    near: Decimal | None = None

    @functools.cached_property
    def level(self) -> int:
        """The most probable level."""
        return int(self.probabilities.argmax())

    @property
    def probability(self) -> float:
        """The probability of the most probable level."""
        return float(self.probabilities[self.level])

    def value(self, level: int) -> Value:
        """Return the value of a level, restored where only a remainder is said and something near
        it is expected.
        """
        if self.near is None:
            return self.field.value(level)
        try:
            return self.field.restored(level, self.near)
        except EncodeError:  # two values are equally close
            return self.field.value(level)

    def text(self, level: int) -> str:
        """Return the value of a level as people read it."""
        if self.field.wraps and self.near is not None:
            return self.field.restored_text(self.value(level))
        return self.field.text(level)

    @functools.cached_property
    def _moments(self) -> tuple[float, float] | None:
        import numpy as np

        steps, levels = self.field.progression, range(self.field.size)
        if steps is None or self.absent >= 1 - 1e-12:
            return None
        if self.field.wraps and self.near is not None:
            restored = [
                value for level in levels if isinstance(value := self.value(level), Decimal)
            ]
            values = np.array(restored, dtype=float)
        else:
            values = float(steps.first) + float(steps.step) * np.arange(self.field.size)
        share = self.probabilities / self.probabilities.sum()
        mean = float(share @ values)
        return mean, float(share @ (values - mean) ** 2) ** 0.5

    @property
    def expected(self) -> float | None:
        """The mean."""
        return None if self._moments is None else self._moments[0]

    @property
    def spread(self) -> float | None:
        """The standard deviation."""
        return None if self._moments is None else self._moments[1]

    def top(self, count: int = 3) -> list[tuple[int, float]]:
        """Return the most probable levels with their probabilities."""
        order = self.probabilities.argsort(kind="stable")[::-1][:count]
        return [
            (int(level), float(self.probabilities[level]))
            for level in order
            if self.probabilities[level] > 0
        ]


@dataclass(frozen=True)
class Hearing:
    """What was heard, and what it may mean.

    ``candidates`` are the most probable readings, best first; ``unlisted`` is the probability of
    all other readings together, ``nothing`` that this was no report at all; these sum to 1.
    ``marginals`` maps each field to its Marginal. ``conditions`` is how likely each condition of
    the radio was when this was heard, ``radio`` how likely each of its regimes is for what is heard
    next. ``messages`` maps each message to the probability that it was said, whatever its values,
    before a recogniser scored its readings. ``decision`` says whether to accept the first candidate
    or what to ask; nothing is accepted below the book's threshold.
    """

    book: Book
    heard: tuple[HeardReport, ...]
    candidates: tuple[WeighedReading, ...]
    unlisted: float
    nothing: float
    marginals: Mapping[str, Marginal]
    conditions: tuple[float, ...]
    radio: tuple[float, ...]
    decision: Decision
    messages: Mapping[str, float]

    @property
    def accepted(self) -> Reading | None:
        """The reading that is accepted, None where the decision is to ask."""
        return self.candidates[0].reading if self.decision.kind == "accept" else None

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for ``--json``."""
        return {
            "heard": [one.text for one in self.heard],
            "decision": self.decision.as_dict(),
            "accepted": None if self.accepted is None else self.accepted.as_dict(),
            "candidates": [
                {"probability": one.probability, **one.reading.as_dict()} for one in self.candidates
            ],
            "unlisted": self.unlisted,
            "nothing": self.nothing,
            "fields": {name: _facts(marginal) for name, marginal in self.marginals.items()},
            "conditions": list(self.conditions),
            "events": [event for one in self.heard for event in one.events],
        }


def _facts(marginal: Marginal) -> dict[str, Any]:
    levels = [
        {"value": plain_value(marginal.value(level)), "probability": share}
        for level, share in marginal.top(5)
    ]
    return {
        "levels": levels,
        "absent": marginal.absent,
        "expected": marginal.expected,
        "spread": marginal.spread,
        "unit": marginal.field.unit_text,
    }


def hear(
    book: Book,
    heard: Words | Slots,
    *,
    prior: PriorLike = None,
    noise: Noise | Channel | None = None,
    earlier: Sequence[Hearing] = (),
    part: AskedPart | None = None,
    direction: Direction | None = None,
    radio: Sequence[float] = (),
    count: int = 5,
    ask: bool = True,
) -> Hearing:
    """Return what ``heard`` may mean, exactly: every reading of the book is weighed, over every
    alignment of its words with those heard.

    ``heard`` is a transcript, a list of words (see ``codec.hear.words``), or the ``Slots`` of a
    recogniser; where these have a score, the best readings are weighed by it. ``prior`` is None
    (what the book expects), the last accepted reading or its values, several from the oldest to the
    newest, or a ``Prior``. ``noise`` is a grade, decibels, or a Channel; the default is the book's.
    ``earlier`` are hearings of the same report: ``heard`` then answers the question the last of
    them asked (``part`` says otherwise), and all are weighed together. ``direction`` narrows the
    book to reports ("car", the default where there are any) or calls ("pit"). ``radio`` is what
    is known of the radio, as ``radio`` of the report before tells; without it, what was known for
    the first of ``earlier``, or beforehand. Without ``ask`` nothing but the probabilities is
    worked out where nothing can be accepted: the decision is to ask for all, in half the time.

    Raises ReportError where nothing was heard or the words can't be used, CodeError (kind
    "too-large") where a message is too large, (kind "prior") for a prior that is none, such as a
    string: decode it first, and (kind "usage") where ``radio`` is of another channel.
    """
    model = model_of(book, direction)
    ears = channel(book, noise)
    asked = part if part is not None else (earlier[-1].decision.part if earlier else None)
    known = tuple(radio) or (earlier[0].heard[0].radio if earlier else ())
    if known and len(known) != len(ears.regimes):
        raise CodeError(
            f"what is known of the radio has {len(known)} numbers",
            kind="usage",
            expected=[f"{len(ears.regimes)}, as radio of a hearing through this channel"],
        )
    hearings = [
        *(one for before in earlier for one in before.heard),
        *(one._replace(radio=known) for one in _listened(book, ears, heard, asked or AskedPart())),
    ]
    alignments = align(ears, hearings, model.longest)
    expected = Prior.of(prior)
    weights = model.weighted(expected)
    found = [sums(one, alignments) for one in weights.lattices]
    spec = book.hearing
    scale = [(1 - spec.stray) * share for share in weights.scale]
    stray = spec.stray * alignments.nothing
    everything = sum(one.total * share for one, share in zip(found, scale, strict=True)) + stray
    if not everything > 0:
        raise ReportError(
            "what was heard can't be a report of this book",
            kind="no-report",
            source=hearings[-1].text,
            span=(0, len(hearings[-1].text)),
        )
    scale = [share / everything for share in scale]
    nothing = stray / everything
    ranking = Ranking(weights.lattices, found, scale, alignments)
    marginals = _marginals(book, found, scale, expected)
    if len(hearings) == 1 and hearings[0].score is not None and hearings[0].part == AskedPart():
        before = ranking.best(max(count, _SCORED))
        ranked, left = weighed_by_score(ears, hearings[0], ranking, before, model.longest)
        nothing *= left
        marginals = _changed(marginals, before, ranked, left)
    else:
        ranked = ranking.best(count)
        sure = ranked[0][1] if ranked else 0.0
        if not settled(book, sure) and (ask or sure >= spec.threshold):
            ranked = ranking.best(max(count, _WEIGHED))
    enough = bool(ranked) and ranked[0][1] >= spec.threshold
    unheard = (
        enough
        and len(hearings) == 1
        and _end_unheard(book, weights, hearings[0], ranking, ranked[0][0])
    )
    weighed = ranked if ask or (enough and not unheard) else []
    candidates = [
        WeighedReading(_reading(book, match, expected), probability)
        for match, probability in ranked
    ]
    listed = candidates[:count]
    unlisted, rest = (
        max(0.0, 1 - nothing - sum(one.probability for one in some))
        for some in (listed, candidates)
    )
    return Hearing(
        book,
        tuple(hearings),
        tuple(listed),
        unlisted,
        nothing,
        marginals,
        *_conditions(ears, alignments, found, scale, nothing, known),
        decide(
            book,
            ears,
            [(one.reading, one.probability) for one in candidates[: len(weighed)]],
            rest,
            nothing,
            unheard=unheard,
        ),
        {
            one.lattice.message.name: summed.total * share
            for one, summed, share in zip(weights.lattices, found, scale, strict=True)
        },
    )


def _end_unheard(
    book: Book, weights: Expectation, heard: HeardReport, ranking: Ranking, match: Match
) -> bool:
    """Tell whether the end of the best reading was not heard, and what is expected does not make it
    as sure as the book wants: a transmission that is cut off tells nothing of what was behind.
    """
    said = ["".join(word.symbol or "?" for word in way) for way in heard.ways]
    if len(said) != 1 or heard.part != AskedPart():
        return False
    index = book.alphabet.index
    string = ranking.best_string(match)
    if not string.startswith(said[0]) or string == said[0]:
        return False
    begun = beginning([index[symbol] for symbol in said[0]], len(index))
    found = [sums(one, begun) for one in weights.lattices]
    whole = sum(one.total * share for one, share in zip(found, weights.scale, strict=True))
    for one, model, share in zip(found, weights.lattices, weights.scale, strict=True):
        if model.lattice.message is match.message:
            told = [one.levels[name][level] for name, level in match.levels().items()]
            return share * float(min(told, default=one.total)) < book.hearing.threshold * whole
    return False


def _listened(
    book: Book, ears: Channel, heard: Words | Slots, part: AskedPart
) -> list[HeardReport]:
    if isinstance(heard, Slots):
        return [listen_to_slots(book, heard, part)]
    return listen(book, ears, heard, part)


def _changed(
    marginals: Mapping[str, Marginal],
    before: Sequence[Ranked],
    after: Sequence[Ranked],
    left: float,
) -> dict[str, Marginal]:
    """Return the marginals after the probabilities of some readings have changed, and all others by
    the factor ``left``.
    """
    found = {name: one.probabilities * left for name, one in marginals.items()}
    for sign, ranked, factor in ((-1, before, left), (1, after, 1.0)):
        for match, probability in ranked:
            for name, level in match.levels().items():
                found[name][level] += sign * probability * factor
    return {
        name: dataclasses.replace(
            one,
            probabilities=found[name].clip(0),
            absent=min(1.0, max(0.0, 1 - float(found[name].sum()))),
        )
        for name, one in marginals.items()
    }


def _conditions(
    ears: Channel,
    alignments: Alignments,
    found: Sequence[Sums],
    scale: Sequence[float],
    nothing: float,
    radio: Sequence[float],
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return how likely each condition of the radio was for what was heard, and each regime is for
    the next report: as before where a recogniser's doubts are all that was heard.
    """
    import numpy as np

    before = ears.expected(radio)
    if alignments.condition[0] < 0:
        return before, ears.after(radio)
    ended = np.sum([one.ended * share for one, share in zip(found, scale, strict=True)], axis=0)
    heard = np.bincount(alignments.condition, weights=ended, minlength=len(before))
    now = (heard + nothing * np.array(before)).tolist()
    told = [one / share if share else 0.0 for one, share in zip(now, before, strict=True)]
    return tuple(now), ears.after(radio, told)


def _reading(book: Book, match: Match, prior: Prior) -> Reading:
    """Return the reading with its wrapped fields restored by what was expected."""
    text = book.alphabet.say(match.string)
    near: dict[str, Any] = {}
    for name, level in match.levels().items():
        one = book.fields[name]
        centre = prior.centre(one)
        if one.wraps and centre is not None:
            try:
                one.restored(level, centre)
            except EncodeError:
                continue  # two values are equally close: the remainder is all that is known
            near[name] = centre
    return Reading(book, match, text, None, near or None)


def _marginals(
    book: Book, found: Sequence[Sums], scale: Sequence[float], prior: Prior
) -> dict[str, Marginal]:
    import numpy as np

    names = dict.fromkeys(name for one in found for name in one.levels)
    marginals = {}
    for name in names:
        rows = [
            one.levels[name] * share
            for one, share in zip(found, scale, strict=True)
            if name in one.levels
        ]
        probabilities = np.sum(rows, axis=0)
        absent = min(1.0, max(0.0, 1 - float(probabilities.sum())))
        marginals[name] = Marginal(
            book.fields[name], probabilities, absent, prior.centre(book.fields[name])
        )
    return marginals
