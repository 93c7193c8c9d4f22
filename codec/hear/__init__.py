"""Hearing a report through noise: exact probabilities, and what to ask.

from codec.hear import hear
hearing = hear(book, "four seven delta ?", prior=last_reading)
"""

from __future__ import annotations

from codec.hear.channel import Channel, channel
from codec.hear.decision import Decision
from codec.hear.heard import AskedPart
from codec.hear.hearing import Hearing, Marginal, WeighedReading, hear
from codec.hear.priors import Prior
from codec.hear.slots import Slots

__all__ = [
    "AskedPart",
    "Channel",
    "Decision",
    "Hearing",
    "Marginal",
    "Prior",
    "Slots",
    "WeighedReading",
    "channel",
    "hear",
]
