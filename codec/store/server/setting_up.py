"""A server set up: the schema, the tables of every kind of journal brought up to this version, and
the views that show one journal.

Run by whoever owns the database, once for each version of niner; nobody else changes tables.
"""

from __future__ import annotations

from collections.abc import Iterable
from importlib import resources

from psycopg import errors

from codec.store.place import ServerPlace
from codec.store.server.connection import ServerConnection
from codec.store.server.declared import CURRENT, JOURNAL, steps, views
from codec.store.server.store import LOCK, MAKING
from codec.store.store import ADD, JournalFormat


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
                for role in sorted({role for form in wanted for role, _ in form.rights}):
                    _make_role(server, role)
                found = {form.name: _brought_up(server, form) for form in wanted}
            except BaseException:
                server.rollback()
                raise
            server.commit()
            return found
    finally:
        server.close()


def _make_role(server: ServerConnection, role: str) -> None:
    """Make a role, that people are let into, where the server has none of its name yet."""
    ask = "SELECT FROM pg_roles WHERE rolname = ?"
    if server.execute(ask, (role,)).fetchone() is not None:
        return
    try:
        with server.trying():
            server.run(f"CREATE ROLE {role} NOLOGIN")
    except (errors.DuplicateObject, errors.UniqueViolation):
        return  # whoever sets up another database of this server was quicker
    except errors.InsufficientPrivilege:
        raise server.form.failure(
            "server",
            f"you may not make the role {role} at {server.where}",
            f"let whoever may, once: CREATE ROLE {role} NOLOGIN;",
        ) from None


def _let_in(server: ServerConnection, word: str, role: str, *, adds: bool) -> None:
    """Let a role see the journals of its own kind and no other, and, where it adds to them, make
    some in its own name.
    """
    mine = f"word = '{word}'"
    server.run(
        f"GRANT USAGE ON SCHEMA niner, niner_open TO {role};"
        f" GRANT SELECT ON niner.versions, niner.journals TO {role};"
        f" DROP POLICY IF EXISTS {role}_sees ON niner.journals;"
        f" CREATE POLICY {role}_sees ON niner.journals FOR SELECT TO {role} USING ({mine})"
    )
    if adds:
        made = f"{mine} AND last = 0 AND digest IS NULL AND maker = session_user"
        server.run(
            f"GRANT INSERT ON niner.journals TO {role};"
            f" DROP POLICY IF EXISTS {role}_makes ON niner.journals;"
            f" CREATE POLICY {role}_makes ON niner.journals FOR INSERT TO {role}"
            f" WITH CHECK ({made})"
        )


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
    for table, column in form.sought:
        server.run(
            f'CREATE INDEX IF NOT EXISTS "{table}_by_{column}"'
            f' ON niner."{table}" ({JOURNAL}, "{column}")'
        )
    for table, columns in views(form).items():
        listed = ", ".join(f'"{column}"' for column in columns)
        server.run(
            f'CREATE OR REPLACE VIEW niner_open."{table}" WITH (security_invoker) AS'  # noqa: S608 - names that the program declares
            f' SELECT {listed} FROM niner."{table}" WHERE {JOURNAL} = {CURRENT}'
        )
        for role, rights in form.rights:
            more = ", DELETE" if table in form.taken_out else ""
            server.run(f'GRANT {rights}{more} ON niner."{table}", niner_open."{table}" TO {role}')
    for role, rights in form.rights:
        _let_in(server, form.word, role, adds=rights == ADD)
    server.execute(
        "INSERT INTO niner.versions VALUES (?, ?)"
        " ON CONFLICT (word) DO UPDATE SET version = excluded.version",
        (form.word, now),
    )
    return before, now
