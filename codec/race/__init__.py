"""Where the race is heading: energy, temperatures and settings on the wheel, from what was
reported.

event = load_event("event.toml", book)
race = follow(event, facts(Standing(journal.entries()), car="7"))
look = outlook(race)
look.distance.margin.band(), look.distance.short, advise(race)
"""

from __future__ import annotations

from codec.race.advice import Advice, advise, check_call, settings_calls
from codec.race.changes import WheelChange, changes
from codec.race.facts import facts
from codec.race.follow import follow
from codec.race.loading import Event, EventError, load_event, parse_event
from codec.race.outlook import Outlook, outlook
from codec.race.people import with_people
from codec.race.race import LapUse, Race, RaceNotice
from codec.race.standing import doubts, wheel_places

__all__ = [
    "Advice",
    "Event",
    "EventError",
    "LapUse",
    "Outlook",
    "Race",
    "RaceNotice",
    "WheelChange",
    "advise",
    "changes",
    "check_call",
    "doubts",
    "facts",
    "follow",
    "load_event",
    "outlook",
    "parse_event",
    "settings_calls",
    "wheel_places",
    "with_people",
]
