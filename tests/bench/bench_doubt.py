"""How far a hearing may be trusted on channels it was not made for.

python tests/bench/bench_doubt.py [--reports 5000] [--book BOOK] [--seed 1] [--rows TEXT …]
    [--processes 2] [--figure reliability.svg]

For each way of spoiling a report: how many were asked about, accepted and accepted wrongly, what
was stated of those accepted, and how many errors nobody could have noticed: the words heard are
another report of the book that fits what was expected. Reports are drawn as the book expects them;
the spoiling is written here and shares nothing with the model of the hearer. What is known of the
radio is carried from report to report, as ``niner hear --follow``, the log and the import do.
Everything is printed, nothing is asserted.
"""

from __future__ import annotations

import argparse
import dataclasses
import io
import itertools
import math
import random
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.common import ROOT, table

from codec import Book, CodeError, Reading, decode, load_book
from codec.hear import Channel, channel, hear
from codec.hear.channel import Condition
from codec.hear.draw import passed_on
from grammar.fields.base import surprised

LAPS = 20  # of a run: after it the next report is the first of a new one
FITS = (
    0.01  # a report fits what was expected if it was no less than so much as likely as the one said
)

Words = list[str]
Spoiling = Callable[[Words, Sequence[str], random.Random], Words]


def uniform(share: float) -> Spoiling:
    """Each word is any other word, so often."""
    return lambda words, known, chance: [
        _other(word, known, chance) if chance.random() < share else word for word in words
    ]


def dropped(share: float) -> Spoiling:
    """Each word is lost, so often."""
    return lambda words, _, chance: [word for word in words if chance.random() >= share]


def inserted(share: float) -> Spoiling:
    """Before each word another is heard that nobody said, so often."""
    return lambda words, known, chance: [
        heard
        for word in words
        for heard in ([chance.choice(known), word] if chance.random() < share else [word])
    ]


def swapped(share: float) -> Spoiling:
    """Two neighbours are exchanged, in so many reports."""

    def spoil(words: Words, _: Sequence[str], chance: random.Random) -> Words:
        if chance.random() < share and len(words) > 1:
            place = chance.randrange(len(words) - 1)
            words[place : place + 2] = words[place + 1], words[place]
        return words

    return spoil


def stuttered(share: float) -> Spoiling:
    """Each word is said twice, so often."""
    return lambda words, _, chance: [
        heard for word in words for heard in [word] * (1 + (chance.random() < share))
    ]


def two_wrong(share: float, *, together: bool) -> Spoiling:
    """Two words, neighbours or any two, are other words, in so many reports."""

    def spoil(words: Words, known: Sequence[str], chance: random.Random) -> Words:
        if chance.random() < share and len(words) > 1:
            first = chance.randrange(len(words) - 1)
            places = [first, first + 1] if together else chance.sample(range(len(words)), 2)
            for place in places:
                words[place] = _other(words[place], known, chance)
        return words

    return spoil


def one_wrong_one_lost(share: float) -> Spoiling:
    """One word is another and one is lost, in so many reports."""

    def spoil(words: Words, known: Sequence[str], chance: random.Random) -> Words:
        if chance.random() < share and len(words) > 1:
            wrong, lost = chance.sample(range(len(words)), 2)
            words[wrong] = _other(words[wrong], known, chance)
            del words[lost]
        return words

    return spoil


def lost_in_runs(share: float) -> Spoiling:
    """A run of two to four words is lost, in so many reports."""

    def spoil(words: Words, _: Sequence[str], chance: random.Random) -> Words:
        if chance.random() < share:
            first = chance.randrange(len(words))
            del words[first : first + chance.randint(2, 4)]
        return words

    return spoil


def mistaken_always(share: float) -> Spoiling:
    """Every third word of the table is, so often, one and the same other: a habit nobody told."""
    return lambda words, known, chance: [
        known[(place + 7) % len(known)]
        if (place := known.index(word)) % 3 == 0 and chance.random() < share
        else word
        for word in words
    ]


def heavy_tailed(scale: float) -> Spoiling:
    """How bad a report is varies without bound: each word is any other with a share drawn anew for
    the report, small as a rule and large now and then (Pareto, exponent 1).
    """

    def spoil(words: Words, known: Sequence[str], chance: random.Random) -> Words:
        share = min(0.9, scale / max(1e-9, chance.random()))
        return uniform(share)(words, known, chance)

    return spoil


