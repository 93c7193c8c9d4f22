"""What a desk holds in memory does not grow with what is written: an hour of two entries a second,
shortened.
"""

from __future__ import annotations

import functools
import gc
import tracemalloc
from pathlib import Path

import pytest
from desk.support import REPORT, desk, line, sheet_at

from codec.sheet.state import Standing

_MOST = 100  # bytes a line, of 1,800 that an entry took
_MORE = 40_000  # bytes that come and go: boards as they were drawn, connections


@pytest.mark.parametrize(
    ("most", "lines"), [(6, 60), pytest.param(16, 3000, marks=pytest.mark.slow)]
)
def test_a_desk_that_is_written_to_holds_no_more(
    most: int, lines: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also while what is typed is looked at, and the wall and old entries are read."""
    monkeypatch.setattr("codec.log.watch.Standing", functools.partial(Standing, held=most))

    def write(count: int) -> None:
        for number in range(count):
            car = ("7", "61")[number % 2]
            told = client.post("/enter/race", json=line(f"/note talk of {number}", car)).json()
            assert told["new"]
            if number % 48 == 0:
                client.get("/look/race", params={"car": car, "text": REPORT[: number % 30]})
                assert "talk of" in client.get("/history/race", params={"before": 20}).text
                assert client.get("/wall/race").status_code == 200

    def held() -> int:
        gc.collect()
        return tracemalloc.get_traced_memory()[0]

    with desk(sheet_at(tmp_path)) as client:
        client.post("/enter/race", json=line(REPORT))
        tracemalloc.start()
        try:
            write(10 * most)
            before = held()
            write(lines)
            assert held() - before < _MORE + _MOST * lines
        finally:
            tracemalloc.stop()
