"""A cold ``niner decode``, ``encode`` and ``hear`` of one report against importing libraries that
the house stands on: whole processes by turns.

    python tests/bench/bench_start.py [rounds]

Lark looks for an optional library of the development environment ("interegular") whenever it builds
a grammar, which costs it a tenth of a second; it is kept out here, as in an installation. Modules
must be compiled before, as those of an installation are.
"""

from __future__ import annotations

import sys

from common import ROOT, processes, table

HIDE = "import sys; sys.modules['interegular'] = None; "
# a hearing that asks ends with 1
HEARD = HIDE + "sys.argv[1:] = {!r}; from codec.cli import main; main()"
RUN = HIDE + "sys.argv[1:] = {!r}; from codec.cli import main; raise SystemExit(main())"
BOOK = str(ROOT / "examples" / "race" / "race.toml")
LAST = [f"--prior={one}" for one in ("energy=-0.3", "motor=95", "inverter=65", "battery=44")]
UNKNOWN = {1: "blah", 4: "blubb"}  # words of no book, by their place among those of the report
ENCODED = ["--message", "lap", "lap=23", "energy=-0.34", "motor=95", "inverter=65", "battery=44"]
PEER = "import lark, pydantic, rich"


def main(rounds: int) -> None:
    if sys.dont_write_bytecode:
        raise SystemExit("unset PYTHONDONTWRITEBYTECODE: an installed niner is compiled")
    report = example()

    def spoilt(words: int) -> list[str]:
        return [
            UNKNOWN.get(place, word) if place in list(UNKNOWN)[:words] else word
            for place, word in enumerate(report)
        ]

    commands = {
        PEER: ["-c", PEER],
        "python, nothing else": ["-c", "pass"],
        "one pydantic model, empty": [
            "-c",
            "from pydantic import BaseModel\nclass Model(BaseModel): pass",
        ],
        "import codec": ["-c", HIDE + "import codec"],
        "niner decode BOOK REPORT": ["-c", RUN.format(["decode", BOOK, *report])],
        "niner decode --json BOOK REPORT": ["-c", RUN.format(["decode", "--json", BOOK, *report])],
        "niner decode, number words": ["-c", RUN.format(["decode", BOOK, "uh", *report])],
        "niner encode BOOK VALUES": ["-c", RUN.format(["encode", BOOK, *ENCODED])],
        "niner hear BOOK REPORT (aim: 2)": ["-c", HEARD.format(["hear", BOOK, *report])],
        "niner hear, an unknown word (aim: 2)": ["-c", HEARD.format(["hear", BOOK, *spoilt(1)])],
        "niner hear, two unknown words (aim: 2)": ["-c", HEARD.format(["hear", BOOK, *spoilt(2)])],
        "niner hear --prior VALUES REPORT (aim: 2)": [
            "-c",
            HEARD.format(["hear", BOOK, *LAST, *report]),
        ],
        "import numpy": ["-c", "import os; os.environ['OPENBLAS_NUM_THREADS'] = '1'; import numpy"],
        "niner --help (aim: 0.9)": ["-c", RUN.format(["--help"])],
        "niner --version (aim: 0.9)": ["-c", RUN.format(["--version"])],
    }
    seconds = processes(commands, rounds)
    wall, processor = seconds[PEER]
    rows = [("", "wall ms", "processor ms", "ratio to the import (aim: 1.2)")]
    rows += [
        (
            name,
            f"{w * 1000:.0f}",
            f"{c * 1000:.0f}",
            f"{w / wall:.2f} wall, {c / processor:.2f} processor",
        )
        for name, (w, c) in seconds.items()
    ]
    table(f"cold start, median of {rounds}", rows)


def example() -> list[str]:
    """Return the words of a report of the book."""
    from codec import encode, load_book

    book = load_book(BOOK)
    message = next(iter(book.messages.values()))
    levels = {
        name: field.value(field.size // 2 if field.usual_level is None else field.usual_level)
        for name, field in message.fields.items()
    }
    return encode(book, levels, message.name).words.split()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 11)
