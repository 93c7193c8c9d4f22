"""Figures of the designer: python tests/bench/bench_design.py. Everything is printed, nothing is asserted; it takes some minutes.

- codewords: seconds for 2,000 levels, and the distance from the bound of the greedy tree alone
- sets: time to 108 strings in the fourth power of the cycle of seven words, the best size known (A. Vesel and J. Žerovnik 2002)
- race: the race book's own needs, judged by the simulation of hearing (questions, thresholds), beside the designer's own figures
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
    own = analyse(hand, "lap")
    rows = [("race by hand", hand, own.mean, own.wrong, own.ask)]
    picked = hand
    for make in list(candidates(needs, ["packed"]))[:4]:
        candidate = make()
        if candidate is not None:
            one = propose(needs, candidate, draws=3000)
            rows.append((one.name, one.book, one.mean, one.wrong, one.ask))
            if one.name == "packed-all-check":
                picked = parse_book(written(needs, one, 1)[0], "designed")
    print(f"  read alone: mean s, wrong, asked; then {reports} first reports of a run, heard: seconds with questions, wrong, given up")
    for name, each, mean, wrong, ask in rows:
        tally = simulate(each, Setting(reports=reports, seed=3, laps=1)).as_dict()
        heard = f"{tally['seconds']:.2f}   {tally['accepted_wrong']:.2e}   {tally['given_up']:.2e}"
        print(f"  {name:18}   {mean:18.3f}   {wrong:.1e}   {ask:5.1%} |  {heard}")
    return picked


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
