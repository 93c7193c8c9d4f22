"""The exports at full size: python tests/bench/bench_export.py. Everything is printed, nothing is
asserted; it takes about two minutes.

- dash: the C of every example book against ``encode``: every reading of messages with at most
  100,000, else 100,000 drawn ones, and as many values between and outside the levels
- recognisers: the size of the grammars, and how long pocketsphinx takes to load them
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from export.c_program import EVERY, cases, compiled, expected, readings_of, said
from export.strings import BOOKS, example
from pocketsphinx import FsgModel, LogMath

from grammar.export import export
from grammar.export.c import c_files


def dash() -> None:
    for name in BOOKS:
        book, files = example(name), c_files(example(name))
        with tempfile.TemporaryDirectory() as place:
            program = compiled(book, Path(place), name)
            for number, message in enumerate(book.messages.values()):
                for what, made in (
                    ("readings", readings_of(message, EVERY)),
                    ("other values", cases(message, 20_000)),
                ):
                    rows = list(made)
                    wanted = [expected(book, message, values) for _, values in rows]
                    alike = sum(
                        one == other
                        for one, other in zip(
                            said(program, [[number, *row] for row, _ in rows]), wanted, strict=True
                        )
                    )
                    refused = sum(string.startswith("-") for string in wanted)
                    print(
                        f"  {name:10} {message.name:9} {what:12} {alike:7,} of {len(rows):7,}"
                        f" alike, {refused:6,} of them refused"
                    )
        print(f"  {name:10} {len(files.header):,} + {len(files.source):,} bytes")


def recognisers() -> None:
    for name in BOOKS:
        for form, read in (("jsgf", FsgModel.jsgf_read_file), ("fsg", FsgModel.readfile)):
            data = export(example(name), form, direction="car")[f"{name}.{form}"]
            with tempfile.TemporaryDirectory() as place:
                path, whole = Path(place) / f"book.{form}", Path(place) / "whole.fsg"
                path.write_bytes(data)
                start = time.process_time()
                model = read(str(path), LogMath(), 1.0)
                seconds = time.process_time() - start
                model.writefile(str(whole))
                arcs = sum(
                    line.startswith("TRANSITION") for line in whole.read_text("utf-8").splitlines()
                )
            print(
                f"  {name:10} {form:4} {len(data):8,} bytes, {arcs:7,} arcs in the recogniser,"
                f" loaded in {seconds:.2f} s"
            )


def main() -> None:
    print("dash")
    dash()
    print("recognisers")
    recognisers()


if __name__ == "__main__":
    main()
