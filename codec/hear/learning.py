"""What the radio was like, learnt from reports whose words are known as said and as heard.

Each report is a row of marks: ``=`` a word heard as it was said, ``x`` one taken for another, ``-``
one that was not heard. How many reports are said in each condition of the radio, and how often bad
moments begin and how long they last, are those that make the rows most likely together with what
the book says (expectation maximisation: L. E. Baum et al., 1970; A. P. Dempster et al., 1977). What
the book says counts as ``WORTH`` reports, and as many words for what a condition is like
(Dirichlet counts): so few reports change little, and none nothing.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

from codec.hear.channel import Channel, Condition

WORTH = 100.0  # ours, no source: some ten races of one car until it counts half
_ROUNDS = 30
_MOST = 0.98  # of a rate that is learnt


@dataclass(slots=True)
class _Expected:
    """How often things are expected to have happened in one condition: reports, beginnings and
    chances to begin, endings and chances to end.
    """

    reports: float = 0.0
    begun: float = 0.0
    good: float = 0.0
    ended: float = 0.0
    bad: float = 0.0


@dataclass(slots=True)
class _Counts:
    conditions: list[_Expected]
    lost: float = 0.0  # words lost in bad moments, of so many
    bad: float = 0.0


def learnt(channel: Channel, reports: Mapping[str, float], *, worth: float = WORTH) -> Channel:
    """Return a channel whose conditions are learnt from rows of marks, each with how often it was
    seen; conditions without bad moments stay without them.
    """
    rows = {marks: count for marks, count in reports.items() if marks and count > 0}
    now = channel
    for _ in range(_ROUNDS if rows else 0):
        counts = _counted(now, rows)
        whole = worth + sum(rows.values())
        conditions = []
        for old, given, seen in zip(
            now.conditions, channel.conditions, counts.conditions, strict=True
        ):
            share = (seen.reports + worth * given.share) / whole
            if not old.begins:
                conditions.append(dataclasses.replace(old, share=share))
                continue
            begins = (seen.begun + worth * (1 - given.bad) * given.begins) / (
                seen.good + worth * (1 - given.bad)
            )
            ends = (seen.ended + worth * given.bad * given.ends) / (seen.bad + worth * given.bad)
            begins, ends = min(begins, _MOST), min(ends, _MOST)
            conditions.append(dataclasses.replace(old, share=share, begins=begins, ends=ends))
        lost = (counts.lost + worth * channel.bad_deletion) / (counts.bad + worth)
        now = dataclasses.replace(now, conditions=tuple(conditions), bad_deletion=min(lost, 0.5))
    return now


def _counted(channel: Channel, rows: Mapping[str, float]) -> _Counts:
    """Return what is expected to have happened in all rows, by the channel."""
    likely = [_likely(channel, one) for one in channel.conditions]
    counts = _Counts([_Expected() for _ in channel.conditions])
    for marks, times in rows.items():
        walks = [
            _walk(one, [so_likely[mark] for mark in marks])
            for one, so_likely in zip(channel.conditions, likely, strict=True)
        ]
        shares = [one.share * walk[0] for one, walk in zip(channel.conditions, walks, strict=True)]
        for seen, share, (_, moves, bad) in zip(counts.conditions, shares, walks, strict=True):
            weight = times * share / sum(shares)
            seen.reports += weight
            for (stay, begin), (end, remain) in moves:
                seen.begun, seen.good = (
                    seen.begun + weight * begin,
                    seen.good + weight * (stay + begin),
                )
                seen.ended, seen.bad = seen.ended + weight * end, seen.bad + weight * (end + remain)
            counts.bad += weight * sum(bad)
            counts.lost += weight * sum(
                b for b, mark in zip(bad, marks, strict=True) if mark == "-"
            )
    return counts


def _likely(channel: Channel, one: Condition) -> dict[str, tuple[float, float]]:
    """Return of each mark how likely it is in a good moment of a condition, and in a bad one."""
    lost = channel.slips(one).deletion
    right = float(channel.table.diagonal().mean()) * (1 - lost)
    even = (1 - channel.bad_deletion) / channel.vocabulary
    return {
        "=": (right, even),
        "x": (1 - right - lost, 1 - channel.bad_deletion - even),
        "-": (lost, channel.bad_deletion),
    }


_Move = tuple[tuple[float, float], tuple[float, float]]


def _walk(
    one: Condition, likely: list[tuple[float, float]]
) -> tuple[float, list[_Move], list[float]]:
    """Return how likely a row is in a condition, and given the row, for each word the chances of
    each move before it (good stays, good begins; bad ends, bad stays) and of a bad moment.
    """
    switch = ((1 - one.begins, one.begins), (one.ends, 1 - one.ends))
    ahead = [(1 - one.bad, one.bad)]
    for mark in likely:
        good, bad = ahead[-1]
        ahead.append(
            (
                (good * switch[0][0] + bad * switch[1][0]) * mark[0],
                (good * switch[0][1] + bad * switch[1][1]) * mark[1],
            )
        )
    total = sum(ahead[-1])
    behind, moves, bads = (1.0, 1.0), list[_Move](), list[float]()
    for place in range(len(likely) - 1, -1, -1):
        mark, before = likely[place], ahead[place]
        worth = (mark[0] * behind[0] / total, mark[1] * behind[1] / total)
        moves.append(
            (
                (before[0] * switch[0][0] * worth[0], before[0] * switch[0][1] * worth[1]),
                (before[1] * switch[1][0] * worth[0], before[1] * switch[1][1] * worth[1]),
            )
        )
        bads.append(ahead[place + 1][1] * behind[1] / total)
        behind = (
            switch[0][0] * mark[0] * behind[0] + switch[0][1] * mark[1] * behind[1],
            switch[1][0] * mark[0] * behind[0] + switch[1][1] * mark[1] * behind[1],
        )
    return total, moves[::-1], bads[::-1]
