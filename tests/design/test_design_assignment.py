"""Which level gets which codeword: the quadratic assignment."""

from __future__ import annotations

import dataclasses
import math
import random

import numpy
import pytest
from scipy import optimize

from codec import load_book
from codec.hear.simulate import Setting, simulate
from codec.hear.tally import Tally
from grammar.codes import Listed, Numbered
from grammar.design import assign, needs_of, noise_of
from grammar.design.assignment import exchanged
from grammar.design.noise import Noise
from grammar.design.parts import SymbolPool, assigned
from grammar.design.write import book_text
from grammar.document import document
from grammar.parsing import parse_book

# NUG12 of QAPLIB (C. Nugent, T. Vollmann and J. Ruml 1968; R. Burkard, S. Karisch and F. Rendl
# 1997): flows, between places on a grid of
# 3 x 4; the optimum is 578. Figures from memory.
FLOWS = """
0 5 2 4 1 0 0 6 2 1 1 1
5 0 3 0 2 2 2 0 4 5 0 0
2 3 0 0 0 0 0 5 5 2 2 2
4 0 0 0 5 2 2 10 0 0 5 5
1 2 0 5 0 10 0 0 0 5 1 1
0 2 0 2 10 0 5 1 1 5 4 0
0 2 0 2 0 5 0 10 5 2 3 3
6 0 5 10 0 1 10 0 0 0 5 0
2 4 5 0 0 1 5 0 0 0 10 10
1 5 2 0 5 5 2 0 0 0 5 0
1 0 2 5 1 4 3 5 10 5 0 2
1 0 2 5 1 0 3 0 10 0 2 0
"""


