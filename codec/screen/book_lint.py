"""What people stumble over in a book, by kind."""

from __future__ import annotations

from collections.abc import Sequence

from codec.screen.lines import line
from grammar.design.lint import KINDS, Remark

_CALLED = {
    "unchecked": "reports of a lap without a check symbol",
    "look-alike": "characters that look alike, computed from what the display lights, not measured",
    "colours": "colours of the dash that can't be read, or that somebody can't tell apart",
    "confusable": "values of one table that are easily taken for each other, in the book's noise",
    "two meanings": "symbols that mean something in several tables",
    "unused": "symbols in use that nothing says",
    "out of order": "numbers whose codewords are not in their order",
}


def show(title: str, remarks: Sequence[Remark], *, rows: int) -> None:
    """Print remarks, at most ``rows`` of each kind (0 for all), with what would do."""
    line((title, "bold"))
    if not remarks:
        line(("nothing to remark", "green"))
    for kind in KINDS:
        several = [one for one in remarks if one.kind == kind]
        if not several:
            continue
        line((f"{_CALLED[kind]}: {len(several):,}", "bold"))
        shown = several if rows == 0 else several[:rows]
        for one in shown:
            line((f"  {one.text}", ""))
        if len(shown) < len(several):
            line((f"  and {len(several) - len(shown):,} more; --rows 0 shows all", "dim"))
        for hint in dict.fromkeys(one.hint for one in shown):
            line((f"  → {hint}", "dim"))
