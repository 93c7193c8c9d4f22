"""The building blocks of a proposed code: which symbols, which fields together, which table for
them, and which check.

The sum of all symbols and of the check is 0 modulo a number of values. No data symbol has the value
0, so every single word lost or added before the check is noticed, and with codewords that tell
their own end a lost check symbol too. Two words that changed places are not noticed. A full check
has a value for each symbol and notices every single wrong word. A quick check has fewer values,
those of the quickest symbols, so that it takes less time to say; slow symbols share values with
quick ones they are hardly ever taken for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Any

from grammar.codes.numbered import width_for
from grammar.design.assignment import words_for
from grammar.design.codewords import optimal
from grammar.design.greedy_tree import grown
from grammar.design.independent_set import largest_independent_set
from grammar.design.needs import Needs
from grammar.design.noise import confusion_matrix
from grammar.sound import likeliest

Table = dict[str, Any]
_EXACT_UP_TO = 64  # levels up to which codewords are proven optimal where the times allow it
_MOST_ASSIGNED = 120  # levels whose codewords are placed by quadratic assignment
_MOST_PARTS = 10  # fields whose ways to be grouped are all looked at
DIGITS = "0123456789"
_QUICK = 0.7  # of the symbols have a value of their own in a quick check
FULL, QUICK, ORDER = "check", "quick", "order"
ENDINGS = ("", FULL, QUICK, ORDER)  # none, a full check, a quick one, one that notices swaps
NOTES = {
    FULL: (
        "The sum of all symbols, this one included, is 0 modulo their number; no other symbol has"
        " the value 0. It notices every single word that is wrong, lost or added, but not two words"
        " that changed places."
    ),
    QUICK: (
        "The sum of all symbols, this one included, is 0 modulo the number of symbols that may"
        " stand here; no symbol before it has the value 0. It notices every single word that is"
        " lost or added, and every wrong one unless the two have the same value, as some have that"
        " are hardly ever taken for each other; it does not notice two words that changed places."
    ),
    ORDER: (
        "The sum of all symbols, every second one counted twice, is 0 modulo their number (one less"
        " where that is even, so that two of them have the same value). It notices every other"
        " single word that is wrong, and neighbours that changed places; a word lost or added"
        " nearly always."
    ),
}


class SymbolPool:
    """Symbols to build with.

    ``closing`` are kept out of the data: they have the value 0 in a check.
    """

    def __init__(self, needs: Needs, symbols: str, closing: str = "") -> None:
        """Take the symbols in use and those that at most close a report."""
        self.needs, self.symbols, self.closing = needs, symbols, closing
        self.data = "".join(symbol for symbol in symbols if symbol not in closing)
        self.seconds = {symbol: needs.alphabet.words[symbol].seconds for symbol in symbols}

    @cached_property
    def times(self) -> list[float]:
        """Seconds of the data symbols."""
        return [self.seconds[symbol] for symbol in self.data]

    def time(self, word: str) -> float:
        """Return the seconds of a codeword."""
        return sum(self.seconds[symbol] for symbol in word)


def pools(needs: Needs, limits: Sequence[float] = (1.0, 0.01, 0.001)) -> list[SymbolPool]:
    """Return sets of symbols, from all that may be used to those hardly ever taken for each other.

    Of a pair more often confused than a limit, the symbol that is misheard more often goes.
    """
    found: list[SymbolPool] = []
    symbols = needs.alphabet.symbols
    for limit in limits:
        while len(symbols) > 2:
            rows = {
                said: {heard: needs.noise.confusions[said][heard] for heard in symbols}
                for said in symbols
            }
            pair = likeliest(rows, 1)[0]
            if pair.probability <= limit:
                break
            symbols = symbols.replace(
                max(pair.first, pair.second, key=lambda symbol: (1 - rows[symbol][symbol], symbol)),
                "",
            )
        if not found or found[-1].symbols != symbols:
            found.append(SymbolPool(needs, symbols))
    return found


def apart(needs: Needs, limit: float) -> SymbolPool:
    """Return a largest set of symbols no two of which are taken for each other with more than
    ``limit``: words that noise can't confuse; of the largest the one whose words take least time.
    """
    symbols, rows = needs.alphabet.symbols, needs.noise.confusions
    pairs = [
        (i, j)
        for i, a in enumerate(symbols)
        for j, b in enumerate(symbols[:i])
        if max(rows[a][b], rows[b][a]) > limit
    ]
    seconds = [needs.alphabet.words[symbol].seconds for symbol in symbols]
    return SymbolPool(
        needs, "".join(symbols[place] for place in largest_independent_set(seconds, pairs))
    )


def joint(needs: Needs, group: Sequence[str]) -> list[float]:
    """Return the shares of the combinations of levels of several fields, the last counting
    fastest.
    """
    row = [1.0]
    for name in group:
        row = [one * share for one in row for share in needs.shares[name]]
    return row


# tables


def monotone(pool: SymbolPool, name: str) -> Table:
    """Return a table in the order of the levels: digits where they do, else one or more symbols
    that count.
    """
    size = pool.needs.fields[name].size
    width = width_for(size, len(pool.data))
    if set(DIGITS) <= set(pool.data) and width_for(size, 10) == width:
        return {"kind": "digits"}
    if width == 1:
        return {"kind": "scale", "symbols": pool.data[:size]}
    return {"kind": "packed", "fields": [name], "symbols": pool.data}


def monotone_words(pool: SymbolPool, name: str) -> list[str]:
    """Return the codewords of that table."""
    size = pool.needs.fields[name].size
    table = monotone(pool, name)
    figures = DIGITS if table["kind"] == "digits" else pool.data
    width = width_for(size, len(figures))
    return [
        "".join(
            figures[level // len(figures) ** place % len(figures)]
            for place in reversed(range(width))
        )
        for level in range(size)
    ]


def assigned(pool: SymbolPool, name: str, wrong: float, seed: int) -> Table:
    """Return a table whose codewords are placed so that likely confusions do least harm; all
    symbols are tried where one is enough.
    """
    field = pool.needs.fields[name]
    words = list(pool.data) if field.size <= len(pool.data) else monotone_words(pool, name)
    if field.size > _MOST_ASSIGNED:
        return monotone(pool, name)
    confused = confusion_matrix(pool.needs.noise, words)
    seconds = [pool.time(word) for word in words]
    chosen = words_for(
        field, pool.needs.shares[name], words, seconds, confused, wrong=wrong, seed=seed
    )
    if len(chosen[0]) == 1:
        return {"kind": "scale", "symbols": "".join(chosen)}
    return {"kind": "listed", "words": chosen}


def variable(pool: SymbolPool, group: Sequence[str]) -> Table:
    """Return a table of codewords of unequal length, short for what is likely, of one field or
    several together.
    """
    shares = joint(pool.needs, group)
    code = optimal(shares, pool.times, exact=len(shares) <= _EXACT_UP_TO)
    words = ["".join(pool.data[letter] for letter in word) for word in code.words]
    return {"kind": "listed", **({"fields": list(group)} if len(group) > 1 else {}), "words": words}


def packed(pool: SymbolPool) -> Table:
    """Return one table for all fields, in as many symbols as their combinations need."""
    return {"kind": "packed", "fields": list(pool.needs.order), "symbols": pool.data}


# the check


def closed(pool: SymbolPool, ending: str) -> SymbolPool:
    """Return the pool with its slowest symbol kept out of the data, to be the check of value 0; for
    a quick check, its two slowest.
    """
    slow = sorted(pool.symbols, key=lambda symbol: (pool.seconds[symbol], symbol), reverse=True)
    kept = {"": 0, FULL: 1, QUICK: 2, ORDER: 1}[ending]
    return SymbolPool(pool.needs, pool.symbols, "".join(reversed(slow[:kept])))


def check(pool: SymbolPool, ending: str) -> Table:
    """Return the check table over a closed pool."""
    table: Table = {"kind": "check", "method": "weighted sum", "weights": [1]}
    if ending == FULL:
        return table | {"symbols": pool.closing + pool.data}
    if ending == ORDER:  # of an odd number no two weights, nor their difference, share a factor
        odd = (len(pool.symbols) - 1) // 2 * 2 + 1
        return table | {
            "weights": [1, 2],
            "symbols": pool.closing + pool.data,
            **({} if odd == len(pool.symbols) else {"modulus": odd}),
        }
    modulus = max(2, round(_QUICK * len(pool.symbols)))
    quick = sorted(pool.data, key=lambda symbol: (pool.seconds[symbol], symbol))
    quick, slow = quick[: modulus - 1], quick[modulus - 1 :]
    confusions = pool.needs.noise.confusions
    partners: list[str] = []
    for symbol in slow:
        free = [other for other in quick if other not in partners]
        partners.append(
            min(
                free,
                key=lambda other: (confusions[symbol][other] + confusions[other][symbol], other),
            )
        )
    order = [
        pool.closing[0],
        *partners,
        *(symbol for symbol in quick if symbol not in partners),
        pool.closing[1],
        *slow,
    ]
    return table | {"modulus": modulus, "symbols": "".join(order)}


# which fields together


def groups(pool: SymbolPool, most: int) -> list[tuple[str, ...]]:
    """Return the fields in groups of at most ``most`` combinations, so that codewords for each
    group take least time in all.

    Every partition is looked at up to ten fields (a sum over sets of fields); more fields stay
    alone beyond those.
    """
    names = pool.needs.order
    first, rest = names[:_MOST_PARTS], names[_MOST_PARTS:]
    sizes = [pool.needs.fields[name].size for name in first]
    price: dict[int, float] = {}
    for mask in range(1, 1 << len(first)):
        members = [place for place in range(len(first)) if mask >> place & 1]
        if len(members) == 1 or math.prod(sizes[place] for place in members) <= most:
            price[mask] = _estimate(pool, [first[place] for place in members])
    best: dict[int, tuple[float, list[int]]] = {0: (0.0, [])}
    for mask in range(1, 1 << len(first)):
        low = mask & -mask
        options = [
            (best[mask ^ part][0] + price[part], [*best[mask ^ part][1], part])
            for part in price
            if part & low and part & mask == part
        ]
        best[mask] = min(options)
    chosen = best[(1 << len(first)) - 1][1]
    together = [
        tuple(first[place] for place in range(len(first)) if part >> place & 1)
        for part in sorted(chosen, key=lambda p: p & -p)
    ]
    return together + [(name,) for name in rest]


def _estimate(pool: SymbolPool, group: Sequence[str]) -> float:
    shares = sorted(joint(pool.needs, group), reverse=True)
    if len(shares) == 1:
        return min(pool.times)
    return grown(shares, pool.times, quick=True)[1]
