from __future__ import annotations

from pathlib import Path

import pytest
from season.support import name, on_server, write_season
from servers import Server


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_season(tmp_path_factory.mktemp("season"))


@pytest.fixture(scope="session")
def season_on_server(season: Path, server: Server) -> str:
    """The same events on a server that has no others."""
    from codec.sheet.journal import sheet_format
    from codec.store.place import ServerPlace
    from codec.store.server.setting_up import set_up

    address = server.database(name())
    set_up(ServerPlace(address), [sheet_format()])
    on_server(season, address)
    return address


@pytest.fixture(params=["folder", "server"])
def where(request: pytest.FixtureRequest) -> str:
    """Return where the season of a test is: in a folder of files, and on a server."""
    known = {"folder": "season", "server": "season_on_server"}
    return str(request.getfixturevalue(known[request.param]))
