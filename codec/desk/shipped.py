"""What pages load besides themselves, scripts and styles, as it is shipped: held in memory, as a
page is painted only when its styles are there, and each file from the disk would take its turns of
threads beside all that the desk does.
"""

from __future__ import annotations

import functools
import hashlib
import mimetypes
from collections.abc import Iterator, Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from typing import NamedTuple

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route


class Shipped(NamedTuple):
    """A file: what is in it, its media type, and its entity tag ("HTTP Semantics", RFC 9110,
    8.8.3), which is another when it is.
    """

    content: bytes
    kind: str
    tag: str


@functools.cache
def _files() -> Mapping[str, Shipped]:
    """Return the files by their paths."""
    return dict(_below(resources.files("codec.desk") / "static", ""))


def _below(folder: Traversable, path: str) -> Iterator[tuple[str, Shipped]]:
    for one in folder.iterdir():
        if one.is_dir():
            yield from _below(one, f"{path}{one.name}/")
        else:
            content = one.read_bytes()
            kind = mimetypes.guess_type(one.name)[0] or "text/plain"
            tag = hashlib.blake2b(content, digest_size=16).hexdigest()
            yield path + one.name, Shipped(content, kind, f'"{tag}"')


async def _answer(request: Request) -> Response:
    file = _files().get(request.path_params["path"])
    if file is None:
        raise HTTPException(404)
    tag = {"etag": file.tag}
    if request.headers.get("if-none-match") == file.tag:
        return Response(status_code=304, headers=tag)
    return Response(file.content, media_type=file.kind, headers=tag)


def route() -> Route:
    """Return the route by which they are found; they are read now."""
    _files()
    return Route("/static/{path:path}", _answer)
