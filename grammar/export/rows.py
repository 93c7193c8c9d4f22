"""CSV (RFC 4180): every codeword with its words and values, one row each, for spreadsheets."""

from __future__ import annotations

import csv
import io

from grammar.book import Book
from grammar.errors import CodeError, visible

MOST_ROWS = 200_000


def rows(book: Book) -> str:
    """Return the rows of all tables: table, symbols, words, seconds, field, value, field, value …

    Values are as people read them. Raises CodeError where the tables have more than 200,000 rows.
    """
    tables = [table for table in book.tables.values() if table.check is None]
    count = sum(table.size for table in tables)
    if count > MOST_ROWS:
        raise CodeError(
            f"{count} codewords are too many to list",
            kind="too-large",
            expected=[f"at most {MOST_ROWS}"],
            hint="export c, which computes them",
        )
    most = max((len(table.fields) for table in tables), default=1)
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(
        [
            "table",
            "symbols",
            "words",
            "seconds",
            *(f"{what} {n}" for n in range(1, most + 1) for what in ("field", "value", "unit")),
        ]
    )
    cost = book.cost("seconds")
    for table in tables:
        for levels, word in table.words():
            pairs = zip(table.fields, levels, strict=True)
            values = [
                part
                for field, level in pairs
                for part in (field.title, field.text(level), field.unit_text)
            ]
            row = [
                table.name,
                word,
                " ".join(book.spoken(table, word)),
                f"{cost(table, word):.3f}",
                *values,
            ]
            writer.writerow([_safe(cell) for cell in row] + [""] * (3 * (most - len(table.fields))))
    return out.getvalue()


def _safe(text: str) -> str:
    """Keep a spreadsheet from taking a book's text for a formula, and show what is invisible in it;
    numbers stay as they are.
    """
    cell = visible(text)
    return (
        "'" + cell
        if cell[:1] in tuple("=@") or (cell[:1] in ("+", "-") and not cell[1:2].isdigit())
        else cell
    )
