"""Where a journal is: a file, or a name on a server.

A place on a server is an address as libpq takes it (PostgreSQL, "Connection URIs"), then ``#`` and
the name of the journal there: ``postgresql://HOST/DATABASE#NAME``. A password never stands in it:
others can read the command line, and it would be kept in histories and logs. libpq finds it in the
environment (PGPASSWORD), in a password file (~/.pgpass) or in a service file (PGSERVICEFILE).
"""

from __future__ import annotations

import shlex
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qsl, quote, unquote, urlsplit

from grammar.errors import CodeError

_SCHEMES = ("postgresql://", "postgres://")  # as libpq takes them
_SECRETS = {"password", "sslpassword"}
_MOST_NAME = 100


@dataclass(frozen=True, slots=True)
class ServerPlace:
    """A journal on a server: ``address`` is for libpq, ``name`` is that of the journal there, ""
    for the server as a whole.
    """

    address: str
    name: str = ""

    def __str__(self) -> str:
        """Return the place as it is written."""
        return f"{self.address}#{quote(self.name, safe=' ')}" if self.name else self.address

    @property
    def set_up(self) -> str:
        """The command that makes what the server needs."""
        return f"niner server init {shlex.quote(self.address)}"

    @property
    def stem(self) -> str:
        """The name of the journal, as a file's is that of its path."""
        return self.name

    def with_name(self, name: str) -> ServerPlace:
        """Return the place of another journal beside this one."""
        return ServerPlace(self.address, checked_name(name))


Place = Path | ServerPlace


def folder_of(place: Place) -> Path:
    """Return the folder where the files that belong to a journal stand: beside it, or, where it is
    on a server, where the program runs.
    """
    return place.parent if isinstance(place, Path) else Path()


def place_of(text: str | Place) -> Place:
    """Return the place that a text names; raises CodeError where an address can't be read, or has
    a password in it.
    """
    if not isinstance(text, str):
        return text
    if not text.startswith(_SCHEMES):
        return Path(text)
    address, _, name = text.partition("#")
    try:
        parts = urlsplit(address)
        secret = parts.password is not None or any(
            key in _SECRETS for key, _ in parse_qsl(parts.query, keep_blank_values=True)
        )
    except ValueError as error:
        raise CodeError(f"the address of a server can't be read: {error}", kind="place") from None
    if secret:
        raise CodeError(
            "a password stands in the address of the server, where others can read it",
            kind="place",
            hint=(
                "take it out, change it, and put the new one into ~/.pgpass, a service file or"
                " PGPASSWORD"
            ),
        )
    name = unquote(name)
    return ServerPlace(address, checked_name(name) if name else "")


WHOLE = "a folder, or a server: postgresql://HOST/DATABASE"  # what has several journals


def whole(place: Place) -> Place:
    """Return a folder, or a server, as it is; raises CodeError for a single journal, and where
    there is no such folder.
    """
    if place.name if isinstance(place, ServerPlace) else not place.is_dir():
        raise CodeError(
            f"{str(place)!r} is no folder and no server as a whole", kind="usage", expected=[WHOLE]
        )
    return place


def checked_name(name: str) -> str:
    """Return the name of a journal on a server; raises CodeError where it is none."""
    seen = all(
        character == " " or (character != "/" and unicodedata.category(character)[0] not in "CZ")
        for character in name
    )
    if not name.strip() or name != name.strip() or len(name) > _MOST_NAME or not seen:
        raise CodeError(
            f"{name[:_MOST_NAME]!r} can't be the name of a sheet or a journal on a server",
            kind="place",
            expected=[f"1 to {_MOST_NAME} characters that can be seen, none of them /"],
        )
    return name