def test_a_published_instance_reaches_its_optimum() -> None:
    flows = [[int(number) for number in row.split()] for row in FLOWS.strip().splitlines()]
    places = [[abs(a // 4 - b // 4) + abs(a % 4 - b % 4) for b in range(12)] for a in range(12)]
    found, cost = assign(flows, places, starts=30)
    assert cost == 578
    assert sorted(found) == list(range(12))


def test_the_example_of_scipys_handbook_reaches_its_optimum() -> None:
    # documentation of scipy.optimize.quadratic_assignment: score 3260
    a = [[0, 80, 150, 170], [80, 0, 130, 100], [150, 130, 0, 120], [170, 100, 120, 0]]
    b = [[0, 5, 2, 7], [0, 0, 3, 8], [0, 0, 0, 3], [0, 0, 0, 0]]
    assert assign(a, b)[1] == 3260


def test_harm_grows_with_distance_and_closes_the_circle() -> None:
    fields = load_book("examples/race/race.toml").fields
    assert fields["energy"].harm(20, 20) == 0
    assert (
        fields["energy"].harm(20, 21)
        < fields["energy"].harm(20, 25)
        < fields["energy"].harm(0, 40)
        == 1
    )
    assert fields["lap"].harm(0, 9) == fields["lap"].harm(0, 1)
    assert fields["alert"].harm(0b0001, 0b0011) == 0.25
    assert fields["mode"].harm(0, 2) == 1


BATTERY = """
[alphabet]
retired = "IKMOU"
[fields.battery]
kind = "quantity"
low = 20
high = 64
step = 2
usual = 44
spread = 6
[tables.battery]
kind = "scale"
{symbols}
[messages.hot]
layout = "battery"
"""


def simulated(noise: Noise, word: str, generator: random.Random) -> str:
    """Return what is heard of a codeword, mishaps as they come."""
    heard = []
    for symbol in (*word, ""):
        if generator.random() < noise.added:
            heard.append(generator.choice(list(noise.confusions)))
        if symbol and generator.random() >= noise.lost:
            row = noise.confusions[symbol]
            heard += generator.choices(list(row), list(row.values()))
    return "".join(heard)


def harm_heard(symbols: str) -> float:
    """Return the mean harm of what is heard in harsh noise, by plain simulation of the channel."""
    book = parse_book(BATTERY.format(symbols=f'symbols = "{symbols}"'))
    field, table = book.fields["battery"], book.tables["battery"]
    assert isinstance(table, Numbered | Listed)
    noise = noise_of(book.alphabet, book.hearing, -9.0)
    generator, total, count = random.Random(2), 0.0, 30_000
    for level in generator.choices(range(field.size), field.shares(), k=count):
        heard = table.levels(simulated(noise, table.word((level,)) or "", generator))
        total += field.harm(level, heard[0]) if heard is not None else 0.0
    return total / count


@pytest.mark.slow
def test_assigned_codewords_do_less_harm_than_monotone_and_random_ones_in_simulation(
    capsys: pytest.CaptureFixture[str],
) -> None:
    book = parse_book(BATTERY.format(symbols=""))
    needs = needs_of(book, "hot")
    needs = dataclasses.replace(needs, noise=noise_of(book.alphabet, book.hearing, -9.0))
    ordered = book.alphabet.symbols[: book.fields["battery"].size]
    placed = assigned(SymbolPool(needs, ordered), "battery", seed=1)[
        "symbols"
    ]  # the same symbols, in another order
    generator = random.Random(5)
    chance = [harm_heard("".join(generator.sample(ordered, len(ordered)))) for _ in range(3)]
    monotone, best = harm_heard(ordered), harm_heard(placed)
    with capsys.disabled():
        print(
            f"\n  harm a report, -9 dB: assigned {best:.4f}, monotone {monotone:.4f}, random"
            f" {sum(chance) / 3:.4f}"
        )
    assert best < 0.9 * monotone
    assert best < 0.9 * min(chance)


TEMPERATURES = ("motor", "battery")  # of the race book
REPORTS = 500


def heard(symbols: dict[str, str]) -> Tally:
    """Return what the simulation of ``niner book simulate`` makes of the race book's temperatures,
    a symbol each, in harsh noise.
    """
    race = load_book("examples/race/race.toml")
    raw = document(race.source, race.name)
    sections = {
        "alphabet": raw["alphabet"],
        "fields": {name: raw["fields"][name] for name in TEMPERATURES},
        "tables": {name: {"kind": "scale", "symbols": symbols[name]} for name in TEMPERATURES},
        "messages": {"hot": {"layout": " ".join(TEMPERATURES)}},
    }
    setting = Setting(reports=REPORTS, seed=3, laps=1, noise=-9.0, hearings=1)
    return simulate(parse_book(book_text(sections, [], {}), "temperatures"), setting)


@pytest.mark.slow  # the short form is the one above
def test_assigned_codewords_are_accepted_far_more_often_in_the_simulation_of_hearing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Heard once, weighed against what is usual: the right reading is sure enough more often than
    with a monotone or a random order.
    """
    race = load_book("examples/race/race.toml")
    needs = dataclasses.replace(
        needs_of(race, "lap"), noise=noise_of(race.alphabet, race.hearing, -9.0)
    )
    ordered = {name: race.alphabet.symbols[: race.fields[name].size] for name in TEMPERATURES}
    placed = {
        name: assigned(SymbolPool(needs, symbols), name, seed=1)["symbols"]
        for name, symbols in ordered.items()
    }
    assert {name: sorted(symbols) for name, symbols in placed.items()} == {
        name: sorted(symbols) for name, symbols in ordered.items()
    }
    generator = random.Random(5)
    shuffled = {
        name: "".join(generator.sample(symbols, len(symbols))) for name, symbols in ordered.items()
    }
    best, monotone, chance = heard(placed), heard(ordered), heard(shuffled)
    with capsys.disabled():
        for name, one in (("assigned", best), ("monotone", monotone), ("random", chance)):
            first = sum(right for _, right in one.first) / REPORTS
            print(
                f"\n  heard once, -9 dB, {name}: accepted right {one.right / REPORTS:.1%}, wrong"
                f" {one.wrong / REPORTS:.1%}; ",
                end="",
            )
            print(f"likeliest reading right {first:.1%}", end="")
    for other in (monotone, chance):
        error = math.sqrt(
            best.right * (1 - best.right / REPORTS) + other.right * (1 - other.right / REPORTS)
        )
        assert best.right - other.right > 4 * error
        assert sum(right for _, right in best.first) > sum(right for _, right in other.first)
    assert best.wrong <= 0.02 * REPORTS


def test_exchanges_are_those_of_scipy() -> None:
    generator = numpy.random.default_rng(5)
    for size in (2, 3, 7, 15):
        for _ in range(4):
            a, b = generator.random((size, size)), generator.random((size, size))
            places = generator.permutation(size)
            guess = numpy.column_stack([numpy.arange(size), places])
            options = {"rng": generator, "partial_guess": guess}
            expected = optimize.quadratic_assignment(a, b, method="2opt", options=options)
            assert exchanged(a, b, places).tolist() == expected.col_ind.tolist()
