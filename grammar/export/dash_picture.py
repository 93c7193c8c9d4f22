"""The dash as the driver sees a report: an SVG, drawn with the segments or dots of a display, one
panel a glance, a blank between groups.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from grammar.book import Book
from grammar.dash import DashSpec
from grammar.display import CELL, characters, patterns
from grammar.errors import CodeError, visible
from grammar.figures import drawn
from grammar.message import Match, Message

Part = tuple[str, str]  # what a dash shows in one colour, and the colour
_WIDE, _HIGH = CELL
_STEP = 14.0  # from one character to the next
_EDGE = 8.0  # around the characters of a panel
_DIM = 0.16  # of its colour in what is not lit: ours, no source
_GLANCES = ("first glance", "second glance")


def dash(book: Book, message: Message, spec: DashSpec | None = None, seed: int = 7) -> str:
    """Return the picture of a likely report, on the book's dash or on another; raises CodeError for
    a symbol in it that the display does not have.
    """
    spec = spec or book.dash
    [report] = drawn(book, message, 1, seed)
    match = message.quick(report.string)
    if match is None:  # pragma: no cover - what was drawn is a report
        raise AssertionError(report.string)
    known = patterns(spec.display)
    missing = [s for s in report.string if known is not None and s not in known]
    if missing:
        raise CodeError(
            f"{spec.display} have no usual pattern for {missing[0]}",
            kind="display",
            hint="another --display, or retire the symbol",
        )
    panels = [_groups(match, spec, places) for places in _glances(match)]
    width = max(map(_width, panels))
    across = max(2 * _EDGE + width, 6.4 * len(book.alphabet.say(report.string)) + 2 * _EDGE, 160.0)
    parts, top = (
        [f'<text x="{_EDGE}" y="14" class="title">{escape(visible(message.title))}</text>'],
        22.0,
    )
    for name, groups in zip(_GLANCES, panels, strict=False):
        if len(panels) > 1:
            parts.append(f'<text x="{_EDGE}" y="{top + 8}" class="glance">{name}</text>')
            top += 12
        parts.append(
            f'<rect x="{_EDGE}" y="{top}" width="{across - 2 * _EDGE:.1f}"'
            f' height="{_HIGH + _EDGE + 4}" rx="3" fill="{spec.ground}"/>'
            f'<g transform="translate({2 * _EDGE} {top + _EDGE - 2:.1f})">'
            f"{''.join(_row(groups, spec))}</g>"
        )
        top += _HIGH + 2 * _EDGE
        said = ", ".join(book.alphabet.say("".join(text for text, _ in one)) for one in groups)
        parts.append(f'<text x="{_EDGE}" y="{top + 11}" class="said">{escape(said)}</text>')
        top += 20
    told = escape(visible(match.text()))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {across:.0f} {top:.0f}"'
        f' width="{3 * across:.0f}" height="{3 * top:.0f}" role="img"><title>{told}</title>'
        "<style>.title { font: bold 10px sans-serif } .glance { font: 8px sans-serif }"
        " .said { font: 9px sans-serif }</style>"
        f'<rect width="100%" height="100%" fill="#fff"/>{"".join(parts)}</svg>\n'
    )


def flashed(spec: DashSpec, groups: Sequence[Sequence[Part]], *, masked: bool = False) -> str:
    """Return the picture of groups alone, as a screen that is the dash shows them; ``masked`` with
    everything lit that can be lit, so that nothing of it is left to be read.
    """
    return (
        f'<svg viewBox="0 -1 {_width(groups):.0f} {_HIGH + 2:.0f}" aria-hidden="true">'
        f"{''.join(_row(groups, spec, masked=masked))}</svg>"
    )


def parted(book: Book, message: Message | None, text: str, name: str = "") -> list[list[Part]]:
    """Return a string in the groups in which the dash shows it: as the message says that people
    pause, else a codeword each; one that is no report of it in the colour of the table ``name``.
    """
    match = None if message is None else message.quick(text)
    if match is None:
        table = book.tables.get(name)
        return [[(text, book.dash.usual if table is None else book.dash.colour(table.fields))]]
    groups = _groups(match, book.dash, range(len(match.texts)))
    if len(groups) > 1:
        return groups
    return [[part] for group in groups for part in group]


def _glances(match: Match) -> list[list[int]]:
    """Return the places of the parts of each glance."""
    tables = match.plan.tables
    second = [n for n, one in enumerate(tables) if one.name == match.message.glance]
    begin = second[0] if second else len(tables)
    return [places for places in (list(range(begin)), list(range(begin, len(tables)))) if places]


def _groups(match: Match, spec: DashSpec, places: Sequence[int]) -> list[list[Part]]:
    """Return the groups that lie in so many parts."""
    tables = match.plan.tables
    parted = ([place for place in group if place in places] for group in match.groups())
    return [
        [(match.texts[n], spec.colour(tables[n].fields)) for n in group if match.texts[n]]
        for group in parted
        if group
    ]


def _width(groups: Sequence[Sequence[Part]]) -> float:
    """Return how far groups reach, a blank between them."""
    count = sum(len(text) for group in groups for text, _ in group) + len(groups) - 1
    return _STEP * count - (_STEP - _WIDE)


def _row(
    groups: Sequence[Sequence[Part]], spec: DashSpec, *, masked: bool = False
) -> Iterator[str]:
    x = 0.0
    for group in groups:
        for text, colour in group:
            for symbol in text:
                yield f'<g transform="translate({x:.0f} 0)">'
                yield from _character(symbol, spec, colour, masked=masked)
                yield "</g>"
                x += _STEP
        x += _STEP


def _character(symbol: str, spec: DashSpec, colour: str, *, masked: bool) -> Iterator[str]:
    drawing = characters(spec.display)
    if drawing is None:
        shown = "\N{FULL BLOCK}" if masked else escape(symbol)
        yield (
            f'<text x="{_WIDE / 2}" y="17" fill="{colour}" text-anchor="middle"'
            f' font-family="monospace" font-weight="bold" font-size="20">{shown}</text>'
        )
        return
    lit = drawing.parts.keys() if masked else drawing.lit[symbol]
    for part_of, opacity in ((drawing.parts.keys() - lit, _DIM), (lit, 1)):
        lines = " ".join(
            f"M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}"
            for x1, y1, x2, y2 in (drawing.parts[name] for name in sorted(part_of))
        )
        if lines:
            yield (
                f'<path d="{lines}" stroke="{colour}" stroke-opacity="{opacity}"'
                f' stroke-width="{drawing.broad:.2f}" stroke-linecap="round" fill="none"/>'
            )
