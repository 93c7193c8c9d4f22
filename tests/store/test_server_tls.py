"""A server that is spoken to by TLS proves who it is, or nothing is told to it, a password least of
all. Certificates are made by OpenSSL, checked by libpq (PostgreSQL's manual, "SSL Support").
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import psycopg
import pytest
from commands import ROOT, Done, called
from programs import program
from servers import Server

from codec.sheet.journal import sheet_format
from codec.store.place import ServerPlace
from codec.store.server.setting_up import set_up

PASSWORD = "quite-secret"  # noqa: S105 - of a server of the tests' own
BOOK = ROOT / "examples" / "race" / "race.toml"


@dataclass(frozen=True, slots=True)
class Secure:
    """A server that lets in by TLS and a password alone, and the roots that people may trust."""

    port: int
    folder: Path

    def place(self, root: str, host: str = "localhost", mode: str = "verify-full") -> str:
        """Return a sheet's place for who trusts a root, and takes the server for this host."""
        known = f"hostaddr=127.0.0.1&sslmode={mode}&sslrootcert={self.folder / root}"
        return f"postgresql://quill@{host}:{self.port}/races?{known}#event"


def openssl(folder: Path, *arguments: str) -> None:
    subprocess.run([program("openssl"), *arguments], cwd=folder, check=True, capture_output=True)


def certificates(folder: Path) -> None:
    """Make a root, a certificate of localhost that it signs, and a root that has signed nothing."""
    key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    for root in ("root", "other"):
        openssl(folder, "req", "-x509", *key, "-keyout", f"{root}.key", "-out", f"{root}.crt",
                "-subj", f"/CN=The team's {root}", "-days", "2")  # fmt: skip
    openssl(folder, "req", *key, "-keyout", "server.key", "-out", "server.csr",
            "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost")  # fmt: skip
    openssl(folder, "x509", "-req", "-in", "server.csr", "-CA", "root.crt", "-CAkey", "root.key",
            "-CAcreateserial", "-copy_extensions", "copy", "-out", "server.crt",
            "-days", "2")  # fmt: skip


@pytest.fixture(scope="module")
def secure() -> Iterator[Secure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)  # the server has a user of its own
        certificates(folder)
        if os.getuid() == 0:
            shutil.chown(folder / "server.key", "postgres")
        known = folder / "known"
        known.write_text("local all all trust\nhostssl all all 127.0.0.1/32 scram-sha-256\n")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = int(probe.getsockname()[1])
        server = Server(
            port=str(port), listen_addresses="127.0.0.1", hba_file=str(known), ssl="on",
            ssl_cert_file=str(folder / "server.crt"), ssl_key_file=str(folder / "server.key"),
        )  # fmt: skip
        try:
            address = server.database("races")
            set_up(ServerPlace(address), [sheet_format()])
            with psycopg.connect(address, autocommit=True) as connection:
                connection.execute(f"CREATE ROLE quill LOGIN PASSWORD '{PASSWORD}'".encode())
                connection.execute("GRANT niner_writer TO quill")
            yield Secure(port, folder)
        finally:
            server.remove()


def asked(*arguments: str, password: str = PASSWORD) -> Done:
    """Return what a command says; hold that it does not say the password."""
    found = called(arguments, b"/note kept\n", environment={"PGPASSWORD": password})
    assert password.encode() not in found.stdout + found.stderr
    assert b"Traceback" not in found.stderr
    return found


def test_who_trusts_the_right_root_reads_and_writes(secure: Secure) -> None:
    place = secure.place("root.crt")
    logged = asked("log", place, "--book", str(BOOK), "--car", "7=Ilse Marrow")
    assert logged.returncode == 0, logged.stderr
    assert b"kept" in asked("sheet", "show", place).stdout


@pytest.mark.parametrize(
    ("root", "host", "why"),
    [
        ("other.crt", "localhost", b"certificate verify failed"),
        ("none.crt", "localhost", b"none.crt"),
        ("root.crt", "db.team", b"does not match host name"),
    ],
    ids=["another root", "no root", "another host"],
)
def test_a_server_that_does_not_prove_who_it_is_is_told_nothing(
    secure: Secure, root: str, host: str, why: bytes
) -> None:
    found = asked("sheet", "show", secure.place(root, host))
    told = found.stderr.splitlines()
    assert (found.returncode, len(told)) == (2, 2), found.stderr  # a sentence, and what to do
    assert b"does not prove who it is" in told[0]
    assert why in told[0]
    assert told[1].startswith(b"hint: sslrootcert=FILE")


def test_a_wrong_password_or_a_line_without_tls_is_refused_in_a_sentence(secure: Secure) -> None:
    place = secure.place("root.crt")
    wrong = asked("sheet", "show", place, password="not-the-one")  # noqa: S106
    assert b"password authentication failed" in wrong.stderr
    plain = asked("sheet", "show", secure.place("root.crt", mode="disable"))
    for found in (wrong, plain):
        assert (found.returncode, len(found.stderr.splitlines())) == (2, 2), found.stderr
        assert b"can't be reached" in found.stderr
