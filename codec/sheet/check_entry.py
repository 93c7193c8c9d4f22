"""Whether an entry read from a file is what its string says: values changed by hand, or damaged,
are told before they count.
"""

from __future__ import annotations

from codec.decoding import decode
from codec.sheet.entry import Entry, SheetError
from grammar.book import Book
from grammar.errors import CodeError
from grammar.fields import value_text

_HINT = (
    "was the file changed by hand? export it once more, and put right in the sheet what is wrong"
    " in it"
)


def fitting(entry: Entry, book: Book, where: str) -> Entry:
    """Return an entry as it is; raises SheetError where a value is outside its field, or is not
    what the entry's own string says.
    """
    for name, value in entry.values.items():
        try:
            book.fields[name].level(value)
        except ValueError as error:
            told = error.message if isinstance(error, CodeError) else str(error)
            raise SheetError(
                f"{where}: {name} = {value_text(value)}: {told}", kind="sheet-value", hint=_HINT
            ) from None
    message = book.messages.get(entry.message)
    if not entry.string or message is None:
        return entry
    near = {name: value for name, value in entry.values.items() if book.fields[name].wraps}
    try:
        said = decode(
            book, entry.string, direction=message.direction, context=near, typed=True
        ).values
    except CodeError as error:
        told = f"{where}: {entry.string!r} is no {message.title}: {error.message}"
        raise SheetError(told, kind="sheet-value", hint=_HINT) from None
    for name in sorted({*said, *entry.values}):
        if said.get(name) != entry.values.get(name):
            texts = [
                value_text(values[name]) if name in values else "nothing"
                for values in (entry.values, said)
            ]
            raise SheetError(
                f"{where}: {name} is {texts[0]}, but {entry.string} says {texts[1]}",
                kind="sheet-value",
                hint=_HINT,
            )
    return entry
