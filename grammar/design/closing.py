"""The check symbol of a proposed code: the sum of all symbols and of the check is 0 modulo a number
of values.

No data symbol has the value 0, so every single word lost or added before the check is noticed, and
with codewords that tell their own end a lost check symbol too. Two words that changed places are
not noticed.

A full check has a value for each symbol and notices every single wrong word. A quick check has
fewer values, those of the quickest symbols, so that it takes less time to say; slow symbols share
values with quick ones they are hardly ever taken for.
"""

from __future__ import annotations

from grammar.design.parts import Pool, Table

_QUICK = 0.7  # of the symbols have a value of their own in a quick check
FULL, QUICK = "check", "quick"
ENDINGS = ("", FULL, QUICK)  # none, a full check, a quick one
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
}


def closed(pool: Pool, ending: str) -> Pool:
    """Return the pool with its slowest symbol kept out of the data, to be the check of value 0; for
    a quick check, its two slowest.
    """
    slow = sorted(pool.symbols, key=lambda symbol: (pool.seconds[symbol], symbol), reverse=True)
    kept = {"": 0, FULL: 1, QUICK: 2}[ending]
    return Pool(pool.needs, pool.symbols, "".join(reversed(slow[:kept])))


def check(pool: Pool, ending: str) -> Table:
    """Return the check table over a closed pool."""
    table: Table = {"kind": "check", "method": "weighted sum", "weights": [1]}
    if ending == FULL:
        return table | {"symbols": pool.closing + pool.data}
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
