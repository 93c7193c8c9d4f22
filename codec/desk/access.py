"""Who may see a desk and who may write at it, and what every request must show before it is heard.

Alone on its own machine a desk asks for nothing but that the request is for it and from one of its
own pages: no page of another site may read or write here, whatever name it gives this machine
(DNS rebinding) and whatever form it sends (request forgery). On a network everybody comes with a
link, one a role, that holds a random token; the browser keeps it in a cookie that no script reads
and no other site sends. See "HTTP Semantics" (RFC 9110), "The Web Origin Concept" (RFC 6454),
"Cookies" (RFC 6265bis), "Content Security Policy Level 3" and "Permissions Policy" (W3C).
"""

from __future__ import annotations

import asyncio
import hmac
import json
import secrets
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from enum import IntEnum
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from types import MappingProxyType
from typing import Any

from codec.files import whole, written
from grammar.errors import CodeError

COOKIE = "niner-desk"
MOST_BODY = 64_000  # bytes of what a page sends
MOST_FILE = 50_000_000  # bytes of a transcript or a sheet that is brought
LEAST_TIME = 20.0  # seconds in which what a page sends must be here
_PACE = 200_000  # bytes a second at least, of what is larger
_TOKEN = 32  # bytes of chance in a link


def permissions(*, hears: bool = False) -> str:
    """Return what a page may use of a browser ("Permissions Policy", W3C): nothing that sees or
    hears, but the microphone where it ``hears``.
    """
    return f"camera=(), display-capture=(), geolocation=(), microphone=({'self' if hears else ''})"


_SECURITY = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src"
    " 'self' data:; connect-src 'self'; media-src 'self'; form-action 'self'; base-uri 'none';"
    " frame-ancestors 'none'",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": permissions(),
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]


class Role(IntEnum):
    """What somebody may do; who may write may also do what the others may."""

    NOBODY = 0
    WATCH = 1
    DRILL = 2
    WRITE = 3


class Links:
    """The token of each role, kept in a file of the owner's, so that a desk begun again still knows
    everybody.
    """

    def __init__(self, path: Path) -> None:
        """Read the file, or make it; raises CodeError where it is none, or can't be written."""
        self.path, self.tokens = path, dict[Role, str]()
        if path.exists():
            self._read()
        else:
            self.tokens = {role: secrets.token_urlsafe(_TOKEN) for role in Role if role}
            self._write()

    def _read(self) -> None:
        try:
            kept = json.loads(self.path.read_text("utf-8")[:10_000])
            self.tokens = {role: str(kept[role.name.lower()]) for role in Role if role}
        except (OSError, ValueError, KeyError, TypeError):
            self.tokens = {}
        if not self.tokens or min(map(len, self.tokens.values())) < _TOKEN:
            raise CodeError(
                f"{str(self.path)!r} does not hold the links of a desk",
                kind="file",
                hint="move it away: the desk makes new links then",
            )

    def _write(self) -> None:
        with written(self.path), whole(self.path, private=True) as stream:
            json.dump({role.name.lower(): token for role, token in self.tokens.items()}, stream)

    def role(self, token: str) -> Role:
        """Return whose token this is; it takes as long whosever it is."""
        found = Role.NOBODY
        for role, kept in self.tokens.items():
            if hmac.compare_digest(token.encode("utf-8", "replace"), kept.encode()):
                found = role
        return found

    def revoke(self, role: Role) -> None:
        """Give a role a new token: who holds the old one is nobody from now on."""
        self.tokens[role] = secrets.token_urlsafe(_TOKEN)
        self._write()