def looked_alike(share: float) -> Spoiling:
    """Symbols that look alike on a dash are read for each other, so often."""
    pairs = [("five", "sierra"), ("eight", "bravo"), ("zero", "delta"), ("two", "zulu")]
    pairs += [("one", "seven"), ("zero", "quebec"), ("victor", "yankee"), ("eight", "three")]
    other = {a: b for one, two in pairs for a, b in ((one, two), (two, one))}
    return lambda words, known, chance: [
        other[word] if other.get(word) in known and chance.random() < share else word
        for word in words
    ]


def _other(word: str, known: Sequence[str], chance: random.Random) -> str:
    return chance.choice([other for other in known if other != word])


def _plain(book: Book, noise: float | None = None) -> Channel:
    """Return the book's confusions alone, in a radio that is never worse, read without slips."""
    return dataclasses.replace(
        channel(book, noise), conditions=(Condition(1.0),), misread=0.0, swapped=0.0
    )


CHANNELS: dict[str, Callable[[Book], Channel]] = {
    "as the book's channel has it": channel,
    "confusions of the book alone": _plain,
    "confusions of three decibels more noise": lambda book: _plain(book, -12.0),
}
SPOILINGS: dict[str, Spoiling] = {
    "not at all": lambda words, *_: words,
    **{f"any other word, {share:.0%}": uniform(share) for share in (0.02, 0.05, 0.10)},
    **{f"dropped, {share:.0%}": dropped(share) for share in (0.05, 0.10)},
    **{f"inserted, {share:.0%}": inserted(share) for share in (0.05, 0.10)},
    "neighbours exchanged, 20% of reports": swapped(0.2),
    "said twice, 10% of words": stuttered(0.1),
    **{f"two wrong, {share:.0%} of reports": two_wrong(share, together=False)
       for share in (0.05, 0.2, 1.0)},
    **{f"two neighbours wrong, {share:.0%} of reports": two_wrong(share, together=True)
       for share in (0.05, 0.2, 1.0)},
    **{f"one wrong and one lost, {share:.0%} of reports": one_wrong_one_lost(share)
       for share in (0.05, 0.2)},
    "two to four lost in a row, 20% of reports": lost_in_runs(0.2),
    "a third of the table mistaken, 10% of times": mistaken_always(0.1),
    "any other word, share heavy-tailed": heavy_tailed(0.005),
    "taken for what looks alike, 3%": looked_alike(0.03),
}  # fmt: skip


class Row(NamedTuple):
    """What came of the reports of one row."""

    name: str
    known: bool
    reports: int
    accepted: int
    wrong: int
    unnoticeable: int
    stated: float  # errors expected among the accepted
    refused: int
    called: tuple[tuple[float, bool], ...]  # the best reading: how sure, and whether right


def said(book: Book, count: int, chance: random.Random) -> Iterator[tuple[Reading, dict[str, Any]]]:
    """Yield reports with the values of the lap before, drawn as the book expects them: surprises,
    wandering and what is left unsaid included.
    """
    message = max(
        (m for m in book.sent_by("car")),
        key=lambda m: book.hearing.messages.get(m.name, 1.0),
    )
    cost, last = book.cost("seconds"), dict[str, Any]()
    for number in range(count):
        last = {} if number % LAPS == 0 else last
        reading = None
        while reading is None:
            levels = {}
            for name, field in message.fields.items():
                shares = field.shares_after(last[name], 1) if name in last else field.shares()
                weights = surprised(shares, book.hearing.surprise)
                levels[name] = chance.choices(range(field.size), weights)[0]
            string = message.cheapest(levels, cost)
            if string is None:  # a partial table has no word for what was drawn
                continue
            reading = decode(book, string, context=last or None, direction="car")
            try:
                values = dict(reading.values)
            except CodeError:  # midway between two values with the same remainder
                reading = None
        yield reading, last
        last = values


def likelihood(book: Book, reading: Reading, last: dict[str, Any]) -> float:
    """Return how likely a report was before anything was heard, by the book."""
    product = 1.0
    for name, level in reading.match.levels().items():
        field = book.fields[name]
        shares = field.shares_after(last[name], 1) if name in last else field.shares()
        product *= surprised(shares, book.hearing.surprise)[level]
    return product


