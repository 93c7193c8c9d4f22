"""Large packed tables: the sums agree with plain arrays over every codeword, and the tables are
never listed by the product.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hear import brute
from hear.books import PACKED, PLAIN, packed_book
from helpers import book_of
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from codec import CodeError, encode
from codec.hear import hear
from codec.hear.layers import layers
from codec.hear.model import Model

SYMBOLS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def test_every_codeword_of_a_packed_table_against_arrays_over_all_of_them() -> None:
    """40,443 combinations in three of 36 symbols with a check (python-stdnum), summed over
    alignments for all strings at once.
    """
    sizes = {"energy": 13, "motor": 51, "battery": 61}
    fields = {
        name: {"kind": "quantity", "low": 0, "high": size - 1, "step": 1, "usual": 4, "spread": 6}
        for name, size in sizes.items()
    }
    book = book_of(PACKED | {"fields": fields, "hearing": PLAIN})
    words = ["one", "kello", "?", "niner", "golf"]
    hearing = hear(book, words)
    heard = [
        brute.word(book, "1"),
        brute.foreign(book, "kello"),
        brute.unclear(book),
        brute.word(book, "9"),
        brute.word(book, "G"),
    ]

    count = math.prod(sizes.values())
    number = np.arange(count)
    levels = dict(zip(sizes, np.unravel_index(number, tuple(sizes.values())), strict=True))
    strings = [
        SYMBOLS[n // 1296] + SYMBOLS[n // 36 % 36] + SYMBOLS[n % 36] for n in number.tolist()
    ]
    strings = [string + mod_37_36.calc_check_digit(string) for string in strings]
    said = np.array([[SYMBOLS.index(symbol) for symbol in string] for string in strings])
    likelihood = np.array([[word[symbol] for symbol in SYMBOLS] for word in heard])
    stray = [word[""] for word in heard]
    weights = np.zeros((len(heard) + 1, count))
    weights[0] = 1.0
    for place in range(5):
        for n, chance in enumerate(stray):
            weights[n + 1] += weights[n] * brute.INSERTION * chance
        weights *= 1 - brute.INSERTION
        if place < 4:
            moved = (1 - brute.DELETION) * weights[:-1] * likelihood[:, said[:, place]]
            weights *= brute.DELETION
            weights[1:] += moved
    prior = np.ones(count)
    for name, size in sizes.items():
        bell = np.exp(-((np.arange(size) - 4) ** 2) / 72)
        prior *= (0.98 * bell / bell.sum() + 0.02 / size)[levels[name]]
    mass = (1 - brute.STRAY) * prior * weights[-1]
    nothing = brute.STRAY * math.prod(stray) / 8
    total = float(mass.sum()) + nothing

    assert hearing.nothing == pytest.approx(nothing / total, rel=1e-9)
    assert [c.probability for c in hearing.candidates] == pytest.approx(
        np.sort(mass)[::-1][:5] / total, rel=1e-9
    )
    for name, size in sizes.items():
        listed = np.bincount(levels[name], weights=mass, minlength=size) / total
        np.testing.assert_allclose(
            hearing.marginals[name].probabilities, listed, rtol=1e-9, atol=1e-15
        )
        mean = float(listed @ np.arange(size)) / listed.sum()
        assert hearing.marginals[name].expected == pytest.approx(mean, rel=1e-9)
        assert hearing.marginals[name].spread == pytest.approx(
            math.sqrt(listed @ (np.arange(size) - mean) ** 2 / listed.sum()), rel=1e-9
        )


@settings(max_examples=30)
@given(st.lists(st.integers(1, 40), min_size=2, max_size=4), st.integers(2, 36))
def test_each_codeword_of_a_packed_table_has_one_path_with_its_levels(
    sizes: list[int], base: int
) -> None:
    fields = {
        f"p{n}": {"kind": "quantity", "low": 0, "high": size - 1, "step": 1}
        for n, size in enumerate(sizes)
    }
    packed = {"kind": "packed", "fields": list(fields), "symbols": SYMBOLS[:base]}
    book = book_of({"fields": fields, "tables": {"p": packed}, "messages": {"m": {"layout": "p"}}})
    table = book.tables["p"]
    found = layers(table)
    for number in {0, 1, math.prod(sizes) // 3, math.prod(sizes) - 1}:
        levels = tuple(int(n) for n in np.unravel_index(min(number, math.prod(sizes) - 1), sizes))
        paths: list[tuple[int, dict[str, int]]] = [(0, {})]
        for layer, symbol in zip(found, table.word(levels) or "", strict=True):
            paths = [
                (
                    int(layer.target[edge]),
                    decided | {name: int(row[edge]) for name, row in layer.decides.items()},
                )
                for state, decided in paths
                for edge in np.nonzero(
                    (layer.source == state) & (layer.symbol == SYMBOLS.index(symbol))
                )[0]
            ]
        assert [decided for _, decided in paths] == [dict(zip(fields, levels, strict=True))]


def test_a_table_of_1_669_631_codewords_takes_some_thousand_states() -> None:
    book = packed_book()
    assert book.tables["all"].size == 1_669_631
    assert [layer.states for layer in layers(book.tables["all"])] < [1, 40, 1500, 400]
    assert Model(book, None).lattices[0].edges < 60_000


def test_what_can_not_be_summed_exactly_is_refused() -> None:
    fields = {f"p{n}": {"kind": "quantity", "low": 0, "high": 96, "step": 1} for n in range(8)}
    packed = {"kind": "packed", "fields": list(fields)}
    book = book_of({"fields": fields, "tables": {"p": packed}, "messages": {"m": {"layout": "p"}}})
    with pytest.raises(CodeError, match="too many combinations") as refused:
        hear(book, "one two three")
    assert refused.value.kind == "too-large"
    assert refused.value.hint


def test_a_clear_report_of_a_large_table_is_read_right() -> None:
    book = packed_book()
    said: dict[str, Any] = {"energy": -0.3, "motor": 97, "battery": 140}
    hearing = hear(book, encode(book, said).words)
    assert hearing.accepted is not None
    assert hearing.accepted.values == encode(book, said).reading.values
