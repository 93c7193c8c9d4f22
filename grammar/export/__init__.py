"""A book in other forms: grammars and words for recognisers, rows for spreadsheets, C for the dash,
cards for people.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from grammar.errors import CodeError

if TYPE_CHECKING:
    from grammar.book import Book
    from grammar.display import Display
    from grammar.export.card import Paper, Reader
    from grammar.message import Direction

Files = dict[str, bytes]


class ExportFormat(NamedTuple):
    """What a format is, what to do with its files ({name} is the book's, {c} its name in C),
    whether it can hold one direction alone, and whether it can enforce check symbols.
    """

    about: str
    use: str
    one_way: bool = False
    enforces: bool = False


_HEARD = "what it hears goes to niner decode or niner hear, which judge the check"
FORMATS = {
    "lark": ExportFormat(
        "the generated Lark grammar of the reports, without ranges and checks",
        "lark.Lark.open('{name}.lark', parser='earley', start='car'); hold what it reads against"
        " the book: niner decode",
    ),
    "jsgf": ExportFormat(
        "JSGF 1.0, for a speech recogniser",
        f"give it to a recogniser with the words of the dict or pls export; {_HEARD}",
        True,
        True,
    ),
    "fsg": ExportFormat(
        "the same as finite states, for a Sphinx recogniser: small and quick",
        "pocketsphinx.Decoder(fsg='{name}.fsg', dict='{name}.dict'), with the words of the"
        f" dict export; {_HEARD}",
        True,
        True,
    ),
    "srgs": ExportFormat(
        "W3C SRGS 1.0 in XML, with tags that give the values",
        f"give it to a recogniser with the words of pls; {_HEARD}",
        True,
        True,
    ),
    "dict": ExportFormat(
        "how the words are said, in ARPAbet, as Sphinx recognisers read it",
        "give it to the recogniser with the fsg or jsgf export",
    ),
    "pls": ExportFormat(
        "how the words are said, in W3C PLS 1.0",
        "give it to the recogniser with the srgs or jsgf export",
    ),
    "csv": ExportFormat(
        "every codeword with words and values (RFC 4180)",
        "open it in a spreadsheet: UTF-8, parted by commas",
    ),
    "c": ExportFormat(
        "one C99 header and source for the dash",
        "compile {c}.c into the dash's program and call {c}_self_test() at its start; units and"
        " values are told in {c}.h",
        True,
    ),
    "card": ExportFormat(
        "cards for driver and engineer: a page of A5 or A6 to print (HTML), SVG, PNG",
        "print the .html from a browser, without margins and at full size, and cut along the marks",
    ),
    "dash": ExportFormat(
        "the dash as the driver sees a likely report of each kind (SVG)",
        "look at it at the size of the dash",
        True,
    ),
}


def export(
    book: Book,
    form: str,
    *,
    direction: Direction | None = None,
    mark: str = "",
    enforce_check: bool = False,
    paper: Paper = "A5",
    display: Display | None = None,
) -> Files:
    """Return a book in a form, as files by name; ``mark`` stands on cards, to tell those of one
    state of the book from another's. Cards are for a ``paper``; the dash is drawn as the book says,
    or on another ``display``.

    In grammars for recognisers check symbols are free, any that the method gives, and what is heard
    is held against the book afterwards. ``enforce_check`` lets them accept only what the checks
    allow: a recogniser then makes another report of a misheard word, and no check can tell.

    Raises CodeError for an unknown form, a direction the book has no message of or the form can't
    part, a form that can't enforce checks, and a book the form can't hold.
    """
    if form not in FORMATS:
        raise CodeError(
            f"there is no format {form!r}", kind="unknown-format", expected=list(FORMATS)
        )
    if direction is not None and not FORMATS[form].one_way:
        parted = [name for name, known in FORMATS.items() if known.one_way]
        raise CodeError(
            f"{form} can't hold one direction alone",
            kind="usage",
            expected=parted,
            hint="leave --direction out",
        )
    if enforce_check and not FORMATS[form].enforces:
        raise CodeError(
            f"{form} can't enforce check symbols",
            kind="usage",
            expected=[name for name, known in FORMATS.items() if known.enforces],
            hint="leave --enforce-check out",
        )
    if not book.sent_by(direction):
        raise CodeError(
            f"the book has no message of direction {direction}",
            kind="usage",
            expected=list(book.directions),
        )
    if form == "c":
        return _c(book, direction)
    if form == "card":
        return _card(book, mark, paper)
    if form == "dash":
        return _dash(book, direction, display)
    if FORMATS[form].enforces:
        text = _grammar(book, form, direction, enforced=enforce_check)
    else:
        text = _text(book, form)
    return {f"{book.name}.{_SUFFIX.get(form, form)}": text.encode()}


_SUFFIX = {"srgs": "grxml"}


def _text(book: Book, form: str) -> str:
    """Return the one file of a form; each is loaded only when it is asked for."""
    if form == "lark":
        from grammar.export.lark_grammar import grammar_text

        return grammar_text(book)
    if form == "csv":
        from grammar.export.rows import rows

        return rows(book)
    from grammar.export.lexicon import dictionary, pls

    return pls(book) if form == "pls" else dictionary(book)


def _grammar(book: Book, form: str, direction: Direction | None, *, enforced: bool) -> str:
    """Return the one file of a grammar for recognisers."""
    from grammar.export.fsg import fsg
    from grammar.export.jsgf import jsgf
    from grammar.export.srgs import srgs

    return {"fsg": fsg, "jsgf": jsgf, "srgs": srgs}[form](book, direction, enforced=enforced)


def _c(book: Book, direction: Direction | None) -> Files:
    from grammar.export.c import c_files

    files = c_files(book, direction=direction)
    return {files.header_name: files.header.encode(), files.source_name: files.source.encode()}


def _card(book: Book, mark: str, paper: Paper) -> Files:
    from grammar.export.card import html
    from grammar.export.card_picture import picture

    found: Files = {}
    readers: tuple[Reader, ...] = ("driver", "engineer")
    for reader in readers:
        for dark in (False, True):
            page = html(book, reader, mark, paper=paper, dark=dark)
            found[f"{book.name}-{reader}{'-dark' if dark else ''}.html"] = page.encode()
        for form in ("svg", "png"):
            found[f"{book.name}-{reader}.{form}"] = picture(book, reader, form, mark)
    return found


def _dash(book: Book, direction: Direction | None, display: Display | None) -> Files:
    from grammar.export.dash_picture import dash

    shown = book.dash if display is None else book.dash.on(display)

    return {
        f"{book.name}-dash-{message.name}.svg": dash(book, message, shown).encode()
        for message in book.sent_by(direction or "car")
    }


__all__ = ["FORMATS", "ExportFormat", "Files", "export"]
