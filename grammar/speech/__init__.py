"""Speech: what was written down of what was said, word by word."""

from __future__ import annotations

from grammar.speech.lexicon import Lexicon
from grammar.speech.spoken import Ask, Stretch, listen

__all__ = ["Ask", "Lexicon", "Stretch", "listen"]
