"""Which few of many proposals people look at, and what the one picked is to them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from grammar.design.candidates import NOW
from grammar.design.ears import one_in
from grammar.design.frontier import Proposal, broken, expected_seconds
from grammar.design.needs import Needs

SHOWN = 8  # proposals shown unless all are asked for
BY_HEART = 40  # pairs that people learn by heart: common practice of coaches, no source


def named(
    found: Sequence[Proposal], needs: Needs, pick: Proposal | None = None
) -> dict[str, Proposal]:
    """Return the proposals that have a name of their own: the one picked, the best that the tool
    hears, the best read from a card, the best known by heart, and the book as it is now.
    """
    told: dict[str, Proposal] = {} if pick is None else {"picked": pick}
    proposed = [one for one in found if one.family != NOW]
    kept = [one for one in proposed if not broken(one, needs)] or proposed
    cards = [one for one in kept if one.ear == "card" and one.rows <= needs.limits.rows]
    for name, several in (
        ("best by tool", [one for one in kept if one.ear == "tool"]),
        ("best by card", cards),
        ("best by heart", [one for one in cards if one.learning.pairs <= BY_HEART]),
    ):
        if several:
            told[name] = min(several, key=lambda one: (expected_seconds(one, needs), one.name))
    now = [one for one in found if one.family == NOW]
    if now:
        told["as now"] = min(now, key=lambda one: one.ear != "tool")
    return told


def informative(
    best: Sequence[Proposal], always: Iterable[Proposal], most: int = SHOWN
) -> list[Proposal]:
    """Return at most so many proposals, by mean seconds: those ``always`` shown, then those of the
    frontier that lie farthest from all that are shown already, in seconds and in the logarithm of
    what is accepted wrong.
    """
    shown = list[Proposal]()
    for one in always:
        if one not in shown:
            shown.append(one)
    rest = [one for one in best if one not in shown]
    places = _places([*shown, *rest])
    while rest and len(shown) < most:
        far = max(
            rest,
            key=lambda one: min(
                (math.dist(places[id(one)], places[id(other)]) for other in shown), default=0.0
            ),
        )
        rest.remove(far)
        shown.append(far)
    return sorted(shown, key=lambda one: (one.mean, one.name, one.ear != "tool"))


def _places(several: Sequence[Proposal]) -> dict[int, tuple[float, float]]:
    """Return where proposals lie in a square of seconds and log wrong readings."""
    columns = [
        [one.seconds for one in several],
        [math.log(max(one.wrong, 1e-6)) for one in several],
    ]
    scaled = [
        [(x - min(row)) / ((max(row) - min(row)) or 1.0) for x in row] if row else []
        for row in columns
    ]
    return {id(one): (across, up) for one, across, up in zip(several, *scaled, strict=True)}


def explained(pick: Proposal, needs: Needs, others: Sequence[Proposal]) -> str:
    """Return in two sentences what a proposal is to people: what it takes on the radio, how often
    it is wrong and what must be learnt; and why the quickest other was not taken.
    """
    who = "heard by the tool" if pick.ear == "tool" else "read from a card by people"
    odds = f"wrong {_times(pick)}" if pick.wrong else "never wrong in what was heard"
    pairs = "1 pair" if pick.learning.pairs == 1 else f"{pick.learning.pairs:,} pairs"
    known = (
        f"and the tool knows its {pairs} of value and codeword"
        if pick.ear == "tool"
        else f"and has {pairs} of value and codeword to learn or to look up"
    )
    first = (
        f"{pick.name}, {who}, takes {pick.seconds:.1f} s of radio with its questions, is {odds},"
        f" {known}."
    )
    for asked, came in broken(pick, needs).items():
        return f"{first} It does not keep the limits: {asked}, and this one comes to {came}."
    quick = [one for one in others if one.ear == pick.ear and one.seconds < pick.seconds]
    if not quick:
        return f"{first} None that is heard likewise is quicker."
    other = min(quick, key=lambda one: one.seconds)
    for asked in broken(other, needs):
        reason = f"does not keep a limit: {asked}"
        break
    else:
        reason = f"is wrong {_times(other)}, which costs more than it saves"
    return f"{first} The quickest, {other.name}, takes {other.seconds:.1f} s but {reason}."


def _times(one: Proposal) -> str:
    return one_in(one.wrong).replace("1 in", "one time in")
