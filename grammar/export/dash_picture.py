"""The dash as the driver sees a report: an SVG, drawn with the segments or dots of a display, one
panel a glance, a blank between groups.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from grammar.book import Book
from grammar.data import table
from grammar.display import Display, patterns
from grammar.errors import CodeError, visible
from grammar.figures import drawn
from grammar.message import Match, Message

_CELL, _HIGH, _STEP = 10.0, 20.0, 14.0  # of a character, and from one to the next
_EDGE = 8.0  # around the characters of a panel
_LIT, _DARK, _GROUND = "#ffb000", "#2a1d00", "#000"
_GLANCES = ("first glance", "second glance")
_SLANTED = set("hkln")  # segments inside that end short of the corners


def dash(book: Book, message: Message, display: Display, seed: int = 7) -> str:
    """Return the picture of a likely report; raises CodeError for a symbol in it that the display
    does not have.
    """
    [report] = drawn(book, message, 1, seed)
    match = message.quick(report.string)
    if match is None:  # pragma: no cover - what was drawn is a report
        raise AssertionError(report.string)
    known = patterns(display)
    missing = [s for s in report.string if known is not None and s not in known]
    if missing:
        raise CodeError(
            f"{display} have no usual pattern for {missing[0]}",
            kind="display",
            hint="another --display, or retire the symbol",
        )
    panels = [_groups(match, places) for places in _glances(match)]
    width = max(_STEP * (sum(map(len, groups)) + len(groups) - 1) for groups in panels)
    across = max(2 * _EDGE + width, 6.4 * len(book.alphabet.say(report.string)) + 2 * _EDGE, 160.0)
    parts, top = (
        [f'<text x="{_EDGE}" y="14" class="title">{escape(visible(message.title))}</text>'],
        22.0,
    )
    for name, groups in zip(_GLANCES, panels, strict=False):
        if len(panels) > 1:
            parts.append(f'<text x="{_EDGE}" y="{top + 8}">{name}</text>')
            top += 12
        parts += _panel(groups, top, across - 2 * _EDGE, display)
        top += _HIGH + 2 * _EDGE
        said = ", ".join(book.alphabet.say(group) for group in groups)
        parts.append(f'<text x="{_EDGE}" y="{top + 11}" class="said">{escape(said)}</text>')
        top += 20
    told = escape(visible(match.text()))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {across:.0f} {top:.0f}"'
        f' width="{3 * across:.0f}" height="{3 * top:.0f}" role="img"><title>{told}</title>'
        "<style>text { font: 8px sans-serif } .title { font-weight: bold; font-size: 10px }"
        " .said { font-size: 9px }</style>"
        f'<rect width="100%" height="100%" fill="#fff"/>{"".join(parts)}</svg>\n'
    )


def _glances(match: Match) -> list[list[int]]:
    """Return the places of the parts of each glance."""
    tables = match.plan.tables
    second = [n for n, one in enumerate(tables) if one.name == match.message.glance]
    begin = second[0] if second else len(tables)
    return [places for places in (list(range(begin)), list(range(begin, len(tables)))) if places]


def _groups(match: Match, places: Sequence[int]) -> list[str]:
    """Return the strings of the groups that lie in so many parts."""
    parted = ([place for place in group if place in places] for group in match.groups())
    return ["".join(match.texts[place] for place in group) for group in parted if group]


def _panel(groups: Sequence[str], top: float, width: float, display: Display) -> Iterator[str]:
    yield (
        f'<rect x="{_EDGE}" y="{top}" width="{width:.1f}" height="{_HIGH + _EDGE + 4}" rx="3"'
        f' fill="{_GROUND}"/>'
    )
    x = 2 * _EDGE
    for group in groups:
        for symbol in group:
            yield f'<g transform="translate({x:.1f} {top + _EDGE - 2:.1f})">'
            yield from _character(symbol, display)
            yield "</g>"
            x += _STEP
        x += _STEP


def _character(symbol: str, display: Display) -> Iterator[str]:
    known = patterns(display)
    if known is None:
        yield (
            f'<text x="5" y="17" text-anchor="middle" fill="{_LIT}"'
            f' style="font: bold 20px monospace">{escape(symbol)}</text>'
        )
        return
    lit = known[symbol]
    if display == "5x7 dots":
        for row in range(7):
            for column in range(5):
                colour = _LIT if f"{row},{column}" in lit else _DARK
                yield (
                    f'<circle cx="{1 + 2 * column}" cy="{1.6 + 2.8 * row:.1f}" r="0.9"'
                    f' fill="{colour}"/>'
                )
        return
    lines = table("displays")["segments"]["7" if display == "7 segments" else "14"]["lines"]
    if display == "16 segments":
        lines = {
            **lines,
            "a": [1, 1, 5, 1],
            "o": [5, 1, 9, 1],
            "d": [1, 19, 5, 19],
            "p": [5, 19, 9, 19],
        }
    for name in sorted(lines, key=lambda one: one in lit):  # what is lit lies above
        x1, y1, x2, y2 = _shortened(
            *lines[name], slanted=name in _SLANTED and display != "7 segments"
        )
        yield (
            f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}"'
            f' stroke="{_LIT if name in lit else _DARK}" stroke-width="1.5"'
            ' stroke-linecap="round"/>'
        )


def _shortened(
    x1: float, y1: float, x2: float, y2: float, *, slanted: bool
) -> tuple[float, float, float, float]:
    """Return a segment a little shorter at both ends, so that neighbours don't touch."""
    share = 0.16 if slanted else 0.9 / max(abs(x2 - x1) + abs(y2 - y1), 1)
    return (
        x1 + share * (x2 - x1),
        y1 + share * (y2 - y1),
        x2 - share * (x2 - x1),
        y2 - share * (y2 - y1),
    )
