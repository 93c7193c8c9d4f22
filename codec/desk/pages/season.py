"""The team's board of its drills: how everybody stands in their programme, and two beside each
other.
"""

from __future__ import annotations

import asyncio
import datetime
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from codec.desk.access import Role
from codec.desk.drills import number_told
from codec.desk.parts import Desk, DeskPage, book_of
from codec.drill import DrillError, DrillJournal
from codec.drill.journal import JOURNAL
from codec.drill.programme import Beside, Programme, ProgrammeStanding, beside, standing
from codec.drill.session import CAUTION
from codec.store.place import Place
from codec.store.store import now
from grammar.book import Book


def part(desk: Desk) -> DeskPage:
    """Return the board, and where programmes are made."""

    async def season(request: Request) -> Response:
        sheet, asked = desk.sheet(request), request.query_params.getlist("with")[:2]
        path = sheet.path.with_name(JOURNAL)
        rows, pairs = await asyncio.to_thread(_read, path, book_of(sheet), asked)
        return desk.page(
            request, "season.html", drill_caution=CAUTION, rows=rows, pairs=pairs, asked=asked,
            today=now().date().isoformat(),
        )  # fmt: skip

    async def plan(request: Request) -> Response:
        sheet = desk.sheet(request)
        sent = parse_qs((await request.body()).decode("utf-8", "replace"))
        programme = _programme({name: values[0] for name, values in sent.items()})

        def keep() -> None:
            with DrillJournal(sheet.path.with_name(JOURNAL)) as journal:
                journal.plan(programme)

        await asyncio.to_thread(keep)
        return RedirectResponse(request.url.path, status_code=303)

    routes = [
        Route("/season/{sheet}", season),
        Route("/season/{sheet}", plan, methods=["POST"]),
    ]
    return DeskPage(routes, needed={"/season/": Role.WRITE}, menu={"season": "/season/"})


def _read(
    path: Place, book: Book, asked: list[str]
) -> tuple[list[ProgrammeStanding], list[Beside]]:
    """Return how everybody stands in reading, and the symbols of two beside each other."""
    if not DrillJournal.is_there(path):
        return [], []
    with DrillJournal(path) as journal:
        wanted = "read", book.digest
        answers = {
            person: [one for one in journal.answers(person) if (one.drill, one.book) == wanted]
            for person in journal.people()
        }
        found = [
            standing(book, rows, journal.programme(person), now())
            for person, rows in answers.items()
        ]
    two = [answers[person] for person in asked if person in answers]
    return (
        [one for one in found if one is not None],
        beside(book, *two) if len(two) == 2 else [],
    )


def _programme(told: dict[str, str]) -> Programme:
    """Return the programme that a form sends; raises DrillError where it is none."""
    try:
        begins = datetime.date.fromisoformat(told.get("begins", ""))
    except ValueError:
        raise DrillError(
            "which day does it begin?", kind="usage", expected=["2026-05-01"]
        ) from None

    def of(name: str, usual: float) -> float:
        return number_told(name, told.get(name, usual), 0, 10_000)

    return Programme(
        person=told.get("person", ""),
        begins=begins,
        weeks=int(of("weeks", 6)),
        sessions=int(of("sessions", 3)),
        share=of("share", 95) / 100,
        exposure=of("exposure", 500) / 1000,
        seconds=of("seconds", 4),
    )