def row(path: str, name: str, known: bool, count: int, seed: int) -> Row:
    """Return what comes of the reports of one row."""
    book, chance = load_book(path), random.Random(f"{seed} {name} {known}")
    air = CHANNELS[name](book) if name in CHANNELS else None
    words = sorted(entry.word for entry in book.alphabet.words.values())
    accepted = wrong = unnoticeable = refused = 0
    stated, radio, called = 0.0, tuple[float, ...](), []
    for reading, last in said(book, count, chance):
        spoken = [book.alphabet.words[symbol].word for symbol in reading.said]
        heard = (
            SPOILINGS[name](spoken, words, chance)
            if air is None
            else passed_on(air, reading.said, chance)
        )
        prior = last if known else {}
        try:
            other: Reading | None = decode(
                book, " ".join(heard), context=last or None, direction="car"
            )
        except CodeError:
            other = None
        if other is not None and other.match.levels() != reading.match.levels():
            fits = likelihood(book, other, prior) >= FITS * likelihood(book, reading, prior)
            unnoticeable += fits
        try:
            found = hear(book, heard, prior=prior or None, radio=radio, count=1)
        except CodeError:
            refused += 1
            continue
        radio = found.radio
        if found.candidates:
            best = found.candidates[0]
            right = best.reading.match.levels() == reading.match.levels()
            called.append((best.probability, right))
        if found.accepted is not None:
            accepted += 1
            wrong += not right
            stated += 1 - found.candidates[0].probability
    return Row(name, known, count, accepted, wrong, unnoticeable, stated, refused, tuple(called))


def told(one: Row) -> list[str]:
    """Return the cells of a row; the bound is 1.3 times what nobody can notice and two standard
    errors.
    """
    bound = 1.3 * one.unnoticeable + 2 * math.sqrt(max(1, one.unnoticeable))
    share = one.wrong / max(1, one.accepted)
    return [
        one.name,
        "known" if one.known else "unknown",
        f"{1 - one.accepted / one.reports:.1%}",
        str(one.wrong),
        str(one.unnoticeable),
        f"{bound:.0f}{'' if one.wrong <= bound else ' !'}",
        f"{share:.3%}",
        f"{one.stated / max(1, one.accepted):.3%}",
    ]


EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.98, 0.995, 1.0)


def picture(rows: Sequence[Row], form: str = "svg") -> bytes:
    """Return the reliability of all rows as SVG or PNG: how sure the best reading was called
    against how often it was right; the size of a dot is the number of reports.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    names = list(dict.fromkeys(row.name for row in rows))
    with mpl.rc_context({"svg.hashsalt": "niner", "font.size": 7}):
        across = min(5, len(names))
        # no narrower than what is said below the axes
        size = (max(5.0, 2.3 * across), 2.4 * math.ceil(len(names) / across))
        figure = Figure(figsize=size, layout="constrained")
        for number, name in enumerate(names, start=1):
            axes = figure.add_subplot(math.ceil(len(names) / across), across, number)
            axes.plot([0, 1], [0, 1], color="0.7", linewidth=0.8)
            for row in (row for row in rows if row.name == name):
                dots = []
                for low, high in itertools.pairwise(EDGES):
                    inside = [(p, ok) for p, ok in row.called if low <= p < high or p == high == 1]
                    if len(inside) >= 20:
                        dots.append(
                            (
                                *(sum(c) / len(inside) for c in zip(*inside, strict=True)),
                                len(inside),
                            )
                        )
                colour = "#0072b2" if row.known else "#d55e00"
                for sure, right, count in dots:
                    spread = 2 * math.sqrt(max(sure * (1 - sure), 1e-4) / count)
                    axes.errorbar(
                        sure,
                        right,
                        spread,
                        color=colour,
                        marker="o",
                        markersize=2 + math.log10(count),
                    )
            axes.set_title(name, fontsize=7, wrap=True)
            axes.set(xlim=(-0.03, 1.03), ylim=(-0.03, 1.03))
        figure.supxlabel("how sure the best reading was called (blue: last lap known; orange: not)")
        figure.supylabel("how often it was right")
        stream = io.BytesIO()
        dated = {"metadata": {"Date": None}} if form == "svg" else {"dpi": 110}
        figure.savefig(stream, format=form, **dated)
    return stream.getvalue()


def main() -> None:
    """Print the rows."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--reports", type=int, default=5000)
    parser.add_argument("--book", default=str(ROOT / "examples" / "race" / "race.toml"))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rows", nargs="*", default=[""], help="only rows whose names hold one")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--figure", type=Path)
    args = parser.parse_args()
    names = [name for name in (*CHANNELS, *SPOILINGS) if any(part in name for part in args.rows)]
    jobs = [
        (args.book, name, known, args.reports, args.seed)
        for name in names
        for known in (True, False)
    ]
    with ProcessPoolExecutor(args.processes) as pool:
        rows = list(pool.map(row, *zip(*jobs, strict=True)))
    head = "spoiled, last lap, asked, wrong, unnoticeable, bound, wrong among accepted, stated"
    title = f"{args.reports} reports a row, {args.book}, seed {args.seed}"
    table(title, [head.split(", "), *map(told, rows)])
    if args.figure:
        args.figure.write_bytes(picture(rows, args.figure.suffix[1:]))


if __name__ == "__main__":
    main()
