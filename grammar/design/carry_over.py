"""What a book says besides the message that is designed anew: its other messages, its phrases; they
go on in the new book where they can.

A message goes on if it can be told from the new one and from those that go on already, and its
codewords need no retired symbol.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from copy import deepcopy
from typing import Any

from grammar.book import Book
from grammar.errors import BookError
from grammar.fields import with_members
from grammar.parsing import parse_book

_LAYOUT = re.compile(r"\"[^\"]*\"|'[^']*'|\w+")
Sections = dict[str, Any]


def rest_of(sections: Mapping[str, Any], book: Book, message: str) -> Sections:
    """Return what the sections of a book, as they stand in TOML, say besides one message.

    ``own`` is what that one has besides its layout.
    """
    messages = dict(sections["messages"])
    own = {key: value for key, value in messages.pop(message).items() if key != "layout"}
    return {
        "own": own,
        "messages": messages,
        "fields": sections["fields"],
        "declared": {name: one.declared_as for name, one in with_members(book.declared).items()},
        "tables": sections["tables"],
        "phrases": sections.get("phrases", {}),
        "sent": sections.get("hearing", {}).get("messages", {}),
        "says": {name: [table.name for table in one.tables] for name, one in book.messages.items()},
    }


def joined(
    sections: Mapping[str, Any],
    rest: Mapping[str, Any],
    message: str,
    write: Callable[[Sections], str],
) -> tuple[Sections, dict[str, str]]:
    """Return a new book's sections with the rest of the old one, and why each message that is left
    out can't go on.

    ``write`` turns sections into the text of a book; every step is proven like any book.
    """
    whole = deepcopy(dict(sections))
    whole["messages"][message] |= rest["own"]
    left_out: dict[str, str] = {}
    if rest["phrases"]:
        whole["phrases"] = rest["phrases"]
    for name, entry in rest["messages"].items():
        more = _with(whole, rest, name, entry)
        try:
            parse_book(write(more), "book")
        except BookError as error:
            left_out[name] = error.problems[0].message.splitlines()[
                0
            ]  # the readings of a clash fill several lines
        else:
            whole = more
    sent = {name: share for name, share in rest["sent"].items() if name in whole["messages"]}
    if sent:
        whole["hearing"] = {**whole.get("hearing", {}), "messages": sent}
    return whole, left_out


def _with(
    whole: Sections, rest: Mapping[str, Any], name: str, entry: Mapping[str, Any]
) -> Sections:
    """Return a book with one message more, with its tables and fields; a table whose name is taken
    by another gets a new one.
    """
    more = deepcopy(whole)
    own = {
        table: rest["tables"][table]
        for table in dict.fromkeys(rest["says"][name])
        if table in rest["tables"]
    }
    called: dict[str, str] = {}
    for table, one in sorted(
        own.items(), key=lambda pair: pair[1]["kind"] == "check"
    ):  # a check names the tables it covers: these first
        new = table
        while new in more["tables"] and more["tables"][new] != _named(one, table, new, called):
            new += "_before"
        called[table] = new
        more["tables"][new] = _named(one, table, new, called)
        if one["kind"] != "check":
            said = one.get("fields") or [one.get("field", table)]
            declared = [rest["declared"][field] for field in said]
            more["fields"] |= {
                field: rest["fields"][field] for field in declared if field not in more["fields"]
            }
    layout = _LAYOUT.sub(lambda found: called.get(found.group(), found.group()), entry["layout"])
    more["messages"][name] = {**entry, "layout": layout}
    return more


def _named(table: Mapping[str, Any], old: str, new: str, called: Mapping[str, str]) -> Sections:
    """Return a table as it stands under a new name: a field it took from its name is told, and what
    a check covers is called anew.
    """
    made = dict(table)
    if "over" in made:
        made["over"] = [called.get(one, one) for one in made["over"]]
    if new != old and made["kind"] != "check" and "fields" not in made:
        made.setdefault("field", old)
    return made
