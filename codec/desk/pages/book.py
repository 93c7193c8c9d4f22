"""The sheet's book, or one that was proposed: tried both ways, through noise, and edited; and the
designs that lie beside the sheet, each point of whose figure opens its book.
"""

from __future__ import annotations

import asyncio
from dataclasses import asdict
from pathlib import Path
from typing import get_args
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from codec.desk import tried
from codec.desk.designed import designs_beside, frontier, needs_beside
from codec.desk.parts import Desk, DeskPage, number, printed
from codec.store.place import folder_of
from grammar.book import Book
from grammar.document import MOST_BYTES
from grammar.export import card
from grammar.export.c import c_files
from grammar.export.card import Reader

_FIELD = "field."  # what the names of fields begin with, so that none is taken for another key


def part(desk: Desk) -> DeskPage:
    """Return the book's page and what it asks for."""
    page = BookPage(desk)
    routes = [
        Route("/book/{sheet}", page.book),
        Route("/book/{sheet}/read", page.read),
        Route("/book/{sheet}/say", page.say),
        Route("/book/{sheet}/noise", page.noise),
        Route("/book/{sheet}/problems", page.problems, methods=["POST"]),
        Route("/book/{sheet}/card/{reader}", page.card),
        Route("/book/{sheet}/dash", page.dash),
    ]
    return DeskPage(routes, large={"/book/": MOST_BYTES}, menu={"book": "/book/"})


class BookPage:
    """What the addresses of the book answer. ``design`` and ``proposal`` name a book that was
    proposed; without them it is the sheet's own.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def _book(self, request: Request) -> Book:
        sheet, name = self.desk.sheet(request), request.query_params.get("design")
        if name is None:
            return sheet.session.book
        design = (await asyncio.to_thread(designs_beside, folder_of(sheet.path))).get(name)
        place = number(request, "proposal", 0)
        found = None if design is None else await asyncio.to_thread(design.book, place)
        if found is None:
            raise HTTPException(404, "there is no such proposal beside the sheet")
        return found

    async def book(self, request: Request) -> Response:
        """The page."""
        book, folder = await self._book(request), folder_of(self.desk.sheet(request).path)
        designs = await asyncio.to_thread(designs_beside, folder)
        blocks = await asyncio.to_thread(card.blocks, book, "engineer")
        name, place = request.query_params.get("design"), number(request, "proposal", 0)
        return self.desk.page(
            request,
            "book.html",
            book=book,
            source=book.source,
            blocks=blocks,
            designs={stem: (design, frontier(design)) for stem, design in designs.items()},
            needs=[one for one in needs_beside(folder) if Path(one).stem not in designs],
            proposed=None if name is None else designs[name].proposals[place],
            chosen=None if name is None else (name, place),
            of="" if name is None else urlencode({"design": name, "proposal": place}),
        )

    async def read(self, request: Request) -> Response:
        """What a text says."""
        book, text = await self._book(request), request.query_params.get("text", "")
        return JSONResponse(await asyncio.to_thread(tried.read, book, text))

    async def say(self, request: Request) -> Response:
        """How values are said."""
        book, query = await self._book(request), request.query_params
        values = {
            name.removeprefix(_FIELD): value
            for name, value in query.items()
            if name.startswith(_FIELD)
        }
        found = await asyncio.to_thread(tried.say, book, query.get("message", ""), values)
        return JSONResponse(found)

    async def noise(self, request: Request) -> Response:
        """What noise makes of a report."""
        book, text = await self._book(request), request.query_params.get("text", "")
        decibels, seed = number(request, "decibels", 0), number(request, "seed", 1)
        found = await asyncio.to_thread(tried.through_noise, book, text, decibels, seed)
        return JSONResponse([asdict(one) for one in found])

    async def problems(self, request: Request) -> Response:
        """What is wrong with a book as it is written."""
        text = (await request.body()).decode("utf-8", "replace")
        return JSONResponse(await asyncio.to_thread(tried.problems, text))

    async def card(self, request: Request) -> Response:
        """The card of one who reads or hears the code."""
        reader: Reader | None = next(
            (one for one in get_args(Reader) if one == request.path_params["reader"]), None
        )
        if reader is None:
            raise HTTPException(404, "there is no such card")
        return printed(card.html(await self._book(request), reader))

    async def dash(self, request: Request) -> Response:
        """The code for the car's dash, as C."""
        files = await asyncio.to_thread(c_files, await self._book(request))
        parts = (files.header_name, files.header, files.source_name, files.source)
        return PlainTextResponse("/* {} */\n{}\n/* {} */\n{}".format(*parts))
