"""Hearing a report against a general library of weighted automata (pynini), same model; and a large
packed table. Prints ratios.
"""

from __future__ import annotations

import itertools
import random
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from hear.books import packed_book
from hear.models import eight_with_option, six_with_check
from hear.weighted_automata import Automata

from codec import Book
from codec.hear import channel, hear
from codec.hear.alignment import align
from codec.hear.draw import Source, passed_on
from codec.hear.forward_backward import sums
from codec.hear.k_best import BestFirstSearch, BestString
from codec.hear.model import model_of
from codec.hear.priors import Prior
from codec.hear.words import listen

REPORTS = 20


def reports(book: Book, noise: float, count: int = REPORTS) -> list[list[str]]:
    """Return heard words of reports that the book's prior expects."""
    chance = random.Random(1)
    source, ears = Source(model_of(book, None).weighted(Prior())), channel(book, noise)
    return [passed_on(ears, source.draw(chance)[1], chance) or ["one"] for _ in range(count)]


def five_best(book: Book, words: Sequence[str]) -> list[BestString]:
    """Return the five best strings by their sums, as the peer does: no marginals of the fields put
    together, no decision.
    """
    model, ears = model_of(book, None), channel(book)
    expected = model.weighted(Prior())
    evidence = align(ears, listen(book, ears, words), model.longest)
    found = [sums(one, evidence) for one in expected.lattices]
    return list(
        itertools.islice(BestFirstSearch(expected.lattices, found, expected.scale, evidence), 5)
    )


def milliseconds(one: Callable[[Any], object], items: Sequence[Any], rounds: int = 5) -> float:
    """Return the mean time for an item in the best of several rounds."""
    best = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        for item in items:
            one(item)
        best = min(best, time.perf_counter() - start)
    return 1000 * best / len(items)


def main() -> None:
    """Print one line for each model."""
    for name, book in (
        ("six symbols with a check", six_with_check()),
        ("eight symbols, one optional", eight_with_option()),
    ):
        automata = Automata(book, channel(book))
        heard = reports(book, -8.0)
        symbols = [
            "".join(book.alphabet.spoken[word.replace("-", " ")] for word in words)
            for words in heard
        ]
        ours = milliseconds(lambda words, book=book: hear(book, words), heard)
        best = milliseconds(automata.best_alignments, symbols, 2)
        summed = milliseconds(automata.best, symbols, 1)
        strings = milliseconds(lambda words, book=book: five_best(book, words), heard)
        print(
            f"{name}: hear {ours:.2f} ms a report (sums, marginals, best readings, decision), its"
            f" five best strings alone {strings:.2f} ms"
        )
        for what, theirs in (("best alignment", best), ("sums", summed)):
            print(
                f"  pynini, five best strings by their {what}: {theirs:.1f} ms,"
                f" {theirs / strings:.1f} times as long, {theirs / ours:.1f} times all of hear"
            )
    book = packed_book()
    for noise in (-6.0, -10.0):
        heard = reports(book, noise)
        ours = milliseconds(lambda words, noise=noise: hear(book, words, noise=noise), heard)
        fresh = iter(range(10**9))
        moving = milliseconds(
            lambda words, fresh=fresh: hear(book, words, prior={"motor": 80 + next(fresh) % 20}),
            heard,
        )
        print(
            f"1,669,631 codewords in four of 36 symbols, with a check, {noise:g} dB: {ours:.2f} ms"
            f" a report ({moving:.2f} ms with a new prior each)"
        )


if __name__ == "__main__":
    main()
