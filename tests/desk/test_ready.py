"""What a desk loads before anybody asks for it."""

from __future__ import annotations

import asyncio
from pathlib import Path

from desk.support import sheet_at
from sheet.support import race_book

from codec.desk.sheets import OpenSheet

LOADED_AHEAD = OpenSheet._warm_boards


def test_what_boards_and_hearing_need_is_loaded_without_a_fault(tmp_path: Path) -> None:
    sheet = OpenSheet(sheet_at(tmp_path))
    sheet.open()
    LOADED_AHEAD(sheet)
    OpenSheet._warm(race_book())
    asyncio.run(sheet.close())
