"""A server set up: the schema, the tables of every kind of journal brought up to this version, and
the views that show one journal.

Run by whoever owns the database, once for each version of niner; nobody else changes tables.
"""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources

from codec.store.place import ServerPlace
from codec.store.server.connection import ServerConnection
from codec.store.server.declared import CURRENT, JOURNAL, steps, views
from codec.store.server.store import LOCK, MAKING
from codec.store.store import JournalFormat


def set_up(place: ServerPlace, forms: Iterable[JournalFormat]) -> dict[str, tuple[int, int]]:
    """Bring the tables of these kinds of journals up to this version, all or nothing; return of
    each the version before and now. Raises the error of the first kind.

    Several may do so at once: each waits for the one before. Tables of a later version are left
    alone, and refused.
    """
    wanted = list(forms)
    server = ServerConnection(place, wanted[0])
    try:
        with server.telling():
            _check(server)
            server.begin((LOCK, MAKING), "SELECT")
            try:
                server.run((resources.files("codec.store.server") / "base.sql").read_text("utf-8"))
                found = {form.name: _brought_up(server, form) for form in wanted}
            except BaseException:
                server.rollback()
                raise
            server.commit()
            return found
    finally:
        server.close()


def _check(server: ServerConnection) -> None:
    encoding = server.execute("SELECT current_setting('server_encoding')").fetchone()[0]
    if encoding != "UTF8":
        raise server.form.failure(
            "server",
            f"the database of {server.where} holds {encoding}, not every character",
            "make one with: createdb --encoding=UTF8 --template=template0 NAME",
        )


def _brought_up(server: ServerConnection, form: JournalFormat) -> tuple[int, int]:
    """Bring the tables of one kind up; return the version before and now."""
    ask = "SELECT version FROM niner.versions WHERE word = ?"
    row = server.execute(ask, (form.word,)).fetchone()
    before, now = 0 if row is None else int(row[0]), len(form.scripts)
    if before > now:
        raise form.failure(
            "later",
            f"{server.where} has the tables of a later version ({form.name} version {before}, this"
            f" one knows {now})",
            "update niner here",
        )
    for step in steps(form)[before:]:
        for statement in step:
            server.run(statement)
    for table, columns in views(form).items():
        listed = ", ".join(f'"{column}"' for column in columns)
        server.run(
            f'CREATE OR REPLACE VIEW niner_open."{table}" WITH (security_invoker) AS'  # noqa: S608 - names that the program declares
            f' SELECT {listed} FROM niner."{table}" WHERE {JOURNAL} = {CURRENT}'
        )
    server.execute(
        "INSERT INTO niner.versions VALUES (?, ?)"
        " ON CONFLICT (word) DO UPDATE SET version = excluded.version",
        (form.word, now),
    )
    return before, now
