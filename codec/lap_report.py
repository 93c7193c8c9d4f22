"""The report of each lap: which message of a book it is, and which field says the lap."""

from __future__ import annotations

from grammar.book import Book

LAP = "lap"  # the field of a book that holds the lap


def lap_message(book: Book) -> str:
    """Return the name of the message that is reported each lap: the first that the book has from
    the car.
    """
    return next((message.name for message in book.sent_by("car")), "")


def lap_field(book: Book) -> str:
    """Return the name of the field that says the lap, "" if the book has none."""
    said = any(LAP in message.fields for message in book.sent_by("car"))
    return LAP if said and book.fields[LAP].numeric else ""
