"""What is plainly an attempt at a report, and can't be read: kept as refused, so that it can be
asked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from codec.decoding import decode_all
from codec.radio.evidence import digits_of
from codec.radio.found import Found
from codec.sheet.entry import DOUBTFUL
from grammar.errors import CodeError
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind

if TYPE_CHECKING:
    from codec.radio.search import Item, Search

_ENDS, _STOPS = ".!?;", ".!?;,:"


def refused(search: Search, runs: Sequence[Item]) -> None:
    """Keep a stretch that is plainly an attempt at a report, with the error that tells why it can't
    be read.
    """
    region = _region(search, runs)
    if region is None:
        return
    start, end = _with_edges(search, *region)
    span = (search.words[start].span[0], search.words[end - 1].span[1])
    try:
        text = " " * span[0] + search.text[span[0] : span[1]]
        decode_all(search.finder.book, text, direction=search.role or "car", context=search.context)
        error = CodeError(
            "not sure that it is a report",
            kind=DOUBTFUL,
            source=search.text,
            span=span,
            hint="say again",
        )
    except CodeError as raised:
        error = raised
    changing = search.words[start].kind in CHANGING
    bits = search.bits(start, end) - search.finder.odds["refused"]
    search.heard.found.append(Found("refused", span, error=error, bits=bits, changing=changing))


def _region(search: Search, runs: Sequence[Item]) -> Item | None:
    """Return the stretch of most code words with few others among them, if it has enough of
    both.
    """
    best: tuple[float, Item] | None = None
    for first in range(len(runs)):
        start, end = runs[first]
        strong = _strong(search, start, end)
        for run in (*runs[first + 1 :], None):
            bits = search.bits(start, end)
            gap = end - start - _codes(search, start, end)
            if (
                strong >= max(4, _half(search))
                and gap * 3 <= strong
                and (best is None or bits > best[0])
            ):
                best = (bits, (start, end))
            if run is None or not _bridged(search, end, run[0]):
                break
            end = run[1]
            strong = _strong(search, start, end)
    changing = bool(runs) and search.words[runs[0][0]].kind in CHANGING
    if (
        changing
        and _strong(search, *runs[0]) >= 3
        and (best is None or best[0] < search.finder.odds["refused"])
    ):
        return runs[0]
    if best is None or best[0] < search.finder.odds["near"]:
        return None
    start, end = best[1]
    if best[0] < search.finder.odds["refused"] and not one_word_off(search, start, end):
        return None
    before = start - 1
    while (
        before >= 0 and search.words[before].kind in SPOKEN and not search.stopped(before, _STOPS)
    ):
        before -= 1
    if before >= 0 and search.finder.claimed(search.forms[before], before=True):
        return None
    share = _strong(search, start, end) / max(
        1, len(search.words) - (len(search.words) - end + start) // 2
    )
    return best[1] if share >= 0.5 else None


def one_word_off(search: Search, start: int, end: int) -> bool:
    """Tell whether a driver's words would be a report with one word more, or with another word in
    place of one.
    """
    if search.role != "car":
        return False
    words = search.words[start:end]
    sizes = [digits_of(word.meaning) for word in words]
    counted = (
        max(sizes) > 1 and math.inf not in sizes
    )  # talk is full of numbers like ten and twenty two, with no letter among them
    parted = any(search.stopped(place, _STOPS) for place in range(start, end - 1))
    return not counted and not parted and search.finder.reports.nearly(words)


def _with_edges(search: Search, start: int, end: int) -> Item:
    """Return a stretch with the word before or behind it, where that is none and a report lacks
    just this one.
    """
    for place in (start - 1, end):
        inside = 0 <= place < len(search.words) and not search.stopped(min(place, end - 1), _STOPS)
        if (
            inside
            and search.words[place].kind is WordKind.UNKNOWN
            and not search.finder.plain(search.forms[place])
        ):
            wider = min(start, place), max(end, place + 1)
            if search.finder.reports.nearly(search.words[slice(*wider)]):
                return wider
    return start, end


def _bridged(search: Search, end: int, start: int) -> bool:
    """Tell whether what lies between two runs may be code words misheard: few words, none of them
    plain talk, no sentence end.
    """
    plain = any(search.finder.plain(search.forms[place]) for place in range(end, start))
    return (
        start - end <= 2
        and not plain
        and not any(search.stopped(place, _ENDS) for place in range(end - 1, start))
    )


def _strong(search: Search, start: int, end: int) -> int:
    return sum(not search.weak(n) and search.words[n].kind in SPOKEN for n in range(start, end))


def _codes(search: Search, start: int, end: int) -> int:
    return sum(
        search.words[n].kind in (*SPOKEN, *CHANGING, WordKind.FILLER) for n in range(start, end)
    )


def _half(search: Search) -> int:
    messages = search.finder.book.sent_by(search.role) or list(search.finder.book.messages.values())
    return max(message.lengths[0] for message in messages) // 2
