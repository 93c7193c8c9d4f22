"""A PostgreSQL server of the tests' own: in a temporary folder, on a Unix socket."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import psycopg
import pytest

_DEBIAN = Path("/usr/lib/postgresql")
_OWNER = "postgres"


def _programs() -> Path | None:
    """Return the folder of the server's programs, the latest where there are several."""
    found = [path.parent for path in _DEBIAN.glob("*/bin/initdb")]
    if found:
        return max(found, key=lambda path: int(path.parent.name))
    there = shutil.which("initdb")
    return None if there is None else Path(there).resolve().parent


def _begun_by(parent: int) -> list[int]:
    """Return the processes that a process has begun."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            if int(path.read_text().rpartition(")")[2].split()[1]) == parent:
                found.append(int(path.parent.name))
    return found


class Server:
    """A server, and how it is started, ended and killed."""

    def __init__(self, full_disk: Path | None = None, **settings: str) -> None:
        """Make its folder and start it; with a library of ``failing_disk.c`` its disk is full while
        ``self.full`` is there.
        """
        programs = _programs()
        if programs is None:
            pytest.skip("needs PostgreSQL: apt-get install postgresql")
        self._programs, self._settings = programs, settings
        self.folder = Path(tempfile.mkdtemp(prefix="pg"))  # short: a socket's path has a limit
        self.full, self._environment = self.folder / "full", dict(os.environ)
        if full_disk is not None:
            self._environment |= {
                "LD_PRELOAD": str(full_disk),
                "FULL_DISK": f"{self.folder / 'data'}/",
                "FULL_DISK_WHILE": str(self.full),
            }
        # PostgreSQL refuses to be run by root
        self._user: dict[str, Any] = (
            {"user": _OWNER, "group": _OWNER, "extra_groups": []} if os.getuid() == 0 else {}
        )
        if self._user:
            shutil.chown(self.folder, _OWNER, _OWNER)
        subprocess.run(
            [programs / "initdb", "-D", self.folder / "data", "--no-sync", "--auth=trust",
             f"--username={_OWNER}", "--encoding=UTF8", "--locale=C"],
            check=True, capture_output=True, cwd="/", **self._user,
        )  # fmt: skip
        self.start()

    def start(self) -> None:
        """Start it, and wait until it answers."""
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": str(self.folder),
            "recovery_init_sync_method": "syncfs",  # behind a kill, or each file is synced alone
            **self._settings,
        }
        with (self.folder.parent / f"{self.folder.name}.log").open("ab") as log:
            self.process = subprocess.Popen(
                [self._programs / "postgres", "-D", self.folder / "data",
                 *(f"--{name}={value}" for name, value in settings.items())],
                stdout=log, stderr=log, cwd="/", env=self._environment, **self._user,
            )  # fmt: skip
        until = time.monotonic() + 60
        while True:
            try:
                psycopg.connect(self.address(_OWNER)).close()
                return
            except psycopg.OperationalError:
                assert time.monotonic() < until, "the server does not start"
                assert self.process.poll() is None, "the server ended"
                time.sleep(0.02)

    def address(self, database: str, user: str = _OWNER) -> str:
        """Return the address of a database."""
        port = f"&port={self._settings['port']}" if "port" in self._settings else ""
        return f"postgresql:///{database}?host={self.folder}&user={user}{port}"

    def database(self, name: str) -> str:
        """Make a database; return its address."""
        with psycopg.connect(self.address(_OWNER), autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"'.encode())
        return self.address(name)

    def end(self) -> None:
        """End it: who is connected is let go ("fast shutdown")."""
        self.process.send_signal(signal.SIGINT)
        self.process.wait()

    def kill(self) -> None:
        """Kill it and everything that it has begun, as a loss of power would; what is on the disk
        is on the disk.
        """
        mine = [self.process.pid, *_begun_by(self.process.pid)]
        for pid in mine:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        self.process.wait()
        until = time.monotonic() + 60
        while any(Path(f"/proc/{pid}").exists() for pid in mine[1:]):
            assert time.monotonic() < until, "what the server had begun does not end"
            time.sleep(0.005)

    def remove(self) -> None:
        """End it, and remove its folder."""
        self.end()
        shutil.rmtree(self.folder)
        (self.folder.parent / f"{self.folder.name}.log").unlink()
