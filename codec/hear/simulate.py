"""Simulation of a book's reports: said as the prior expects, heard through a channel, judged, asked
for again, accepted or given up.

What the model calls 90 % sure should be right nine times in ten: that is what the reliability rows
are for. ``truth`` lets the reports pass through another channel than the one assumed, to see what a
mistaken model does.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from codec.hear.channel import Channel, Noise, channel
from codec.hear.decision import spoken_seconds
from codec.hear.draw import Source, answer, condition, passed_on
from codec.hear.heard import AskedPart
from codec.hear.hearing import Hearing, hear
from codec.hear.model import Model, model_of
from codec.hear.priors import Prior
from codec.hear.tally import Tally
from codec.reading import Reading
from grammar.errors import EncodeError, ReportError
from grammar.fields import FieldBase

if TYPE_CHECKING:
    from grammar.book import Book


@dataclass(frozen=True, slots=True)
class Setting:
    """What is simulated: how many reports, in runs of so many laps, in which noise, and what the
    hearer knows.

    ``hearings`` is how often one report is heard before the engineer gives up and waits for the
    next lap; with ``asking`` False all of it is asked for always. ``prior`` False hears every
    report as if nothing were expected of it. ``truth`` is the channel the reports really pass
    through.
    """

    reports: int = 2000
    seed: int = 1
    laps: int = 20
    noise: Noise | Channel | None = None
    truth: Noise | Channel | None = None
    prior: bool = True
    hearings: int = 2
    asking: bool = True
    title: str = ""


def simulate(book: Book, setting: Setting, progress: Callable[[int], None] | None = None) -> Tally:
    """Return what happens to ``setting.reports`` reports; ``progress`` is told how many are
    done.
    """
    chance = random.Random(setting.seed)  # noqa: S311 - a simulation must be repeatable
    ears = channel(book, setting.noise)
    air = ears if setting.truth is None else channel(book, setting.truth)
    tally = Tally(setting.title or book.title)
    for reading, expected in said(book, setting, chance):
        tally.reports += 1
        _report(
            book,
            reading,
            expected if setting.prior else Prior(flat=True),
            (ears, air),
            setting,
            chance,
            tally,
        )
        if progress is not None:
            progress(tally.reports)
    return tally


def said(
    book: Book, setting: Setting, chance: random.Random, *, stray: float | None = None
) -> Iterator[tuple[Reading | None, Prior]]:
    """Yield what the driver says, lap by lap, with what is rightly expected of it; None for what is
    no report of this book, ``stray`` of all (by default the book's share).
    """
    model = model_of(book, None)
    stray = book.hearing.stray if stray is None else stray
    expected, source = Prior(), _source(model, Prior())
    for number in range(setting.reports):
        if number % setting.laps == 0 and expected != Prior():
            expected, source = Prior(), _source(model, Prior())
        if chance.random() < stray:
            yield None, expected
            continue
        lattice, string = source.draw(chance)
        match = model.lattices[lattice].message.quick(string)
        if (
            match is None
        ):  # pragma: no cover - strings drawn from a lattice are strings of its message
            raise AssertionError(string)
        reading = Reading(book, match, string, None, _near(match.message.fields, expected))
        yield reading, expected
        after = Prior(
            {**expected.last, **reading.values},
            {
                **{name: laps + 1 for name, laps in expected.laps.items()},
                **dict.fromkeys(reading.values, 1),
            },
        )
        if model.tells(after):
            expected, source = after, _source(model, after)


def _source(model: Model, prior: Prior) -> Source:
    return Source(model.weighted(prior))


def _near(fields: Mapping[str, FieldBase], prior: Prior) -> dict[str, Any] | None:
    near = {}
    for name, one in fields.items():
        centre = prior.centre(one)
        if one.wraps and one.progression is not None and centre is not None:
            try:
                for level in range(one.size):
                    one.restored(level, centre)
            except EncodeError:
                centre += one.progression.step / 4  # never midway between two
            near[name] = centre
    return near or None


def _report(
    book: Book,
    reading: Reading | None,
    expected: Prior,
    channels: tuple[Channel, Channel],
    setting: Setting,
    chance: random.Random,
    tally: Tally,
) -> None:
    """Let one report be said, heard, asked for again where the decision says so, and counted."""
    ears, air = channels
    earlier: list[Hearing] = []
    string = reading.said if reading is not None else ""
    radio = condition(air, chance)
    words = passed_on(air, string, chance, radio) if reading is not None else anything(book, chance)
    tally.seconds += book.alphabet.seconds(string)
    tally.plain_seconds += book.alphabet.seconds(string)
    part: AskedPart | None = None
    weighed = True  # whether the first hearing could be: only then it was told what asking costs
    for hearing in range(setting.hearings):
        found = heard(book, words, expected, ears, earlier, part)
        best = found.candidates[0] if found is not None and found.candidates else None
        right = best is not None and reading is not None and best.reading == reading
        if hearing == 0:
            tally.first.append((best.probability if best is not None else 0.0, right))
        if found is not None and found.accepted is not None:
            tally.right, tally.wrong = tally.right + right, tally.wrong + (not right)
            tally.cost += book.hearing.wrong if hearing and weighed and not right else 0.0
            return
        if hearing == setting.hearings - 1:
            break
        if hearing == 0:
            weighed = found is not None
            if found is not None:
                tally.doubted, tally.expected_cost = (
                    tally.doubted + 1,
                    tally.expected_cost + found.decision.costs[found.decision.kind],
                )
        part = (
            found.decision.part
            if found is not None and found.decision.part is not None and setting.asking
            else AskedPart()
        )
        again, seconds = _asked(book, string, part, tally)
        tally.cost += seconds if weighed else 0.0
        earlier = earlier if found is None else [found]
        words = (
            passed_on(air, again, chance, radio, again=True)
            if reading is not None
            else anything(book, chance)
        )
    tally.given_up += 1


def _asked(book: Book, string: str, part: AskedPart, tally: Tally) -> tuple[str, float]:
    """Count a question with its answer, and return what is said again and the seconds of both."""
    again, seconds = answer(string, part), asked_seconds(book, string, part)
    tally.asked_part, tally.asked_all = (
        tally.asked_part + (part != AskedPart()),
        tally.asked_all + (part == AskedPart()),
    )
    tally.seconds += seconds
    return again, seconds


def asked_seconds(book: Book, string: str, part: AskedPart) -> float:
    """Return the seconds of a question for a part of a string, the pause, and the answer."""
    return (
        spoken_seconds(book, part.after + part.before)
        + book.hearing.turnaround
        + book.alphabet.seconds(answer(string, part))
    )


def heard(
    book: Book,
    words: list[str],
    expected: Prior,
    ears: Channel,
    earlier: list[Hearing],
    part: AskedPart | None,
) -> Hearing | None:
    """Return the hearing of a report, None where nothing can be heard in it."""
    try:
        return hear(book, words, prior=expected, noise=ears, earlier=earlier, part=part, count=1)
    except ReportError:  # not a word of it came through, or far too many
        return None


def anything(book: Book, chance: random.Random) -> list[str]:
    """Return words of the book that are no report."""
    longest = model_of(book, None).longest
    words = [entry.word for entry in book.alphabet.words.values()]
    return [chance.choice(words) for _ in range(chance.randint(1, 2 * longest))]
