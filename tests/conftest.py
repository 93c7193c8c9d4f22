"""Hypothesis profiles: ``few`` and ``full`` try the same cases on every run, few or many; ``find``
looks for new ones, ``long`` for a long time.

HYPOTHESIS_PROFILE chooses; ``.ci/run`` takes ``full``. ``--complete`` fails a run in which anything
was skipped.
"""

from __future__ import annotations

import os
import sys
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from servers import Server


def _keep_bytecode() -> None:
    """Where Python is told to write no bytecode, each command that a test starts would compile the
    package anew: it is kept below the system's folder for temporary files, in a folder of this
    user's own, and used again by the next run.
    """
    if os.environ.pop("PYTHONDONTWRITEBYTECODE", None) is None:
        return
    user = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(tempfile.gettempdir()) / f"niner-bytecode-{user}"
    folder.mkdir(mode=0o700, exist_ok=True)
    if hasattr(os, "getuid") and folder.lstat().st_uid != user:
        return  # made by somebody else: what lies there is not run
    sys.dont_write_bytecode = False
    sys.pycache_prefix = os.environ["PYTHONPYCACHEPREFIX"] = str(folder)


_keep_bytecode()  # of what is imported from here on, libraries too

import pytest  # noqa: E402
from hypothesis import HealthCheck, Phase, settings  # noqa: E402

from grammar import proof  # noqa: E402

_SLOW_IS_FINE = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]

settings.register_profile(
    "few",
    deadline=None,
    max_examples=8,
    derandomize=True,
    print_blob=True,
    suppress_health_check=_SLOW_IS_FINE,
)
_FEW = settings.get_profile("few")
settings.register_profile("full", parent=_FEW, max_examples=60)
settings.register_profile("long", parent=_FEW, max_examples=1500, derandomize=False)
settings.register_profile(
    "find",
    parent=_FEW,
    max_examples=300,
    derandomize=False,
    phases=[Phase.explicit, Phase.generate],
)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as every command does
os.environ["NINER_CACHE"] = "off"  # tests of what is kept of books turn it on for themselves
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "few"))


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--complete", action="store_true", help="fail if any test was skipped")


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if session.config.getoption("complete") and reporter and reporter.stats.get("skipped"):
        reporter.write_line("skipped tests fail this run: --complete", red=True)
        session.exitstatus = exitstatus or pytest.ExitCode.TESTS_FAILED


@pytest.fixture(autouse=True)
def _console_anew() -> Iterator[None]:
    """Let no test print as wide as one before it said that its terminal was."""
    yield
    drawn = sys.modules.get("codec.screen.console")
    if drawn is not None:
        drawn.console.cache_clear()


@pytest.fixture(scope="module")
def short_proofs() -> Iterator[None]:
    """Let the proof of a book give up twenty times sooner: for made-up books, of which few need
    more; at its full bound a proof may take half a minute.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(proof, "MOST_WORK", proof.MOST_WORK // 20)
        yield


@pytest.fixture
def hardly_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let each proposal of a design be heard in a few reports only: where its figures don't matter,
    for hearing is what takes the time.
    """
    from codec.hear import scoring

    scorer = scoring.Scorer(3, spoilt=1, more=1)
    monkeypatch.setattr(scoring, "Scorer", lambda _: scorer)


@pytest.fixture
def hardly_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the figures of a book that is checked come of a few strings only: where they don't
    matter, for drawing is what takes the time.
    """
    monkeypatch.setattr("grammar.figures.DRAWS", 20)


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A PostgreSQL server for all tests of this process that need one."""
    from servers import Server

    server = Server()
    yield server
    server.remove()


@pytest.fixture(scope="session")
def served(server: Server) -> str:
    """Return the address of a database that is set up for sheets and journals of drills."""
    from codec.drill.journal import FORMAT
    from codec.sheet.journal import sheet_format
    from codec.store.place import ServerPlace
    from codec.store.server.setting_up import set_up

    address = server.database("served")
    set_up(ServerPlace(address), [sheet_format(), FORMAT])
    return address


@pytest.fixture(params=["file", "server"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Return where a test keeps its sheet, or its journal: in a file, and on a server."""
    if request.param == "file":
        return str(tmp_path / "event.sheet")
    return f"{request.getfixturevalue('served')}#{uuid.uuid4().hex}"