class Guard:
    """Stands before the application: refuses what is not for this desk, or not from its pages."""

    def __init__(
        self,
        application: Application,
        *,
        names: Iterable[str],
        scheme: str = "http",
        links: Links | None = None,
        needed: Mapping[str, Role],
        large: Mapping[str, int] = MappingProxyType({}),
    ) -> None:
        """Take the ``names`` (host and port) by which the desk is called, what role each path needs
        by how it begins, and how many bytes may be sent to those that take ``large`` files; without
        ``links`` everybody who reaches it may write.
        """
        self.application, self.links = application, links
        self.names, self.scheme = frozenset(name.casefold() for name in names), scheme
        self.needed = sorted(needed.items(), key=lambda item: -len(item[0]))
        self.large = large

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or pass it on with the role of who asks in ``scope``."""
        if scope["type"] == "lifespan":
            await self.application(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {
            name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]
        }
        role = Role.WRITE if self.links is None else self.links.role(_token(headers))
        refusal = self._refusal(scope, headers, role)
        if refusal is not None:
            await _refuse(send, *refusal)
            return
        scope["role"], path = role, scope["path"]
        await self.application(scope, _Bounded(receive, self._most(path)), _secured(send, path))

    def _most(self, path: str) -> int:
        """Return how many bytes may be sent to a path."""
        return next(
            (most for start, most in self.large.items() if path.startswith(start)), MOST_BODY
        )

    def _refusal(
        self, scope: Scope, headers: Mapping[str, str], role: Role
    ) -> tuple[int, str] | None:
        """Return the status and the words of a refusal, None where there is nothing to refuse."""
        host, origin, path = headers.get("host", ""), headers.get("origin"), scope["path"]
        if host.casefold() not in self.names:
            return 421, "this desk is not known by that name"
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "this is not done here"
        if origin not in (None, f"{self.scheme}://{host}") or (
            origin is None and scope["method"] == "POST"
        ):
            return 403, "only a page of this desk may ask for that"
        # another port of this machine is the same site, and none of this desk's
        elsewhere = headers.get("sec-fetch-site", "none") not in ("none", "same-origin")
        if elsewhere and not path.startswith("/join/"):
            return 403, "only a page of this desk may ask for that"
        most = self._most(path)
        if int(headers.get("content-length", "0")) > most:
            return 413, f"more than {most} bytes"
        needed = next((role for start, role in self.needed if path.startswith(start)), Role.WRITE)
        if role < needed:
            return 403, "a link of this desk is needed: ask who runs it for one"
        return None


class _Bounded:
    """What a request brings, ended where it is longer, or takes longer, than it may."""

    def __init__(self, receive: Receive, most: int) -> None:
        self.receive, self.left, self.coming = receive, most, True
        self.until = asyncio.get_running_loop().time() + LEAST_TIME + most / _PACE

    async def __call__(self) -> MutableMapping[str, Any]:
        if not self.coming:  # now it only waits for whoever asked to go away
            return await self.receive()
        try:
            async with asyncio.timeout_at(self.until):
                message = await self.receive()
        except TimeoutError:
            raise CodeError("it took too long to be sent", kind="usage") from None
        self.left -= len(message.get("body", b""))
        self.coming = message.get("more_body", False)
        if self.left < 0:
            raise CodeError("more than may be sent at once", kind="usage")
        return message


def _token(headers: Mapping[str, str]) -> str:
    try:
        kept = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return "" if kept is None else kept.value


def cookie(token: str, *, secure: bool) -> str:
    """Return the header that lets a browser keep a token."""
    return f"{COOKIE}={token}; Path=/; Max-Age=31536000; HttpOnly; SameSite=Strict" + (
        "; Secure" if secure else ""
    )


def _secured(send: Send, path: str) -> Send:
    """Add to every answer what a browser may do with it."""
    kept = b"no-cache" if path.startswith("/static/") else b"no-store"

    async def answered(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name.lower() for name, _ in message.get("headers", [])}
            more = [(name.encode(), value.encode()) for name, value in _SECURITY.items()]
            more = [(name, value) for name, value in more if name not in own]
            message["headers"] = [*message.get("headers", []), *more, (b"cache-control", kept)]
        await send(message)

    return answered


async def _refuse(send: Send, status: int, words: str) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8")]
    start = {"type": "http.response.start", "status": status, "headers": headers}
    await _secured(send, "")(start)
    await send({"type": "http.response.body", "body": f"{words}\n".encode()})
