"""Which level gets which codeword, so that likely confusions do least harm: a quadratic assignment.

Cost of an assignment: Σ share(i) · harm(i, j) · P(word of i heard as word of j), and the price of
the seconds each level's word takes. It is the quadratic assignment problem of T. Koopmans and M.
Beckmann (1957), which is hard; ``scipy`` searches it from several starts (the fast approximate
method of J. Vogelstein and others, 2015, then exchanges of two), so the result is good, not proven
best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from grammar.libraries import needed

if TYPE_CHECKING:
    from grammar.message import Match, Message

_STARTS = 1  # random starts besides the given order
_MOST_EXCHANGED = 40  # items up to which exchanges of two refine what the fast method found
_NARROW = 1e-9


def harm_between(message: Message, levels: Mapping[str, int], match: Match) -> float:
    """Return the harm of a whole reading taken for another: the fields' harms added; a field not
    read, or read unsaid, is 1.
    """
    if match.message is not message:
        return float(max(1, len(levels)))
    read = match.levels()
    both = levels.keys() & read.keys()
    harms = (message.fields[name].harm(levels[name], read[name]) for name in both)
    return sum(harms) + len(levels.keys() ^ read.keys())


def assign(
    flow: Sequence[Sequence[float]],
    nearness: Sequence[Sequence[float]],
    *,
    starts: int = _STARTS,
    seed: int = 1,
) -> tuple[list[int], float]:
    """Return (place of each item, cost) that makes Σ flow[i][j] · nearness[place i][place j] small;
    both square, of one size.

    The places returned are the best found from the given order and ``starts`` random ones. Raises
    CodeError where scipy is missing.
    """
    numpy = needed("numpy")
    a, b = numpy.asarray(flow, dtype=float), numpy.asarray(nearness, dtype=float)
    generator = numpy.random.default_rng(seed)
    best = list(range(len(a)))
    least = _cost(a, b, best)
    optimize = needed("scipy.optimize")
    for start in range(starts + 1):
        options = {"rng": generator, **({"P0": "randomized"} if start else {})}
        found = optimize.quadratic_assignment(a, b, method="faq", options=options).col_ind
        if len(a) <= _MOST_EXCHANGED:
            found = exchanged(a, b, found)
        cost = _cost(a, b, found)
        if cost < least - _NARROW * abs(least):
            best, least = [int(place) for place in found], cost
    return best, least


def exchanged(a: Any, b: Any, places: Any) -> Any:
    """Exchange two items, the first two in order that gain by it, until no exchange does."""
    numpy = needed("numpy")
    places = numpy.array(places)
    later = numpy.triu(numpy.ones(a.shape, dtype=bool), 1)
    narrow = _NARROW * abs(_cost(a, b, places))
    while True:
        gains = (exchange_costs(a, b, places) < -narrow) & later
        first = int(gains.argmax())
        if not gains.flat[first]:
            return places
        pair = list(divmod(first, len(places)))
        places[pair] = places[pair[::-1]]


def exchange_costs(a: Any, b: Any, places: Any) -> Any:
    """Return what an exchange of any two items would add to the cost, n × n.

    It comes out of two products of matrices (E. Taillard, Robust taboo search for the quadratic
    assignment problem, 1991, for matrices that need not be symmetric).
    """
    here = b[places][:, places]
    own, stay = a.diagonal()[:, None], here.diagonal()[:, None]
    crossed = a @ here.T + a.T @ here  # the rows of the two, and their columns
    # these sums count the two items themselves as if they stayed where they are; the rest makes up
    # for it
    half = crossed - crossed.diagonal()[:, None] + (here + here.T) * (a - own)
    half += own * (stay + stay.T) - (a + a.T) * stay
    return half + half.T  # an exchange of two is one of the other with the first


def _cost(a: Any, b: Any, places: Sequence[int]) -> float:
    return float((a * b[list(places)][:, list(places)]).sum())


def words_for(
    harm: Sequence[Sequence[float]],
    shares: Sequence[float],
    words: Sequence[str],
    seconds: Sequence[float],
    confused: Sequence[Sequence[float]],
    *,
    wrong: float,
    seed: int = 1,
) -> list[str]:
    """Return a codeword for each level of a field, out of at least as many ``words``.

    ``harm[i][j]`` is that of reading level i for j, 1 as bad as it gets; ``seconds`` are the times
    of the words, ``confused[i][j]`` is P(word i heard as word j), ``wrong`` the price of a wrong
    reading of harm 1 in seconds.
    """
    size = len(words)
    flow = [[0.0] * size for _ in range(size)]
    for said, row in enumerate(harm):
        for read, one in enumerate(row):
            flow[said][read] = wrong * shares[said] * one
        flow[said][said] = shares[said]  # the diagonal carries the seconds
    nearness = [
        [seconds[one] if one == other else confused[one][other] for other in range(size)]
        for one in range(size)
    ]
    places, _ = assign(flow, nearness, seed=seed)
    return [words[places[level]] for level in range(len(harm))]
