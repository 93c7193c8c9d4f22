"""What is not as it was from one state of a book to the next."""

from __future__ import annotations

from collections.abc import Sequence

from codec.screen.lines import Heading, line, safe, table
from grammar.difference import SENT, BookChange, Misread


def show(changes: Sequence[BookChange], strings: Sequence[Misread], *, rows: int) -> None:
    """Print changes, at most ``rows`` codewords of each (0 for all), and what becomes of old
    strings.
    """
    for one in strings:
        if one.same != one.drawn:
            _strings(one)
    if not changes:
        line(("nothing is other than it was", "green"))
    for change in changes:
        _change(change, rows)


def _strings(one: Misread) -> None:
    line(
        (f"of {one.drawn:,} {SENT[one.direction]} of the old book", "bold"),
        (f" the new one reads {one.same:,} as they were meant, refuses {one.refused:,}, ", ""),
        (f"reads {one.other:,} as something else", "red" if one.other else ""),
    )
    if one.example:
        string, meant, taken = one.example
        line((f"  {string} was {meant}", ""))
        line((f"  {' ' * len(string)} now {taken}", "red"))


def _change(change: BookChange, most: int) -> None:
    head = (change.about, "bold"), (f", {change.text}", "")
    whom = (f"  {', '.join(change.concerns)}", "dim")
    if len(change.rows) == 1 and not change.rows[0].meaning:
        [row] = change.rows
        was = (f"{row.was} → " if row.was and row.now else row.was, "dim")
        line(*head, (": ", ""), was, (row.now, "cyan"), whom)
        return
    line(*head, whom)
    shown = change.rows if most == 0 else change.rows[:most]
    if not shown:
        return
    cells = [
        (safe(row.meaning), safe(row.was or "–", "dim"), safe(row.now or "–", "bold cyan"))
        for row in shown
    ]
    if len(shown) < len(change.rows):
        more = (f"{len(change.rows) - len(shown):,} more", "dim")
        cells.append((more, ("…", "dim"), ("…", "dim")))
    table([Heading("for"), Heading("was"), Heading("is now")], cells)
