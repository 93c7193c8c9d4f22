"""A hearing as an engineer wants to see it: first what to do, then what it may have been, then how
sure each field is.
"""

from __future__ import annotations

from codec.hear import Decision, Hearing, Marginal
from codec.reading import Reading
from codec.screen.lines import Heading, Styled, columns, line, safe, table
from grammar.exact import percent as _percent

_BAR = 20
_WIDE = 76  # columns of a screen that have room for bars and means
_SURE = (("✓", "bold green", "sure"), ("~", "bold yellow", "likely"), ("?", "bold red", "unsure"))


def show(hearing: Hearing) -> None:
    """Print a hearing."""
    line(("heard  ", "dim"), ("; then ".join(one.text for one in hearing.heard), ""))
    _what_to_do(hearing)
    _candidates(hearing)
    _fields(hearing)
    for one in hearing.heard:
        for event in one.events:
            line((f"event: {hearing.book.rules.events[event]}", "magenta"))


def _what_to_do(hearing: Hearing) -> None:
    decision = hearing.decision
    if decision.kind == "accept":
        line(("ACCEPT  ", "bold green"), (str(hearing.candidates[0].reading), "bold"))
    else:
        line(("ASK     ", "bold red"), (decision.question, "bold"), (_prices(decision), "dim"))
        line((f"        {_reason(hearing)}", "dim"))


def _prices(decision: Decision) -> str:
    """Return what the choices are expected to cost, the one taken first."""
    ordered = sorted(decision.costs.items(), key=lambda pair: (pair[0] != decision.kind, pair[1]))
    return "   " + ", ".join(f"{kind} {cost:.1f} s" for kind, cost in ordered)


def _reason(hearing: Hearing) -> str:
    threshold = hearing.book.hearing.threshold
    if not hearing.candidates:
        return "no reading of this book is at all probable"
    best = hearing.candidates[0].probability
    if best < threshold:
        return (
            f"the best reading is {_percent(best)} sure; the book accepts from"
            f" {_percent(threshold)} on"
        )
    return "asking costs less than the risk of a wrong reading"


def _candidates(hearing: Hearing) -> None:
    wide = columns() >= _WIDE
    rows = []
    for number, candidate in enumerate(hearing.candidates):
        shown = (
            safe(str(candidate.reading), "bold")
            if number == 0
            else safe(_unlike(candidate.reading, hearing.candidates[0].reading))
        )
        said = safe(candidate.reading.said, "cyan")
        rows.append((*_share(candidate.probability, wide), said, shown))
    for share, what in (
        (hearing.unlisted, "all other readings"),
        (hearing.nothing, "no report of this book"),
    ):
        rows.append((*_share(share, wide), ("", ""), (what, "dim")))
    heads = [
        Heading("probability" if wide else "sure", folds=False, right=True),
        *([Heading("", folds=False)] if wide else []),
        Heading("string", folds=False),
        Heading("reading"),
    ]
    table(heads, rows)


def _share(share: float, wide: bool) -> tuple[Styled, ...]:
    filled = round(share * _BAR)
    bar = ("█" * filled + "·" * (_BAR - filled), "cyan")
    return ((_percent(share), ""), bar) if wide else ((_percent(share), ""),)


def _unlike(reading: Reading, first: Reading) -> str:
    """Return where a reading differs from the first: only that helps to choose between them."""
    if reading.message != first.message:
        return str(reading)
    changed = [name for name in reading.values if reading.levels[name] != first.levels.get(name)]
    return "but " + ", ".join(
        f"{reading.field(name).title} {reading.shown(name)}" for name in changed
    )


def _fields(hearing: Hearing) -> None:
    wide = columns() >= _WIDE
    best = hearing.candidates[0].reading if hearing.candidates else None
    rows = []
    for name, marginal in hearing.marginals.items():
        if best is None or name not in best.values:
            continue
        level = best.levels[name]
        share = float(marginal.probabilities[level])
        mark, style, _ = _SURE[
            0 if share >= hearing.book.hearing.threshold else 1 if share >= 0.5 else 2
        ]
        others = ", ".join(
            f"{marginal.text(n)} {_percent(p)}"
            for n, p in marginal.top(3)
            if n != level and p >= 0.001
        )
        told = (
            safe(marginal.field.title),
            safe(marginal.text(level), style),
            (_percent(share), ""),
            safe(others, "dim"),
        )
        rows.append(((mark, style), *told, *((_mean(marginal),) if wide else ())))
    if rows:
        heads = [
            *(Heading(head) for head in ("", "field", "value")),
            Heading("sure", folds=False, right=True),
            Heading("otherwise"),
            *([Heading("mean ± spread", folds=False)] if wide else []),
        ]
        table(heads, rows)
        line(("  ".join(f"{mark} {word}" for mark, _, word in _SURE), "dim"))


def _mean(marginal: Marginal) -> Styled:
    if marginal.expected is None or marginal.spread is None or marginal.spread < 1e-9:
        return "", ""
    unit = marginal.field.unit_text
    return safe(
        f"{marginal.expected:.2f} ± {marginal.spread:.2f}{' ' + unit if unit else ''}", "dim"
    )
