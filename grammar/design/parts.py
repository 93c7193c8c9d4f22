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
from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any

from grammar.codes.numbered import width_for
from grammar.design.assignment import words_for
from grammar.design.codewords import optimal
from grammar.design.greedy_tree import estimated
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

    def only(self, symbols: str = "", without: str = "") -> SymbolPool:
        """Return the pool with fewer symbols in the data: these (in their order; all, if none are
        given), without those.
        """
        data = [s for s in symbols or self.data if s in self.data and s not in without]
        return SymbolPool(self.needs, "".join(data) + self.closing, self.closing)

    @cached_property
    def times(self) -> list[float]:
        """Seconds of the data symbols."""
        return [self.seconds[symbol] for symbol in self.data]

    def time(self, word: str) -> float:
        """Return the seconds of a codeword."""
        return sum(self.seconds[symbol] for symbol in word)


def pools(needs: Needs, limits: Sequence[float] = (1.0, 0.01, 0.001)) -> list[SymbolPool]:
    """Return sets of symbols, from all that may be used to those hardly ever taken for each other.

    Of a pair more often confused than a limit, the symbol that is misheard more often goes, but
    for those that are required.
    """
    found: list[SymbolPool] = []
    symbols, required = needs.alphabet.symbols, set(needs.demands.required)
    for limit in limits:
        while len(symbols) > 2:
            rows = {
                said: {heard: needs.noise.confusions[said][heard] for heard in symbols}
                for said in symbols
            }
            pair = next(
                (
                    pair
                    for pair in likeliest(rows, len(symbols) * len(symbols))
                    if not {pair.first, pair.second} <= required
                ),
                None,
            )
            if pair is None or pair.probability <= limit:
                break
            symbols = symbols.replace(
                max(
                    {pair.first, pair.second} - required,
                    key=lambda symbol: (1 - rows[symbol][symbol], symbol),
                ),
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
    kept = {symbols[place] for place in largest_independent_set(seconds, pairs)}
    kept |= set(needs.demands.required)
    return SymbolPool(needs, "".join(symbol for symbol in symbols if symbol in kept))


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


def assigned(pool: SymbolPool, name: str, seed: int) -> Table:
    """Return a table whose codewords are placed so that likely confusions cost least; all symbols
    are tried where one is enough.
    """
    field = pool.needs.fields[name]
    words = list(pool.data) if field.size <= len(pool.data) else monotone_words(pool, name)
    if field.size > _MOST_ASSIGNED:
        return monotone(pool, name)
    confused = confusion_matrix(pool.needs.noise, words)
    seconds = [pool.time(word) for word in words]
    needs = pool.needs
    chosen = words_for(
        [
            [needs.harm(name, said, read) for read in range(field.size)]
            for said in range(field.size)
        ],
        needs.shares[name],
        words,
        seconds,
        confused,
        wrong=needs.price_of(name),
        seed=seed,
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
    words = ["".join(map(pool.data.__getitem__, word)) for word in code.words]
    return {"kind": "listed", **({"fields": list(group)} if len(group) > 1 else {}), "words": words}


def packed(pool: SymbolPool, group: Sequence[str]) -> Table:
    """Return one table for several fields, in as many symbols as their combinations need."""
    return {"kind": "packed", "fields": list(group), "symbols": pool.data}


def natural(pool: SymbolPool, name: str) -> Table:
    """Return a table that keeps the order of the values: numbers in figures, as they are where they
    are whole and not below zero, and everything else in one symbol a value, or more that count.
    """
    field, letters = pool.needs.fields[name], pool.only(without=DIGITS)
    steps = field.progression
    if steps is not None:
        whole = steps.first >= 0 and not any(n % 1 for n in (steps.first, steps.step))
        longer = len(str(int(steps.last))) - width_for(field.size, 10) if whole else 1
        return {"kind": "digits", **({"count": "value", "per": 1} if longer <= 0 else {})}
    return monotone(letters if field.size <= len(letters.data) else pool, name)


def demanded(
    pool: SymbolPool, name: str, make: Callable[[SymbolPool, str], Table | None]
) -> Table | None:
    """Return the table of a field as it is asked for, made by ``make`` where it is free; None where
    the symbols of the pool don't do.
    """
    needs = pool.needs
    asked = needs.demands.spec.codewords.get(name)
    if asked is None:
        return make(pool, name)
    if name in needs.demands.kept:
        return dict(needs.demands.kept[name])
    own = pool.only(asked.symbols, asked.without)
    field = needs.fields[name]
    if not asked.fixed:
        if len(own.data) < 2 and field.size > 1:
            return None
        return monotone(own, name) if asked.in_order and make is not natural else make(own, name)
    fixed = {field.level(field.given(value)).level: word for value, word in asked.fixed.items()}
    begun = "".join(word[:1] for word in fixed.values())
    free = own.only(without=begun)
    rest = [level for level in range(field.size) if level not in fixed]
    words = dict(fixed)
    if len(rest) == 1 and free.data:
        words[rest[0]] = min(free.data, key=lambda symbol: (free.seconds[symbol], symbol))
    elif rest:
        if len(free.data) < 2:
            return None
        code = optimal([needs.shares[name][level] for level in rest], free.times)
        for level, word in zip(rest, code.words, strict=True):
            words[level] = "".join(free.data[letter] for letter in word)
    return {"kind": "listed", "words": [words[level] for level in range(field.size)]}


def own_letters(pool: SymbolPool, names: Sequence[str]) -> dict[str, Table] | None:
    """Return tables in which no symbol has two meanings: numbers in figures, any other field in
    letters of its own, those that its values begin with where they are free; None where the
    letters don't do.
    """
    needs, tables = pool.needs, dict[str, Table]()
    asked = needs.demands.spec.codewords
    taken = "".join(one.symbols + "".join(one.fixed.values()) for one in asked.values())
    left = pool.only(without=DIGITS + taken + needs.demands.symbols).data
    waiting: list[tuple[str, int, str]] = []
    for name in names:
        field = needs.fields[name]
        if name in asked:
            continue  # as it is asked for
        if field.progression is not None:
            tables[name] = natural(pool, name)
        else:
            waiting += [(name, level, field.text(level)) for level in range(field.size)]
    if len(waiting) > len(left):
        return None
    given: dict[tuple[str, int], str] = {}
    for look in (_initials, str.upper, None):
        for name, level, text in waiting:
            wanted = left if look is None else look(text)
            letter = next((one for one in wanted if one in left), "")
            if letter and (name, level) not in given:
                given[name, level] = letter
                left = left.replace(letter, "")
    for name in dict.fromkeys(name for name, *_ in waiting):
        words = [given[name, level] for level in range(needs.fields[name].size)]
        tables[name] = {"kind": "scale", "symbols": "".join(words)}
    return tables


def _initials(text: str) -> str:
    return "".join(word[:1] for word in text.upper().split())


# the check


def closed(pool: SymbolPool, ending: str, needed: str = "") -> SymbolPool:
    """Return the pool with its slowest symbol kept out of the data, to be the check of value 0; for
    a quick check, its two slowest. Those ``needed`` for the data stay in it.
    """
    left = [symbol for symbol in pool.symbols if symbol not in needed]
    slow = sorted(left, key=lambda symbol: (pool.seconds[symbol], symbol), reverse=True)
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
        if len(members) == 1 or (
            math.prod(sizes[place] for place in members) <= most
            and pool.needs.demands.together(first[place] for place in members)
        ):
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
    return estimated(shares, pool.times)
