"""A season asked on a server, in a folder of sheets and in one of Parquet: how long each table
takes, and what memory the sheets need to be read and exported.

    PYTHONPATH=.:tests python tests/bench/bench_season.py [--events N] [--entries N]

A few events are drawn, spoilt words and questions among them; the others have the same entries
under names of their own. The load of the machine is told, as the server runs on it too.
"""

from __future__ import annotations

import argparse
import functools
import os
import random
import resource
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

from servers import Server
from sheet.support import race_book

from codec.encoding import encode
from codec.season.calibration import calibration
from codec.season.events import Wanted
from codec.season.export import export
from codec.season.groups import questions, times
from codec.season.profile import profile_of_season
from codec.season.queries import listed_events
from codec.season.source import Season, opened_season
from codec.season.words import words_heard
from codec.sheet import Entry, Journal
from codec.sheet.copying import copy
from codec.sheet.journal import sheet_format, write_facts
from codec.sheet.state import correction_of
from codec.sheet.table import ENTRIES
from codec.store.opening import opened
from codec.store.place import Place, ServerPlace
from codec.store.rows import Rows
from codec.store.server.connection import ServerConnection
from codec.store.server.setting_up import set_up

PATTERNS = 4  # events that are drawn
NOON = 1_777_723_200_000  # milliseconds since 1970
TABLES: dict[str, Callable[[Season], object]] = {
    "list": lambda season: listed_events(season, Wanted()),
    "words": lambda season: words_heard(season, Wanted()),
    "calibration": lambda season: calibration(season, Wanted()),
    "times": lambda season: times(season, Wanted(), "driver"),
    "questions": lambda season: questions(season, Wanted(), "driver"),
    "profile": lambda season: profile_of_season(season, Wanted(drivers=("Driver 0",))),
}


def timed(what: str, act: Callable[[], object], server: Server | None = None) -> None:
    """Print what something took, here and at a server, and the most memory of this process so
    far.
    """
    wall, mine, theirs = time.perf_counter(), time.process_time(), _spent(server)
    act()
    wall, mine = time.perf_counter() - wall, time.process_time() - mine
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    time.sleep(0.3)  # the process that answered has gone by then, and its time is known
    more = "" if server is None else f", {_spent(server) - theirs:.1f} s of the server's"
    print(f"{what}: {wall:.2f} s, {mine:.2f} s of processor time{more}, at most {most:,} kB",
          flush=True)  # fmt: skip


def _spent(server: Server | None) -> float:
    """Return the processor time of a server's processes that have ended."""
    if server is None:
        return 0.0
    stat = Path(f"/proc/{server.process.pid}/stat").read_text().rpartition(")")[2].split()
    return sum(map(int, stat[13:15])) / os.sysconf("SC_CLK_TCK")


def drawn(rng: random.Random, count: int) -> Iterator[Entry]:
    """Yield the entries of an event; ``about`` is the number behind which the entry comes."""
    book = race_book()
    words = [(symbol, word.word) for symbol, word in book.alphabet.words.items()]
    for car in range(4):
        yield Entry(
            kind="car", car=str(car), message=f"Driver {rng.randrange(3) * 4 + car if car else 0}"
        )
    seq = 4
    while seq < count:
        car, lap, at = str(rng.randrange(4)), seq // 50, NOON + seq * 3000
        if rng.random() < 0.4:
            yield Entry(kind="note", car=car, heard="the one ahead is struggling in two", at=at)
            seq += 1
            continue
        values = {"lap": lap % 10, "energy": Decimal(rng.randrange(-20, 20)) / 10,
                  "motor": rng.randrange(60, 130), "inverter": rng.randrange(40, 90),
                  "battery": rng.randrange(30, 60)}  # fmt: skip
        said = encode(book, values, "lap")
        string = said.string
        spoken = [book.alphabet.words[symbol].word for symbol in string]
        kept = {"kind": "report", "car": car, "lap": lap, "lap_by": "said", "message": "lap",
                "string": string, "values": {"motor": Decimal(values["motor"])},
                "sound": f"radio.wav#t={seq}.00,{seq + len(string) / 2.5:.2f}"}  # fmt: skip
        chance, place = rng.random(), rng.randrange(len(string))
        wrong = [*spoken[:place], rng.choice(words)[1], *spoken[place + 1 :]]
        if chance < 0.05:
            yield Entry(**kept, heard=" ".join(wrong), at=at, certainty=0.97,
                        note="heard through noise")  # fmt: skip
            seq += 1
        elif chance < 0.1:
            first = Entry(kind="report", car=car, lap=lap, heard=" ".join(wrong), at=at,
                          refusal="check")  # fmt: skip
            yield first
            yield Entry(kind="question", car=car, heard="SAY AGAIN", about=seq + 1)
            yield correction_of(
                first.replace(seq=seq + 1),
                **{name: fact for name, fact in kept.items() if name != "kind"},
                heard=" ".join(spoken), at=at + 5000, certainty=1.0,
            )  # fmt: skip
            seq += 3
        else:
            yield Entry(**kept, heard=" ".join(spoken), at=at, certainty=1.0)
            seq += 1


