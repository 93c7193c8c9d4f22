"""The words that tell of a state of the race that it is over, or soon will be: "… has ended", "end
of the …". Its phrase beside them is never its begin.
"""

from __future__ import annotations

import re
from typing import Literal

from codec.radio.chatter import settings
from codec.radio.mending import any_of
from grammar.errors import Span

_FEW = 80  # characters beside a phrase in which such words stand

Ending = Literal["", "ended", "ends"]


class EndingWords:
    """Finds them."""

    def __init__(self) -> None:
        """Gather the words."""
        words = settings()["ended"]
        links, soon, itself, done, linked, ending, before = (
            any_of(words[name])
            for name in ("links", "soon", "itself", "done", "linked", "ending", "before")
        )
        joined = rf"(?:\s+|\s*[,;–—-]\s*(?={itself}(?!\w)))"
        said = rf"(?:{links}|{soon})(?!\w)\s+"
        self._behind = re.compile(
            rf"{joined}(?:(?:{said})*(?:{done}|{ending})|(?:{said})+{linked})(?!\w|\s+up)",
            re.IGNORECASE,
        )
        self._soon = re.compile(rf"\b(?:{soon}|{ending})(?!\w)", re.IGNORECASE)
        self._before = re.compile(rf"(?<!\w){before}(?:\s+(?:the|this|that))?\s*$", re.IGNORECASE)

    def beside(self, text: str, span: Span) -> Ending:
        """Return whether words beside a phrase tell that what it means has ended, or ends soon; ""
        where none do.
        """
        before = text[max(0, span[0] - _FEW) : span[0]].replace("’", "'")
        if self._before.search(before):
            return "ends"
        behind = self._behind.match(text[span[1] : span[1] + _FEW].replace("’", "'"))
        if behind is None:
            return ""
        return "ends" if self._soon.search(behind.group()) else "ended"
