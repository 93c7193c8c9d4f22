"""Which mistakes a check method fails to notice, counted exactly."""

from __future__ import annotations

from grammar.codes.checks import CheckMethod, State


def missed(method: CheckMethod, length: int, change: str) -> tuple[int, int]:
    """Count changes of one kind that ``method`` fails to notice among all strings of ``length``
    covered characters and their check.

    ``change`` is "substitution" (one character replaced by another of the alphabet) or "swap" (two
    unlike neighbours exchanged, the last with the check among them). Returns (missed, all). Exact,
    by following all pairs of states at once rather than all strings.
    """
    size, swap = len(method.values), change == "swap"
    counts = {(start, start, 0): 1 for start in method.starts()}
    for place in range(length):
        before = counts
        counts = _advance(method, counts, size, last=place == length - 1, swap=swap)
    bad = total = 0
    for (a, b, phase), n in counts.items():
        if phase == 2 and method.wanted(a) is not None:
            total += n
            bad += n if method.wanted(a) == method.wanted(b) else 0
    if swap:
        last_bad, last_total = _swapped_with_check(
            method, {a: n for (a, _, phase), n in before.items() if phase == 0}
        )
        return bad + last_bad, total + last_total
    strings = sum(
        n for (a, _, phase), n in counts.items() if phase == 0 and method.wanted(a) is not None
    )
    return bad, total + strings * (len(method.checks) - 1)


def _swapped_with_check(method: CheckMethod, counts: dict[State, int]) -> tuple[int, int]:
    """Count the unnoticed swaps of the last covered character with the check, from the states
    before that character.
    """
    bad = total = 0
    for state, n in counts.items():
        for value, character in enumerate(method.values):
            wanted = method.wanted(method.step(state, value))
            if wanted is None or method.checks[wanted] == character:
                continue
            total += n
            swapped = method.values.find(method.checks[wanted])
            again = method.wanted(method.step(state, swapped)) if swapped >= 0 else None
            bad += n if again is not None and method.checks[again] == character else 0
    return bad, total


def _advance(
    method: CheckMethod,
    counts: dict[tuple[State, State, int], int],
    size: int,
    *,
    last: bool,
    swap: bool,
) -> dict[tuple[State, State, int], int]:
    """Move all pairs of states on by one character; phase 0 before the change, 2 after it, and 3 +
    the held pair within a swap.
    """
    after: dict[tuple[State, State, int], int] = {}

    def add(a: State, b: State, phase: int, n: int) -> None:
        after[a, b, phase] = after.get((a, b, phase), 0) + n

    for (a, b, phase), n in counts.items():
        for v in range(size):
            if phase in (0, 2):
                add(method.step(a, v), method.step(b, v), phase, n)
            if phase == 0 and not (swap and last):
                for w in range(size):
                    if w != v:
                        add(
                            method.step(a, v), method.step(b, w), 3 + v * size + w if swap else 2, n
                        )
        if phase >= 3:
            v, w = divmod(phase - 3, size)
            add(method.step(a, w), method.step(b, v), 2, n)
    return after
