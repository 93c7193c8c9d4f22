"""Figures of the designer: python tests/bench/bench_design.py. Everything is printed, nothing is asserted; it takes some minutes.

- codewords: seconds for 2,000 levels, and the distance from the bound of the greedy tree alone
- sets: time to 108 strings in the fourth power of the cycle of seven words, the best size known (A. Vesel and J. Žerovnik 2002)
- race: the race book's own needs, by the designer's own figures and by the simulation of hearing (priors, questions, thresholds), in the
  book's noise and at -9 dB; the number of reports is the first argument (2000: some minutes; 10000 tells rates of a thousandth apart)
- dash: the C of a designed book against ``encode``, 100,000 random readings
"""

from __future__ import annotations

import math
import random
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from design.by_hand import lap_alone
from export.c_program import answers, readings_of

from codec import load_book
from codec.hear.simulate import Setting, simulate
from grammar.book import Book
from grammar.design import analyse, candidates, cycle, is_independent, needs_of, optimal, propose, written, zero_error
from grammar.export.c import c_files
from grammar.loading import parse_book


def codewords() -> None:
    generator = random.Random(1)
    weights = [generator.random() ** 2 for _ in range(2000)]
    for times in ((1, 2), (1, 1, 2), (1, 2, 3), (2, 3, 5), tuple(generator.uniform(0.39, 0.88) for _ in range(31))):
        start = time.process_time()
        code = optimal(weights, times)
        seconds = time.process_time() - start
        tree = optimal(weights, times, exact=False)
        shown = str(times) if len(times) < 5 else f"{len(times)} words"
        proven, entropy, alone = code.cost / code.bound - 1, code.cost / code.entropy_bound - 1, tree.cost / code.bound - 1
        print(f"  2000 levels over {shown:12} {seconds:5.2f} s, {proven:9.5%} over the bound proven, {entropy:7.3%} over entropy;", end="")
        print(f" greedy tree alone {alone:7.3%}")


def sets() -> None:
    graph = cycle(7)
    for length, enough, seed in ((3, 33, 1), *((4, 108, seed) for seed in range(1, 9))):
        start = time.process_time()
        found = zero_error(graph, length, steps=4_000_000, enough=enough, seed=seed)
        proper, seconds = is_independent(graph, found), time.process_time() - start
        print(f"  C7^{length}: {len(found)} strings (independent: {proper}; wanted {enough}), seed {seed}, {seconds:.0f} s processor")


def race(reports: int) -> Book:
    book = load_book("examples/race/race.toml")
    hand = lap_alone(book)
    needs = needs_of(book, "lap")
    own = analyse(hand, "lap", draws=3000)
    rows = [("race by hand", hand, own.mean, own.wrong, own.ask)]
    picked = hand
    for make in list(candidates(needs, ["packed"]))[:3]:
        candidate = make()
        if candidate is not None:
            one = propose(needs, candidate, draws=3000)
            rows.append((one.name, one.book, one.mean, one.wrong, one.ask))
            if one.name == "packed-all-quick":
                picked = parse_book(written(needs, one, 1)[0], "designed")
    print("  read alone, as the designer figures it: mean s, saved, accepted wrong, asked again")
    for name, _, mean, wrong, ask in rows:
        print(f"  {name:18}   {mean:.3f}  {1 - mean / own.mean:6.1%}   {wrong:.1e}   {ask:5.1%}")
    for noise in (None, -9.0):
        heard([(name, each) for name, each, *_ in rows if name != "packed-all"], reports, noise)
    return picked


def heard(books: Sequence[tuple[str, Book]], reports: int, noise: float | None) -> None:
    """The first reports of runs, as nothing wanders away from what the code was designed for; stray reports and surprises included."""
    print(f"  heard, weighed and asked for again, {reports} reports, noise {'of the book' if noise is None else f'{noise:g} dB'}:")
    print("                       said once, saved     with questions, saved   accepted wrong (standard error)   given up")
    base = (1.0, 1.0)
    for place, (name, book) in enumerate(books):
        tally = simulate(book, Setting(reports=reports, seed=21, laps=1, noise=noise))
        once, all_of_it, wrong = tally.plain_seconds / reports, tally.seconds / reports, tally.wrong / reports
        base = base if place else (once, all_of_it)
        error = math.sqrt(wrong * (1 - wrong) / reports)
        seconds = f"{once:5.3f} s  {1 - once / base[0]:6.1%}    {all_of_it:8.3f} s  {1 - all_of_it / base[1]:6.1%}"
        print(f"  {name:18}   {seconds}     {tally.wrong:4} = {wrong:.1e} ({error:.0e})   {tally.given_up / reports:13.1%}", flush=True)


def dash(book: Book, count: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        given, wanted = answers(book, Path(place), "dash", lambda message: readings_of(message, count) if message.name == "lap" else ())
    alike = sum(one == other for one, other in zip(given, wanted, strict=True))
    print(f"  {alike} of {len(wanted)} strings alike; {len(c_files(book, 'dash').source):,} bytes of source")


def main() -> None:
    reports = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print("codewords")
    codewords()
    print("race")
    designed = race(reports)
    print("dash")
    dash(designed, 100_000)
    print("sets")
    sets()


if __name__ == "__main__":
    main()
