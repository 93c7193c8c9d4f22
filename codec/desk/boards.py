"""The boards of a sheet's cars as they are drawn: anew only what says something else than before,
and once for all who look.
"""

from __future__ import annotations

import json
from collections.abc import Hashable
from typing import NamedTuple

from jinja2 import Template
from markupsafe import Markup

from codec.log.session import Session
from codec.views.board import Board, board, lap_clock
from codec.views.charts import use_chart
from codec.views.laps import SheetLine


class DrawnBoard(NamedTuple):
    """A board as HTML, and that as a JSON text."""

    html: Markup
    encoded: str


class _Known(NamedTuple):
    """A board, what it was made of, and how it is drawn for those who write and who watch."""

    made_of: tuple[object, ...]
    board: Board
    drawn: dict[bool, DrawnBoard]


class Boards:
    """Draws the boards of one sheet, in its thread."""

    def __init__(self, whole: Template, line: Template) -> None:
        """Take the templates of a board and of a line of its lap sheet."""
        self._whole, self._line = whole, line
        self._known: dict[str, _Known] = {}
        self._lines: dict[tuple[str, bool], dict[Hashable, Markup]] = {}

    def drawn(self, session: Session, car: str, *, writes: bool) -> DrawnBoard:
        """Return the board of a car, for those who write or who watch."""
        session.car = car
        known, clock = session.of(car), lap_clock(session, car)
        looks = tuple(known.looks)
        due = known.followed.due_in_words(session.now()) if known.followed else ""
        made_of = (known, session.race, due, looks, clock.begun, clock.due)
        found = self._known.get(car)
        if found is None or found.made_of != made_of:
            found = self._known[car] = _Known(made_of, board(session), {})
        if writes not in found.drawn:
            found.drawn[writes] = self._draw(found.board, writes=writes)
        return found.drawn[writes]

    def _draw(self, shown: Board, *, writes: bool) -> DrawnBoard:
        unit = "" if shown.race is None else shown.race.event.spec.energy.unit
        chart = use_chart(shown.uses, unit) if len(shown.uses) > 1 else None
        before, lines = self._lines.get((shown.car, writes), {}), dict[Hashable, Markup]()
        drawn = list[Markup]()
        for line in reversed(shown.lines):
            if line.withdrawn:
                continue
            use = shown.uses.get(line.lap) if line.counts else None
            content = _content(line), use, bool(shown.uses)
            html = before.get(content)
            if html is None:
                rendered = self._line.render(board=shown, line=line, use=use, writes=writes)
                html = Markup(rendered)  # noqa: S704 - drawn by our own template
            lines[content] = html
            drawn.append(html)
        self._lines[shown.car, writes] = lines
        html = Markup(  # noqa: S704 - likewise
            self._whole.render(board=shown, lines=drawn, chart=chart)
        )
        return DrawnBoard(html, json.dumps(html))


def _content(line: SheetLine) -> Hashable:
    """Return everything that a line shows of itself."""
    values = None if line.values is None else tuple(line.values.items())
    return line.lap, line.kind, line.other, line.refused, line.counts, line.said, values
