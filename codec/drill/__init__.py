"""Drills: the driver learns to read a code off the dash, the engineer to hear it; what was measured
becomes a profile.

from codec.drill import DrillJournal, Pool, DrillSession, Progress, profile_of
"""

from __future__ import annotations

from codec.drill.answer import Answer, DrillError
from codec.drill.journal import DrillJournal
from codec.drill.measuring import profile_of
from codec.drill.pool import Item, Pool
from codec.drill.progress import Progress
from codec.drill.session import DrillSession

__all__ = [
    "Answer",
    "DrillError",
    "DrillJournal",
    "DrillSession",
    "Item",
    "Pool",
    "Progress",
    "profile_of",
]
