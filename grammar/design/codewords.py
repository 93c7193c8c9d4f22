"""Codewords of least mean time for words that take unequal times, as a prefix code.

Three ways, the first that applies:

- all times alike: the merging of D. A. Huffman (1952) for any number of letters; exact.
- few different sums of times (``MOST_SUMS``) and levels: an integer program (``integer_program``);
  exact when it ends with a proof.
- anything else: a tree grown cheapest node first (``greedy_tree``).

Every code comes with the best lower bound known for it, so that its distance from the optimum is
never a guess.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from grammar.design.capacity import checked_times, least
from grammar.design.greedy_tree import Word, grown
from grammar.design.integer_program import gap, improved
from grammar.errors import CodeError

MOST_SUMS = 400  # different times of codewords up to which the integer program is tried
MOST_LEVELS = 200_000
_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class Code:
    """A prefix code: ``words[i]`` is the codeword of level i as places in the list of times.

    ``cost`` is its mean time, ``bound`` the highest lower bound known for the mean time of any
    prefix code, ``entropy_bound`` that of information theory alone.
    """

    words: tuple[Word, ...]
    cost: float
    bound: float
    entropy_bound: float

    @property
    def proven(self) -> bool:
        """Tell whether no code can cost less, but for rounding (for more than 64 levels, but for a
        hundred-thousandth).
        """
        return self.cost <= self.bound * (1 + 2 * gap(len(self.words)))


def optimal(weights: Sequence[float], times: Sequence[float], *, exact: bool = True) -> Code:
    """Return a prefix code for levels that occur as ``weights`` over words that take ``times``.

    ``exact=False`` skips the integer program. A single level gets one word, as a book needs
    something to say. Raises CodeError for no or too many levels, weights that are negative or all
    0, and times that are not above 0.
    """
    checked_times(times)
    shares = _shares(weights)
    order = sorted(range(len(shares)), key=shares.__getitem__, reverse=True)
    likely = [shares[level] for level in order]
    floor = least(shares, times)
    if len(likely) == 1:
        word = (min(range(len(times)), key=lambda letter: times[letter]),)
        return Code((word,), times[word[0]], times[word[0]], floor)
    if max(times) - min(times) <= _TOLERANCE * max(times):
        words = _huffman(likely, len(times))
        cost = times[0] * math.fsum(
            share * len(word) for share, word in zip(likely, words, strict=True)
        )
        return Code(_placed(words, order), cost, cost, floor)
    words, cost = grown(likely, times)
    bound = floor
    if exact:
        words, cost, proven = improved(likely, times, words, cost, MOST_SUMS)
        bound = min(max(floor, proven), cost)
    return Code(_placed(words, order), cost, bound, floor)


def _shares(weights: Sequence[float]) -> list[float]:
    total = math.fsum(weights)
    if not 1 <= len(weights) <= MOST_LEVELS:
        raise CodeError(
            f"{len(weights)} levels", kind="codewords", expected=[f"1 to {MOST_LEVELS} levels"]
        )
    if any(not weight >= 0 for weight in weights) or not 0 < total < math.inf:
        raise CodeError(
            "weights that are negative, or nothing at all",
            kind="codewords",
            expected=["weights from 0, not all 0"],
        )
    return [weight / total for weight in weights]


def _placed(words: Sequence[Word], order: Sequence[int]) -> tuple[Word, ...]:
    placed: list[Word] = [()] * len(order)
    for word, level in zip(words, order, strict=True):
        placed[level] = word
    return tuple(placed)


def _huffman(likely: Sequence[float], letters: int) -> list[Word]:
    """Return Huffman's codewords for shares that fall; the first merge takes just as many as leave
    no gap later.
    """
    count = itertools.count()
    heap = [(share, next(count), place) for place, share in enumerate(likely)]
    heapq.heapify(heap)
    parents: dict[int, tuple[int, int]] = {}
    first = 2 + (len(likely) - 2) % (letters - 1)
    node = len(likely)
    while len(heap) > 1:
        taken = [heapq.heappop(heap) for _ in range(min(first, len(heap)))]
        for letter, (_, _, child) in enumerate(reversed(taken)):
            parents[child] = (node, letter)
        heapq.heappush(heap, (math.fsum(share for share, _, _ in taken), next(count), node))
        node, first = node + 1, letters
    words = []
    for place in range(len(likely)):
        word: list[int] = []
        here = place
        while here in parents:
            here, letter = parents[here]
            word.append(letter)
        words.append(tuple(reversed(word)))
    return sorted(words, key=lambda word: (len(word), word))
