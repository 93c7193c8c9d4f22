"""The race in plain facts, for ``--json`` and for screens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from codec.race.advice import Advice
from codec.race.effects import effects
from codec.race.kalman import Distribution
from codec.race.outlook import Distance, outlook
from codec.race.race import Race


def as_dict(race: Race, advice: Sequence[Advice], minutes: float | None = None) -> dict[str, Any]:
    """Return where the race stands and where it is heading; energies in the event's unit,
    temperatures in their field's. A further neutralisation lasts ``minutes``, by default those of
    the event file.
    """
    look, event = outlook(race), race.event
    return {
        "title": event.title,
        "lap": race.lap,
        "laps_left": look.distance.likeliest,
        "laps_left_probability": {
            str(laps): round(share, 4) for laps, share in look.distance.laps_left.items()
        },
        "neutralised": race.neutralised,
        "laps_due": race.laps_still_due(),
        "laps_added": race.laps_added,
        "laps_entered": race.laps_entered,
        "unit": event.spec.energy.unit,
        "left": distribution_as_dict(look.left),
        "against_plan": distribution_as_dict(look.against_plan),
        "use_per_lap": distribution_as_dict(look.use),
        "target": None if race.target is None else float(race.target),
        "target_kept": None if race.target is None else _kept(race),
        "laps_are": [
            {"kind": one.kind, "factor": round(one.factor, 4), "chance": round(one.chance, 4)}
            for one in race.manners
        ],
        "as_it_is": _ending(look.distance),
        "one_lap_more": _ending(look.more),
        "one_lap_fewer": None if look.fewer is None else _ending(look.fewer),
        "targets": [
            {
                "laps_more": row.more,
                "as_it_is": _ending(row.plain),
                "neutralised_again": _ending(row.neutralised),
            }
            for row in look.targets(minutes)
        ],
        "saving": {
            "energy": round(look.saving.energy, 4),
            "laps": round(look.saving.laps, 4),
            "short": round(look.saving.short, 4),
        },
        "settings": [
            {
                "setting": one.setting,
                "each": round(one.each, 5),
                "unit": one.unit,
                "low": round(one.low, 5),
                "high": round(one.high, 5),
            }
            for one in effects(race)
        ],
        "charging": {
            stop.name: {
                "made": stop.made,
                "open": stop.open,
                "even": stop.even,
                "lasts": stop.lasts,
            }
            for stop in look.charging
        },
        "extra_power": None
        if look.extra is None
        else {
            "left": look.extra.left,
            "minutes": look.extra.minutes,
            "energy": look.extra.energy,
            "latest": look.extra.latest,
        },
        "keeps_limit": {
            name: None if use is None else round(use, 4) for name, use in look.cool.items()
        },
        "limits": [
            {"use": round(one.use, 4), "holds": one.holds, "name": one.name} for one in look.limits
        ],
        "schedule": None
        if look.schedule is None
        else {
            "energies": [round(use, 6) for use in look.schedule.energies],
            "seconds": round(look.schedule.seconds, 3),
        },
        "temperatures": {
            name: {
                "unit": event.temperatures[name].field.unit_text,
                "limit": float(event.temperatures[name].limit),
                "now": distribution_as_dict(now),
                "chance": round(look.reaching[name].chance, 4),
                "laps": [look.reaching[name].quantile(share) for share in (0.1, 0.5, 0.9)],
            }
            for name, now in look.temperatures.items()
        },
        "dials": {
            name: {
                "position": position,
                "heading": race.ledger.heading(name),
                "doubtful": name in race.ledger.doubtful,
            }
            for name, position in race.ledger.positions.items()
        },
        "calls": [
            {
                **one.as_dict(),
                **({} if one.way is None else {"way": one.way.as_dict()}),
            }
            for one in advice
        ],
        "notices": [
            {"kind": n.kind, "lap": n.lap, "text": n.text, "entry": n.seq} for n in race.notices
        ],
        "doubtful_laps": {
            str(lap): round(doubt, 4) for lap, doubt in race.doubts().items() if doubt >= 0.5
        },
    }


def _kept(race: Race) -> dict[str, float]:
    shares = zip(("kept", "half", "ignored"), race.energy.branches(), strict=True)
    return {name: round(share, 4) for name, share in shares}


def distribution_as_dict(of: Distribution) -> dict[str, float]:
    """Return a distribution as its mean, its standard deviation and its 80 % band."""
    low, high = of.band()
    return {
        "mean": round(of.mean, 4),
        "deviation": round(of.deviation, 4),
        "low": round(low, 4),
        "high": round(high, 4),
    }


def _ending(distance: Distance) -> dict[str, Any]:
    return {
        "even": None if distance.even is None else round(distance.even, 4),
        "safe": None if distance.safe is None else round(distance.safe, 4),
        "safe_once": None if distance.safe_once is None else round(distance.safe_once, 4),
        "margin": distribution_as_dict(distance.margin),
        "short": round(distance.short, 4),
    }
