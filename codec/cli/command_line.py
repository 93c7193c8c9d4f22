"""The command line: its commands, and what becomes of their errors.

Each command is a module beside this one with ``add(commands)``, which adds its arguments and names
the function that runs it. Exit codes: 0 done, 1 a report needs a repeat, 2 usage or book error.
"""

from __future__ import annotations

import argparse
import atexit
import contextlib
import gc
import importlib
import io
import os
import sys
from collections.abc import Sequence
from typing import IO, Any, NoReturn

from codec.cli.common import report, say, tell
from grammar.errors import CodeError, visible_lines

_NEW_OBJECTS = 50_000  # after which circles are looked for
COMMANDS = {  # what each does, as the help tells it
    "decode": "spoken reports to readings",
    "encode": "values to the shortest unambiguous string",
    "hear": "a report through noise: how sure, and what to ask",
    "listen": "a radio recording to words with their doubts",
    "log": "log spoken reports live",
    "sheet": "the lap sheet of an event",
    "season": "all events on one server or in one folder, as one",
    "race": "where the race is heading, and what to call",
    "wheel": "the cheapest touches of the steering wheel",
    "book": "check and show a code book",
    "design": "propose code books: short to say, hard to mishear",
    "drill": "drill the driver and the engineer",
    "desk": "the sheet in a browser, live",
    "server": "a database server, for the sheets of several desks",
    "demo": "an invented race, from the radio to the debrief",
}
_ABOUT = "Spoken status codes for racing: designed, proven, heard, decoded, logged."


def run(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit code."""
    # the matrices of hearing are small: several threads of the linear algebra behind numpy cost
    # twice the processor time and save none
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # hardly anything here refers to itself in a circle: to look for that after every few hundred
    # new objects costs a third of the time in which a large sheet is shown
    gc.set_threshold(_NEW_OBJECTS, 5, 5)
    if argv is None:
        # the process ends with this command: then to look among all that was loaded would take
        # nearly as long as loading it did, and nothing that it writes is left to that
        atexit.register(gc.freeze)
    _open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(
                errors="backslashreplace"
            )  # an output without ° or … must not stop a report
    arguments = list(sys.argv[1:] if argv is None else argv)
    parser = _parser(arguments)
    args, rest = parser.parse_known_args(arguments)
    _gather(parser, args, rest)
    try:
        code: int = args.run(args)
        sys.stdout.flush()
    except CodeError as error:
        return report(error, as_json=getattr(args, "json", False))
    except BrokenPipeError:
        # the reader of our output has gone: nothing to say to it
        _drop_output()
        return 0
    except OSError as error:
        _drop_output()
        tell(f"niner: can't write: {error.strerror or error}")
        return 2
    return code


def _open_closed_streams() -> None:
    """Give a standard stream that the caller closed an end: nothing to read, or nobody who
    listens.

    The lowest numbers are given out first, so each takes the place it had, and no sheet does.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            stream: IO[str] = os.fdopen(os.open(os.devnull, os.O_RDWR), mode, encoding="utf-8")
            setattr(sys, name, stream)


def _drop_output() -> None:
    """Write what is left of the output to nowhere, so that nothing fails once more at exit."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parser(arguments: Sequence[str]) -> argparse.ArgumentParser:
    """Return the parser; only the module of the command that is asked for is loaded."""
    parser = _Parser("niner", description=_ABOUT)
    parser.add_argument("--version", action=_Version, nargs=0, help="show the version and exit")
    commands = parser.add_subparsers(title="commands", metavar="command", required=True)
    asked = next((argument for argument in arguments if not argument.startswith("-")), None)
    if asked in COMMANDS:
        importlib.import_module(f"codec.cli.{asked}").add(commands)
    else:  # which ends with the help, the version, or what is wrong
        for name, about in COMMANDS.items():
            commands.add_parser(name, help=about)
    return parser


def _gather(parser: argparse.ArgumentParser, args: argparse.Namespace, rest: Sequence[str]) -> None:
    """Give words that stand behind an option to the argument that takes any number of them: options
    may stand anywhere.
    """
    taker = getattr(args, "gather", None)
    if rest and (taker is None or any(word.startswith("-") for word in rest)):
        parser.error(f"unrecognized arguments: {' '.join(rest)}")
    if rest and taker is not None:
        getattr(args, taker).extend(rest)


class _Formatter(argparse.HelpFormatter):
    """As wide as the terminal; to know that, argparse would load libraries of archives."""

    def __init__(self, prog: str) -> None:
        told = os.environ.get("COLUMNS", "")
        columns = int(told) if told.isdecimal() else 0
        with contextlib.suppress(OSError, ValueError, AttributeError):
            columns = columns or os.get_terminal_size(sys.__stdout__.fileno()).columns  # type: ignore[union-attr]
        super().__init__(prog, width=(columns or 80) - 2)


class _Parser(argparse.ArgumentParser):
    """Tells what is wrong with the arguments, and nothing in them can steer a terminal."""

    def __init__(self, prog: str | None = None, **options: Any) -> None:
        super().__init__(prog, **{"formatter_class": _Formatter, **options})

    def error(self, message: str) -> NoReturn:
        """Tell it, and exit."""
        super().error(visible_lines(message))


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        """Print the version and exit."""
        say(_version())
        parser.exit()


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return f"niner {version('niner')}"
    except PackageNotFoundError:  # run from a checkout that is not installed
        return "niner (not installed)"
