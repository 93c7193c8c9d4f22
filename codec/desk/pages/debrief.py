"""The debrief of one car, as ``niner sheet debrief`` tells it, with charts to point at."""

from __future__ import annotations

import asyncio
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from codec.debrief.page import context, page
from codec.debrief.summary import Debrief, summarise
from codec.desk.parts import Desk, DeskPage, printed
from codec.views.charts import charts


def part(desk: Desk) -> DeskPage:
    """Return the debriefs of a sheet, and each as a page that stands alone."""

    async def summarised(request: Request, car: str) -> Debrief:
        sheet = desk.sheet(request)
        standing = await sheet.ask(lambda session: session.standing.as_it_stands())
        session = sheet.session
        return await asyncio.to_thread(
            summarise, session.book, standing, car=car, event=session.event
        )

    async def debrief(request: Request) -> Response:
        cars, car = dict(desk.sheet(request).cars), request.query_params.get("car", "")
        if car not in cars and len(cars) != 1:
            return desk.page(request, "debriefs.html", cars=cars)
        found = await summarised(request, car if car in cars else next(iter(cars)))
        shown = await asyncio.to_thread(_shown, found)
        return desk.page(request, "debrief.html", cars=cars, **shown)

    async def alone(request: Request) -> Response:
        cars, car = desk.sheet(request).cars, request.query_params.get("car", "")
        if car not in cars:
            return RedirectResponse(f"/debrief/{request.path_params['sheet']}", status_code=303)
        found = await summarised(request, car)
        return printed(await asyncio.to_thread(page, found))

    routes = [Route("/debrief/{sheet}", debrief), Route("/debrief/{sheet}/page", alone)]
    return DeskPage(routes, menu={"debrief": "/debrief/"})


def _shown(debrief: Debrief) -> dict[str, Any]:
    return {**context(debrief), "charts": charts(debrief)}
