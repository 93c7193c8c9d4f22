"""``niner book``: check, show, grammar and schema of a code book."""

from __future__ import annotations

import argparse
import functools
import operator
from typing import Any

from codec.cli.book_analyse import add_analyse
from codec.cli.book_diff import add_diff
from codec.cli.book_export import add_export
from codec.cli.book_key import add_key
from codec.cli.book_lint import add_lint
from codec.cli.common import add_book, add_command, add_json, add_schema, amount, emit, put
from codec.cli.simulate import add_simulate


def add(commands: Any) -> None:
    """Add the command and its own commands."""
    parser = commands.add_parser("book", description="Work on a code book.")
    actions = parser.add_subparsers(title="commands", metavar="command", required=True)
    check = add_command(
        actions,
        "check",
        "find every problem, prove that no string has two readings, and give its figures",
    )
    add_book(check)
    check.add_argument(
        "--pairs",
        type=amount,
        default=6,
        metavar="N",
        help="how many easily confused pairs of words to name (6)",
    )
    add_json(check)
    check.set_defaults(run=run_check)
    show = add_command(actions, "show", "draw the tables a person needs")
    add_book(show)
    show.add_argument(
        "--rows",
        type=amount,
        default=12,
        metavar="N",
        help="rows of each table, 0 for all (12)",
    )
    show.set_defaults(run=run_show)
    grammar = add_command(
        actions, "grammar", "print the generated Lark grammar of the book's reports"
    )
    add_book(grammar)
    grammar.set_defaults(run=run_grammar)
    add_export(actions)
    add_analyse(actions)
    add_lint(actions)
    add_diff(actions)
    add_key(actions)
    add_simulate(actions)
    add_schema(actions, "book", _schema)


def run_check(args: argparse.Namespace) -> int:
    """Check a book; 0 if it is sound, 2 if it has problems."""
    from grammar.loading import load_book

    facts = _facts(load_book(args.book), args.pairs)
    if args.json:
        emit(facts)
    else:
        from codec.screen.book import check

        check(facts)
    return 0


def run_show(args: argparse.Namespace) -> int:
    """Draw a book."""
    from codec.screen.book import show
    from grammar.loading import load_book

    show(load_book(args.book), rows=args.rows)
    return 0


def run_grammar(args: argparse.Namespace) -> int:
    """Print the generated grammar."""
    from grammar.export.lark_grammar import grammar_text
    from grammar.loading import load_book

    put(grammar_text(load_book(args.book)))
    return 0


def _schema() -> dict[str, Any]:
    from grammar.models import schema

    return schema()


def _facts(book: Any, pairs: int) -> dict[str, Any]:
    from grammar.figures import DRAWS, MOST_DRAWS, figures, notices

    messages, checks, weak = [], [], []
    draws = min(DRAWS, MOST_DRAWS // len(book.messages))
    for message in book.messages.values():
        f = figures(book, message, draws=draws)
        messages.append(
            {
                "message": message.name,
                "direction": message.direction,
                "readings": f.readings,
                "symbols": {"mean": round(f.mean_symbols, 3), "worst": f.worst_symbols},
                "seconds": {
                    "mean": round(f.mean_seconds, 3),
                    "error": round(f.error, 4),
                    "worst": round(f.worst_seconds, 3),
                },
                "worst": f.worst_string,
            }
        )
        for leaf in message.check_leaves:
            table = message.tables[leaf]
            length = sum(message.tables[n].lengths[1] for n in message.covered(leaf))
            shares = {
                change: 1 - missed / total
                for change, (missed, total) in notices(table, length).items()
                if total
            }
            weak += [
                f"{table.name} in {message.name}: {text}"
                for text in table.check.method.warned(length)
            ]
            checks.append(
                {
                    "table": table.name,
                    "message": message.name,
                    "method": table.check.title,
                    "symbols": length,
                    "notices": shares,
                }
            )
    return {
        "title": book.title,
        "problems": [],
        "proven": _proven(book),
        "messages": messages,
        "checks": checks,
        "confusable": _confusable(book, pairs),
        "notes": _notes(book, weak),
    }


def _proven(book: Any) -> str:
    joined = ", and across their join" if book.rules.run_together else ""
    return "within each message, across the messages of each direction" + joined


def _confusable(book: Any, pairs: int) -> list[dict[str, Any]]:
    """Return the pairs of words the book's messages use that are most easily taken for each
    other.
    """
    from grammar import sound

    said = functools.reduce(operator.or_, (message.symbols for message in book.messages.values()))
    entries = [book.alphabet.words[symbol] for symbol in book.alphabet.unmask(said)]
    words = [(entry.word, entry.phones()) for entry in entries]
    found = sound.confusable_pairs(words, pairs, "noisy") if len(words) > 1 and pairs else []
    return [{"words": [pair.first, pair.second], "probability": pair.probability} for pair in found]


def _clash(book: Any) -> str:
    from grammar.errors import CodeError

    try:
        one, other = (
            "; then ".join(match.text() for match in side)
            for side in (book.crossing.one, book.crossing.other)
        )
    except CodeError:
        return "a string may be both a report and a call (too many layouts to tell)"
    return f"{book.crossing.string!r} is both a report and a call, {one} and {other}"


def _unsaid(message: Any, declared: list[str]) -> list[str]:
    """Return what to tell of levels that a message can't say and does not declare."""
    from grammar.errors import CodeError
    from grammar.figures import unsaid

    try:
        found = unsaid(message, declared)
    except CodeError as error:
        return [error.message]
    if found is None:
        return []
    if found.alone:  # which no declaration of a field leaves out
        return [found.text(message)]
    fields = ", ".join(f'"{name}"' for name in found.together)
    return [f"{found.text(message)}; unsaid = [{fields}] says that this is meant"]


def _notes(book: Any, weak: list[str]) -> list[str]:
    """Return what is no problem but worth knowing."""
    from grammar.design.lint import unchecked
    from grammar.speech.kinds import WordKind
    from grammar.symbols import normal

    said = {name for message in book.messages.values() for name in message.fields}
    used = {table.name for message in book.messages.values() for table in message.tables}
    notes = [f"field {name!r} is in no message" for name in book.fields if name not in said]
    notes += [f"table {name!r} is in no message" for name in book.tables if name not in used]
    for name, field in book.fields.items():
        notes += [f"field {name!r}: {text}" for text in field.notes()]
    notes += [
        f"the filler {word!r} is a procedure word, which is passed over already"
        for word in book.spec.speech.fillers
        if (known := book.lexicon.meanings.get(normal(word))) and known.kind is WordKind.ANSWER
    ]
    for message in book.messages.values():
        notes += _unsaid(message, book.spec.messages[message.name].unsaid)
    notes += [f"{one.text}; {one.hint}" for one in unchecked(book)]
    notes += weak
    if not book.one_way:
        notes.append(f"{_clash(book)}: decode with --direction where it is not clear who speaks")
    return notes
