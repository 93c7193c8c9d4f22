"""A transcript or an exported sheet that is dropped on the desk goes into the sheet that is open,
as ``niner sheet import`` does it; what is doubtful then is taken, put right or taken back by the
lines ``/accept``, ``/fix`` and ``/withdraw`` of the live log.
"""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import Sequence
from itertools import islice
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from codec.desk.access import MOST_FILE, Role
from codec.desk.parts import Desk, DeskPage, number
from codec.desk.sheets import checked_name
from codec.radio.by_hand import Doubtful, doubtful_rows
from codec.radio.crews import crews_of
from codec.radio.doubt import how_sure
from codec.radio.forms import HEAD, form_of, head_text
from codec.radio.importing import Summary, bounded, import_export, import_transcript
from codec.sheet.exports import read_export
from codec.sheet.journal import Journal
from codec.sheet.state import Standing
from codec.store.place import Place
from grammar.book import Book
from grammar.errors import visible

_AT_A_TIME = 8  # doubtful reports that are told


def part(desk: Desk) -> DeskPage:
    """Return where files are dropped, and what is doubtful."""

    async def bringing(request: Request) -> Response:
        cars = dict(desk.sheet(request).cars)
        return desk.page(request, "bring.html", cars=cars)

    async def brought(request: Request) -> Response:
        sheet, query = desk.sheet(request), request.query_params
        writer = checked_name(query.get("writer", ""))
        found = await asyncio.to_thread(
            bring, sheet.path, writer, query.get("name", "a file")[:200], await request.body(),
            [line for line in query.getlist("crew") if line.strip()],
        )  # fmt: skip
        await sheet.catch_up()
        return JSONResponse(found)

    async def doubtful(request: Request) -> Response:
        sheet, after = desk.sheet(request), number(request, "after", 0)
        # a page asks once, maybe as soon as something was brought elsewhere
        await sheet.look_again()
        standing = await sheet.ask(lambda session: session.standing.as_it_stands())
        found = await asyncio.to_thread(doubts, sheet.session.book, standing, after)
        return JSONResponse({**found, "cars": list(sheet.cars)})

    routes = [
        Route("/import/{sheet}", bringing),
        Route("/import/{sheet}", brought, methods=["POST"]),
        Route("/doubtful/{sheet}", doubtful),
    ]
    return DeskPage(
        routes,
        needed={"/import/": Role.WRITE},
        large={"/import/": MOST_FILE},
        menu={"import": "/import/"},
    )


def bring(
    sheet: Place, writer: str, name: str, body: bytes, crews: Sequence[str]
) -> dict[str, Any]:
    """Write what a file holds into a sheet, and return what it brought and what was left out, with
    examples. ``name`` is the file's, ``crews`` who drives what, as ``CAR=DRIVER,ENGINEER…``.

    Raises CodeError where it can't be read or written.
    """
    with tempfile.TemporaryDirectory(prefix="niner-") as folder:
        ending = "".join(one for one in Path(name).suffix[:20] if one.isalnum())
        path = Path(folder) / f"brought.{ending}"
        path.write_bytes(body)
        read = read_export(path)
        with Journal(sheet, writer=writer) as journal:
            if read is not None:
                return _told(import_export(journal, read))
            form = form_of(name, head_text(body[:HEAD], repr(name))).name
            with path.open("rb") as stream:
                summary = import_transcript(journal, bounded(stream), form, crews_of(crews))
            return _told(summary)


def _told(summary: Summary) -> dict[str, Any]:
    most_first = sorted(summary.left_out.items(), key=lambda item: -item[1])
    left = [
        {
            "reason": visible(reason),
            "count": count,
            "lines": [f"line {one.number}: {visible(one.text)}" for one in examples],
        }
        for reason, count in most_first
        for examples in [summary.examples[reason]]
    ]
    return {
        "written": summary.written,
        "refused": summary.refused,
        "there": summary.there,
        "left_out": left,
    }


def doubts(book: Book, standing: Standing, after: int) -> dict[str, Any]:
    """Return the first reports behind a number that do not count, each with its likeliest readings,
    and whether there may be more of them.
    """
    found = list(islice(doubtful_rows(book, standing, after=after), _AT_A_TIME))
    return {"doubtful": [_doubtful(one) for one in found], "more": len(found) == _AT_A_TIME}


def _doubtful(one: Doubtful) -> dict[str, Any]:
    entry = one.row.entry
    return {
        "entry": one.row.first.seq,
        "car": entry.car,
        "lap": entry.lap,
        "speaker": visible(entry.speaker),
        "heard": visible(entry.heard),
        "why": visible(entry.note or entry.refusal),
        "readings": [
            {"string": reading.said, "words": visible(str(reading)), "sure": how_sure(sure)}
            for reading, sure in one.readings
        ],
    }
