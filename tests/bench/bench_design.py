"""Figures of the designer: python tests/bench/bench_design.py. Everything is printed, nothing is
asserted; it takes some minutes.

- codewords: seconds for 2,000 levels, and the distance from the bound of the greedy tree alone
- race: the race book's own needs, by the designer's own figures and by the simulation of hearing
  (priors, questions, thresholds) in runs of laps, in the book's noise, and at -9 dB; the number of
  reports heard of each is the first argument (200: some minutes)
- dash: the C of a designed book against ``encode``, 100,000 random readings
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from design.by_hand import lap_alone
from export.c_program import answers, compiled, readings_of

from codec import load_book
from codec.hear.scoring import Scorer, mean_seconds
from grammar.book import Book
from grammar.design import (
    analyse,
    candidates,
    chosen,
    needs_of,
    one_in,
    optimal,
    proposals,
    written,
)
from grammar.export.c import c_files
from grammar.parsing import parse_book


def codewords() -> None:
    generator = random.Random(1)
    weights = [generator.random() ** 2 for _ in range(2000)]
    for times in (
        (1, 2),
        (1, 1, 2),
        (1, 2, 3),
        (2, 3, 5),
        tuple(generator.uniform(0.39, 0.88) for _ in range(31)),
    ):
        start = time.process_time()
        code = optimal(weights, times)
        seconds = time.process_time() - start
        tree = optimal(weights, times, exact=False)
        shown = str(times) if len(times) < 5 else f"{len(times)} words"
        proven, entropy, alone = (
            code.cost / code.bound - 1,
            code.cost / code.entropy_bound - 1,
            tree.cost / code.bound - 1,
        )
        print(
            f"  2000 levels over {shown:12} {seconds:5.2f} s, {proven:9.5%} over the bound proven,"
            f" {entropy:7.3%} over entropy;",
            end="",
        )
        print(f" greedy tree alone {alone:7.3%}")


def race(reports: int) -> Book:
    """The race book's lap report by hand, and what is designed for the same needs; in its own
    noise, and for and in harsher noise.
    """
    book = load_book("examples/race/race.toml")
    for noise in (-9.0, None):
        hand = lap_alone(book, noise)
        needs = needs_of(hand, "lap")
        found = proposals(needs, candidates(needs, ["packed"]), draws=3000)
        pick = chosen(found, needs)
        shown = [one for one in found if one is pick or one.name.startswith("packed-all-")]
        own = analyse(hand, "lap", draws=3000)
        print(f"  noise {needs.hearing.noise}; picked: {pick and pick.name}")
        print(
            "  the designer's own figures, read alone;  | heard, weighed and asked for again: said"
            " once, with questions, accepted wrong"
        )
        base = (own.mean, *heard("by hand", hand, (own.mean, own.wrong, own.ask), None, reports))
        for one in shown:
            heard(one.name, one.book, (one.mean, one.wrong, one.ask), base, reports)
    return parse_book(written(needs, next(one for one in found if one is pick), 1)[0], "designed")


def heard(
    name: str,
    book: Book,
    figures: tuple[float, float, float],
    base: tuple[float, float, float] | None,
    reports: int,
) -> tuple[float, float]:
    """Print a book's figures, and those of its reports as they are heard; return its seconds said
    once, and in all.
    """
    message = book.messages["lap"]
    met = Scorer(reports)(book, message, "tool", 21)
    once, in_all = mean_seconds(book), met.seconds
    saved = [
        "      –" if base is None else f"{1 - x / y:7.1%}"
        for x, y in zip((figures[0], once, in_all), base or (1, 1, 1), strict=True)
    ]
    print(
        f"  {name:18} {figures[0]:.3f} s {saved[0]}, wrong {figures[1]:.1e}, ask"
        f" {figures[2]:5.1%} | ",
        end="",
    )
    print(
        f"{once:.3f} s {saved[1]}, {in_all:.3f} s ({met.seconds_error:.3f}) {saved[2]}, asked"
        f" {met.ask:.1%}, wrong {one_in(met.wrong, met.wrong_error)}",
        flush=True,
    )
    return once, in_all


def dash(book: Book, count: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        given, wanted = answers(
            book,
            compiled(book, Path(place), "dash"),
            lambda message: readings_of(message, count) if message.name == "lap" else (),
        )
    alike = sum(one == other for one, other in zip(given, wanted, strict=True))
    print(
        f"  {alike} of {len(wanted)} strings alike; {len(c_files(book, 'dash').source):,} bytes of"
        " source"
    )


def main() -> None:
    reports = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print("codewords")
    codewords()
    print("race")
    designed = race(reports)
    print("dash")
    dash(designed, 100_000)


if __name__ == "__main__":
    main()
