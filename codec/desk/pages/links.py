"""The links that let people in, and how a browser takes one."""

from __future__ import annotations

from urllib.parse import parse_qs

import segno
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from codec.desk.access import Role, cookie
from codec.desk.parts import Desk, DeskPage
from grammar.errors import CodeError


def part(desk: Desk) -> DeskPage:
    """Return where links are shown, made anew and taken."""
    secure = desk.scheme == "https"

    async def links(request: Request) -> Response:
        """The link of each role, to be read off the screen by a tablet's camera."""
        if desk.links is None:
            raise HTTPException(404, "this desk serves its own machine alone: it has no links")
        given = {role: f"{desk.address}join/{token}" for role, token in desk.links.tokens.items()}
        drawn = {role: segno.make(link, micro=False).svg_data_uri() for role, link in given.items()}
        return desk.page(request, "links.html", given=given, drawn=drawn)

    async def revoke(request: Request) -> Response:
        """Give a role a new link: the old one opens nothing any more."""
        sent = parse_qs((await request.body()).decode("utf-8", "replace"))
        named = sent.get("role", [""])[0]
        if desk.links is None or named not in Role.__members__ or not Role[named]:
            raise CodeError(
                "a role is expected", kind="usage", expected=[r.name for r in Role if r]
            )
        desk.links.revoke(Role[named])
        answer = RedirectResponse("/links", status_code=303)
        if Role[named] is request.scope["role"]:  # who does it stays in
            answer.headers.append(
                "set-cookie", cookie(desk.links.tokens[Role[named]], secure=secure)
            )
        return answer

    async def join(request: Request) -> Response:
        """Take a link: its token goes into a cookie, and the page leads on."""
        token = request.path_params["token"]
        if desk.links is None or not desk.links.role(token):
            raise HTTPException(403, "this link is not, or no longer, one of this desk")
        answer = desk.page(request, "join.html")
        answer.headers.append("set-cookie", cookie(token, secure=secure))
        return answer

    routes = [
        Route("/links", links),
        Route("/links", revoke, methods=["POST"]),
        Route("/join/{token}", join),
    ]
    return DeskPage(routes, needed={"/links": Role.WRITE, "/join/": Role.NOBODY})