def main() -> None:
    """Make the season, and ask it everything at three places."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=200)
    parser.add_argument("--entries", type=int, default=5000)
    args = parser.parse_args()
    server = Server(shared_buffers="512MB")
    try:
        with tempfile.TemporaryDirectory() as folder:
            os.environ["NINER_CACHE"], os.environ["XDG_CACHE_HOME"] = "on", f"{folder}/cache"
            print(f"load: {os.getloadavg()[0]:.1f}, {os.cpu_count()} processors")
            place = ServerPlace(server.database("season"))
            set_up(place, [sheet_format()])
            sheets = Path(folder) / "sheets"
            timed("made", lambda: _make(sheets, place, args.events, args.entries))
            _ask("server", place, server)
            timed("sheets read the first time", lambda: _open(sheets))
            _ask("sheets, read before", sheets)
            out = Path(folder) / "out"
            timed("exported", lambda: _export(sheets, out))
            _ask("Parquet", out)
            print(f"load: {os.getloadavg()[0]:.1f}")
    finally:
        server.remove()


def _make(folder: Path, place: ServerPlace, events: int, entries: int) -> None:
    patterns, rng = [], random.Random(7)
    folder.mkdir()
    for number in range(min(PATTERNS, events)):
        path = folder / f"event {number:03}.sheet"
        with Journal(path, race_book(), writer=f"engineer{number}.{number}") as journal:
            journal.append_all(drawn(rng, entries))
            copy(journal, place.with_name(path.stem))
            patterns.append((journal.origin, list(journal.stored())))
    ask = ServerConnection(place, sheet_format())
    for number in range(len(patterns), events):
        origin, rows = patterns[number % PATTERNS]
        facts = {**origin, "sheet": f"{number:032x}"}
        name = f"event {number:03}"
        _write(folder / f"{name}.sheet", facts, rows)
        _on_server(ask, name, facts, f"event {number % PATTERNS:03}")
    ask.run("ANALYZE niner.entries")
    ask.close()


def _write(path: Path, facts: Mapping[str, str], rows: list[Mapping[str, Any]]) -> None:
    store = opened(path, sheet_format(), functools.partial(write_facts, facts))
    with store.transaction():
        Rows(store, ENTRIES.stored).add(*rows)
    store.close()


def _on_server(ask: ServerConnection, name: str, facts: Mapping[str, str], pattern: str) -> None:
    find = "SELECT number FROM niner.journals WHERE word = 'sheet' AND name = ?"
    [of] = ask.execute(find, (pattern,)).fetchone()
    make = "INSERT INTO niner.journals (word, name) VALUES ('sheet', ?) RETURNING number"
    [number] = ask.execute(make, (name,)).fetchone()
    for fact in facts.items():
        ask.execute(
            "INSERT INTO niner.facts (journal, name, text) VALUES (?, ?, ?)", (number, *fact)
        )
    names = ", ".join(f'"{one}"' for one in ENTRIES.stored.names)
    ask.execute(
        f"INSERT INTO niner.entries (journal, {names})"  # noqa: S608 - names that the program declares
        f" SELECT {number}, {names} FROM niner.entries WHERE journal = {of} ORDER BY seq"
    )


def _open(place: Place) -> None:
    with opened_season(place) as season:
        print(f"{len(season.events)} events, {sum(one.entries for one in season.events):,} entries")


def _export(place: Place, out: Path) -> None:
    with opened_season(place) as season:
        list(export(season, Wanted(), out))


def _ask(what: str, place: Place, server: Server | None = None) -> None:
    for name, table in TABLES.items():

        def asked(table: Callable[[Season], object] = table) -> None:
            with opened_season(place) as season:
                table(season)

        timed(f"{what}: {name}", asked, server)


if __name__ == "__main__":
    main()
