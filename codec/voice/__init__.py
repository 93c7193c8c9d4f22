"""Radio recordings to what was said in them, with every doubt, by an acoustic model of our own.

recording → gate → features → acoustic model → search over the book's words → slots and score

from codec.voice import listen
for stretch in listen(book, "radio.wav"): ...
"""

from __future__ import annotations

from codec.voice.listening import Transmission, listen

__all__ = ["Transmission", "listen"]
