"""A desk that runs: the sheets it opens, the names it is called by, the links it hands out."""

from __future__ import annotations

import contextlib
import gc
import socket
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from codec.desk.access import Guard, Links, Role
from codec.desk.app import application
from codec.desk.connection import PatientConnection, many_connections
from codec.desk.mirroring import Mirroring
from codec.desk.sheets import OpenSheet
from codec.desk.shelf import Shelf
from codec.race.people import EventFile
from codec.sheet.journal import Journal
from codec.sheet.listing import SUFFIX, places_in
from codec.store.place import Place, ServerPlace
from grammar.book import Book
from grammar.errors import CodeError

LINKS = ".niner-desk-links"  # beside the sheets
# seconds after which a thread that works lets go of the interpreter where another waits: what is
# answered at once does not wait for what is being drawn or heard
_TURN = 0.0005
_LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
_USUAL_PORTS = {"http": 80, "https": 443}


@dataclass(frozen=True, slots=True)
class Served:
    """Where a desk is found: its address on this machine, and the link of each role for others."""

    address: str
    links: dict[Role, str]


@dataclass(frozen=True, slots=True)
class MirrorPlan:
    """The shared sheet that a desk keeps its own in step with, and the desk's name."""

    shared: ServerPlace
    desk: str


def sheets_at(
    place: Place,
    book: Book | None = None,
    event: EventFile | None = None,
    mirror: MirrorPlan | None = None,
) -> Shelf:
    """Return the sheets of a place: the sheet itself, or all of a folder or a server.

    Raises CodeError where there is none.
    """
    if mirror is not None:
        if not isinstance(place, Path) or place.is_dir():
            raise CodeError(
                f"{str(place)!r} is no file of a sheet",
                kind="usage",
                hint="a mirror is a file here beside the sheet on the server",
            )
        mirroring = Mirroring(place, mirror.shared, mirror.desk, book)
        return Shelf({place.stem: OpenSheet(place, book, event, mirroring)})
    if place.is_dir() if isinstance(place, Path) else not place.name:
        one = f"{place / 'NAME'}{SUFFIX}" if isinstance(place, Path) else f"{place}#NAME"
        if book is not None:
            raise CodeError("a book is for one new sheet", kind="usage", hint=f"name it: {one}")
        if not places_in(place):
            raise CodeError(
                f"there is no sheet in {str(place)!r}",
                kind="sheet-missing",
                hint=f"name one, {one}; a new one needs --book",
            )
        return Shelf({}, place, event)
    if book is None and not Journal.is_there(place):
        raise CodeError(
            f"there is no sheet {str(place)!r}",
            kind="sheet-missing",
            hint="a new one needs its code book: --book BOOK",
        )
    return Shelf({place.stem: OpenSheet(place, book, event)})


def serve(
    sheets: Shelf,
    tell: Callable[[Served], None],
    *,
    port: int,
    lan: str | None = None,
    links_at: Path,
    certificate: tuple[str, str] | None = None,
    recordings: Path | None = None,
) -> None:
    """Serve the sheets until the process is told to end; ``tell`` hears where.

    ``lan`` is this machine's name on its network, "" for its address, None to serve this machine
    alone; ``recordings`` is the folder where these lie, beside the sheets if None. Raises
    CodeError where the port is taken, or a sheet can't be opened.
    """
    scheme = "http" if certificate is None else "https"
    bound = _bound("127.0.0.1" if lan is None else "0.0.0.0", port)  # noqa: S104 - asked for by name
    number = bound.getsockname()[1]
    name = _address() if lan == "" else lan
    names = names_of([*_LOOPBACK, *([name] if name else [])], number, scheme)
    links = None if lan is None else Links(links_at)
    base = f"{scheme}://{name or '127.0.0.1'}:{number}/"
    own = f"{scheme}://127.0.0.1:{number}/"
    served = (
        Served(own, {})
        if links is None
        else Served(
            f"{own}join/{links.tokens[Role.WRITE]}",
            {role: f"{base}join/{token}" for role, token in links.tokens.items()},
        )
    )
    guarded = application(
        sheets, names=names, scheme=scheme, links=links, address=base, recordings=recordings
    )
    server = server_of(guarded, certificate)
    many_connections()
    sys.setswitchinterval(_TURN)
    with bound:
        with _kept():
            sheets.open()
        bound.listen()  # who comes from now on waits for an answer, and is not refused
        tell(served)
        server.run(sockets=[bound])


@contextlib.contextmanager
def _kept() -> Iterator[None]:
    """Take all that is made within as there to stay: it is not searched for what is of no use any
    more, neither while there comes more and more of it nor whenever that is done later.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def server_of(guarded: Guard, certificate: tuple[str, str] | None = None) -> uvicorn.Server:
    """Return what serves an application; nothing that is asked for stands in its log."""
    return uvicorn.Server(
        uvicorn.Config(
            guarded,
            log_level="warning",
            access_log=False,  # what is asked for may hold a link
            server_header=False,
            timeout_graceful_shutdown=1,  # pages that listen would hold it for ever
            ssl_certfile=None if certificate is None else certificate[0],
            ssl_keyfile=None if certificate is None else certificate[1],
            ws="none",
            http=PatientConnection,
        )
    )


def names_of(hosts: Sequence[str], port: int, scheme: str) -> list[str]:
    """Return what a browser calls these hosts in a request: without the port where it is the usual
    one (RFC 9110, 4.2.3 and 7.2).
    """
    usual = [host for host in hosts if _USUAL_PORTS[scheme] == port]
    return [*(f"{host}:{port}" for host in hosts), *usual]


def _bound(host: str, port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
    except OSError as error:
        made.close()
        raise CodeError(
            f"port {port} can't be used: {error.strerror}",
            kind="usage",
            hint="name another: --port NUMBER, or --port 0 for any that is free",
        ) from None
    return made


def _address() -> str:
    """Return this machine's address on its network, found without sending anything."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation, RFC 5737
        except OSError:
            return socket.gethostname()
        return str(probe.getsockname()[0])
