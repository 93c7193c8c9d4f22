"""The forecast of many races at once, with one normal for each case of each race: some hundred
times as fast as the forecast itself, and alike to within a point or two, enough to set its prior.

Odd laps and jumps are merged into their case at once, reports are rounded by a noise of step²/12,
and one that is wrong is held for one that is not heard.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy
from scipy.special import ndtr

from codec.race import Event, energy
from codec.race.kalman import FORGOTTEN, Cases


def below(
    event: Event, said: Any, heard: Any, ended: Any, behind: Collection[int], step: float
) -> dict[int, Any]:
    """Return, for each lap looked from, the chance held for less than what was left at the flag,
    race by race.

    ``said`` is what was reported as used more than planned by the end of each lap (races × laps),
    ``heard`` which of that was heard, ``ended`` what was used more than planned by the flag.
    """
    cases, plan = energy.begin(event).cases, float(event.plan[0])
    move, first = energy.transition(event, plan), float(event.spec.energy.first)
    races, laps = said.shape
    scatter = move.level_variance * cases.scatter**2
    drift = move.slope_variance * cases.drift**2
    mean = numpy.zeros((4, races, len(cases.weight)))
    mean[1] += cases.begins
    mean[2] += cases.bend
    spread = numpy.zeros((4, *mean.shape))
    spread[1, 1] += first**2 + cases.begins_variance
    spread[2, 2] += cases.bend_variance
    spread[3, 3] += scatter
    new = scatter * (1 - cases.rhythm**2)
    weight = numpy.tile(cases.weight, (races, 1))
    kinds = (  # of laps: how likely, and what comes to the variances of level and slope
        (1 - move.odd - move.jump, 0.0 * scatter, 0.0),
        (move.odd, (move.odd_factor - 1) * scatter, 0.0),
        (move.jump, move.jump_level, move.jump_slope),
    )
    found = {}
    for lap in range(laps):
        weight = (1 - FORGOTTEN) * weight + FORGOTTEN * cases.weight
        _bend(cases, move.bends, weight, mean, spread)
        mean = _stepped(cases, mean)
        spread = _stepped(cases, _stepped(cases, spread).swapaxes(0, 1)).swapaxes(0, 1)
        spread[::3, ::3] += new
        spread[1, 1] += drift
        off, logs, parts = said[:, lap, None] - mean[0], [], []
        for chance, level, slope in kinds:
            of_kind = spread.copy()
            of_kind[0, 0] += level
            of_kind[1, 1] += slope
            variance = of_kind[0, 0] + step**2 / 12
            gain = of_kind[:, 0] / variance
            logs.append(numpy.log(chance / variance**0.5) - off * off / variance / 2)
            parts.append((mean + gain * off, of_kind - gain[:, None] * of_kind[0][None]))
        total = numpy.logaddexp.reduce(logs)
        shares = [numpy.exp(log - total) for log in logs]
        told = sum(share * part for share, (part, _) in zip(shares, parts, strict=True))
        apart = [(share, part - told, of) for share, (part, of) in zip(shares, parts, strict=True)]
        known = sum(share * (of + away[:, None] * away[None]) for share, away, of in apart)
        was = heard[:, lap, None]
        spread[0, 0] += numpy.where(was, 0.0, sum(chance * level for chance, level, _ in kinds))
        mean, spread = numpy.where(was, told, mean), numpy.where(was, known, spread)
        logs_now = numpy.log(weight) + numpy.where(was, total, 0.0)
        weight = numpy.exp(logs_now - logs_now.max(axis=1, keepdims=True))
        weight /= weight.sum(axis=1, keepdims=True)
        if lap + 1 in behind:
            left = laps - lap - 1
            way = numpy.ones((4, len(cases.weight)))
            way[1], way[2], way[3] = left, left * (left - 1) / 2, cases.taken_again(left)
            variance = numpy.einsum("ic,ijrc,jc->rc", way, spread, way, optimize=True)
            variance += scatter * (cases.noise(left) + left * move.odd * (move.odd_factor - 1))
            variance += drift * (left - 1) * left * (2 * left - 1) / 6
            to_come = (ended[:, None] - numpy.einsum("ic,irc->rc", way, mean)) / variance**0.5
            found[lap + 1] = 1 - (weight * ndtr(to_come)).sum(axis=1)
    return found


def _stepped(cases: Cases, state: Any) -> Any:
    """Return states, along the first axis, a lap later."""
    found = state.copy()
    found[0] += state[1] + cases.rhythm * state[3]
    found[1] += state[2]
    found[3] *= cases.rhythm
    return found


def _bend(cases: Cases, chance: float, weight: Any, mean: Any, spread: Any) -> None:
    """Let slopes that do not bend begin to, with this chance: the likeliest way to each case that
    bends stands for all.
    """
    races = numpy.arange(len(weight))
    for case in numpy.unique(cases.bending[cases.bending >= 0]):
        sources = numpy.flatnonzero(cases.bending == case)
        begin = chance * weight[:, sources]
        likeliest, come = sources[begin.argmax(axis=1)], begin.sum(axis=1)
        means, spreads = mean[:, races, likeliest], spread[:, :, races, likeliest]
        means[2] += cases.bend[case]
        spreads[2, 2] += cases.bend_variance[case]
        total = weight[:, case] + come
        new, stays = come / total, weight[:, case] / total
        merged = stays * mean[:, :, case] + new * means
        here, there = mean[:, :, case] - merged, means - merged
        spread[:, :, :, case] = stays * (spread[:, :, :, case] + here[:, None] * here[None])
        spread[:, :, :, case] += new * (spreads + there[:, None] * there[None])
        mean[:, :, case], weight[:, case] = merged, total
    weight[:, cases.bending >= 0] *= 1 - chance
