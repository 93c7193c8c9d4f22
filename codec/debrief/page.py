"""The debrief as one HTML page that needs nothing else, and its figures as files."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from codec.debrief.figures import NAMES, Figure, figures, image, often_doubted
from codec.debrief.summary import CAUTION, Debrief, certainties, table
from codec.debrief.told import sentences
from codec.files import whole, written
from codec.race.outlook import outlook
from codec.race.race import Race
from grammar.errors import CodeError, counted
from grammar.libraries import needed

PAGE = "debrief.html"
_DOUBTED = 12  # words at most that are told


def write(debrief: Debrief, folder: str | Path, *, replace: bool = False) -> list[Path]:
    """Write ``debrief.html`` and each figure as SVG and PNG into a folder, made if it is not there;
    return the files.

    An earlier debrief is written over only with ``replace``; figures of it that this one does not
    have are taken away, so that all that lies there is of one debrief. Raises CodeError where that
    can't be done, or where what draws is not installed.
    """
    target, drawn = Path(folder), _drawn(debrief)
    pages = {target / PAGE: _rendered(debrief, drawn).encode("utf-8")}
    for one in drawn:
        pages[target / f"{one.figure.name}.svg"] = one.wide
        pages[target / f"{one.figure.name}.png"] = image(debrief, one.figure, "png")
    with written(target, kind="usage", hint="name another folder"):
        target.mkdir(parents=True, exist_ok=True)
        earlier = [path for path in _possible(target) if path.exists()]
        if earlier and not replace:
            hint = "name another folder, or say --replace"
            raise CodeError(
                f"there is a debrief in {str(folder)!r} already: {earlier[0].name}",
                kind="file",
                hint=hint,
            )
        for path, data in pages.items():
            with whole(path, binary=True) as stream:
                stream.write(data)
        for path in earlier:
            if path not in pages:
                path.unlink()
    return list(pages)


def _possible(folder: Path) -> list[Path]:
    """Return the files that a debrief may write."""
    return [
        folder / PAGE,
        *(folder / f"{name}.{form}" for name in NAMES for form in ("svg", "png")),
    ]


def page(debrief: Debrief) -> str:
    """Return the page; every text in it is escaped.

    Raises CodeError where what draws is not installed.
    """
    return _rendered(debrief, _drawn(debrief))


@dataclass(frozen=True, slots=True)
class _DrawnFigure:
    figure: Figure
    wide: bytes
    narrow: bytes


def _drawn(debrief: Debrief) -> list[_DrawnFigure]:
    return [
        _DrawnFigure(one, image(debrief, one, "svg"), image(debrief, one, "svg", "narrow"))
        for one in figures(debrief)
    ]


def _rendered(debrief: Debrief, drawn: list[_DrawnFigure]) -> str:
    jinja2 = needed("jinja2", "figures")
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, lstrip_blocks=True
    )
    template = environment.from_string(
        (resources.files("codec.debrief") / "page.html").read_text("utf-8")
    )
    page: str = template.render({**context(debrief), "figures": [_embedded(one) for one in drawn]})
    return page


def context(debrief: Debrief) -> dict[str, Any]:
    """Return what a page tells of a debrief, but its figures."""
    sure, comparison = certainties(debrief), debrief.comparison
    return {
        "debrief": debrief,
        "caution": CAUTION,
        "told": sentences(debrief, debrief.outlooks),
        "facts": _facts(debrief),
        "doubted": (
            ""
            if often_doubted(debrief)
            else ", ".join(
                f"{word} {count}×" for word, count in debrief.doubted.most_common(_DOUBTED)
            )
        ),
        "comparison": comparison,
        "rounded": (
            sum(1 for f in comparison.findings if f.verdict in ("as recorded", "rounding only"))
            if comparison
            else 0
        ),
        "missing": (
            [finding.lap for finding in comparison.findings if finding.verdict == "no report"]
            if comparison
            else []
        ),
        "misheard": debrief.misheard.most_common(_DOUBTED),
        "counted": counted,
        "columns": _columns(debrief),
        "uses": _uses(debrief),
        "rows": [
            {**row, "sure": f"{sure[row['line'].lap]:.0%}" if row["line"].lap in sure else ""}
            for row in table(debrief)
        ],
    }


def _columns(debrief: Debrief) -> list[str]:
    reports = debrief.book.sent_by("car")
    return (
        [field.title for name, field in reports[0].fields.items() if name != "lap"]
        if reports
        else []
    )


def _uses(debrief: Debrief) -> dict[int, tuple[str, str, str]]:
    """Return, by lap, what it took, its target and the gap, as people read them."""
    found: dict[int, tuple[str, str, str]] = {}
    for lap, use in ({} if debrief.race is None else debrief.race.uses()).items():
        gap = "neutralised" if use.gap is None else f"{use.gap:+.2f}".replace("-", "−")
        found[lap] = f"{use.used:.2f}", f"{use.target:.2f}", gap
    return found


def _embedded(drawn: _DrawnFigure) -> dict[str, str]:
    wide, narrow = (
        f"data:image/svg+xml;base64,{base64.b64encode(svg).decode('ascii')}"
        for svg in (drawn.wide, drawn.narrow)
    )
    return {
        "title": drawn.figure.title,
        "description": drawn.figure.description,
        "wide": wide,
        "narrow": narrow,
    }


def _facts(debrief: Debrief) -> list[tuple[str, str]]:
    """Return what was known when the last report had come."""
    race = debrief.race
    if race is None or race.lap == 0:
        return []
    last, unit = outlook(race), race.event.spec.energy.unit
    low, high = last.distance.margin.band()
    left_low, left_high = last.left.band()
    found = [
        ("last lap reported", f"{race.lap} of {race.lap + last.distance.likeliest}"),
        ("laps added", _added(race)),
        ("energy left", f"{last.left.mean:.2f} {unit} (80 %: {left_low:.2f} … {left_high:.2f})"),
        (
            "margin at the flag",
            (
                f"{last.distance.margin.mean:+.2f} {unit} over the reserve (80 %: {low:+.2f} …"
                f" {high:+.2f})"
            ),
        ),
        (
            (
                "chance of having run short"
                if not last.distance.likeliest
                else "chance of running short"
            ),
            f"{last.distance.short:.0%}",
        ),
    ]
    if race.ledger.dials:
        found.append(
            (
                "wheel",
                ", ".join(f"{dial} {position}" for dial, position in race.ledger.positions.items()),
            )
        )
    return [(name, value.replace("-", "−") if name != "wheel" else value) for name, value in found]


def _added(race: Race) -> str:
    expected = race.laps_expected
    told = f"{race.laps_added - expected} announced, {race.laps_entered} entered"
    return f"{told}, {expected} more by the event's rule" if expected else told
