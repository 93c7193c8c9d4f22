"""Confusions as a matrix picture, SVG or PNG: symbols shown down, symbols understood across."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from codec.drill.answer import DrillError
from codec.files import written
from grammar.libraries import needed

_SUFFIXES = (".svg", ".png")


def confusion_picture(
    path: str | Path,
    confusions: Mapping[tuple[str, str], int],
    right: Mapping[str, int],
    words: Mapping[str, str],
    title: str,
    shown_as: str,
) -> None:
    """Draw the picture. ``right`` counts the right answers by symbol; they are drawn along the
    diagonal, in grey.

    Raises DrillError for another suffix, or where it can't be written.
    """
    target = Path(path)
    if target.suffix.lower() not in _SUFFIXES:
        raise DrillError(
            f"{target.name!r} is no picture's name",
            kind="usage",
            expected=[f"a name that ends in {' or '.join(_SUFFIXES)}"],
        )
    needed("matplotlib", "drill")
    from matplotlib.figure import Figure  # without pyplot: no window, no state

    order = {symbol: place for place, symbol in enumerate(words)}
    wrong = {pair: count for pair, count in confusions.items() if set(pair) - {""} <= order.keys()}
    symbols = [
        symbol for symbol in order if right.get(symbol) or any(symbol in pair for pair in wrong)
    ] or list(order)[:1]
    across = [*symbols, ""] if any(not said for _, said in wrong) else symbols
    most = max([count for (shown, _), count in wrong.items() if shown], default=1)
    side = max(4.0, 0.26 * len(symbols) + 1.8)
    figure = Figure(figsize=(side, side), layout="constrained")
    axes = figure.subplots()
    grid = [
        [float("nan") if shown == said else float(wrong.get((shown, said), 0)) for said in across]
        for shown in symbols
    ]
    axes.set_facecolor("#e8e8e8")
    image = axes.imshow(grid, cmap="Reds", vmin=0, vmax=most)
    for down, shown in enumerate(symbols):
        for place, said in enumerate(across):
            count = right.get(shown, 0) if shown == said else wrong.get((shown, said), 0)
            if count:
                dark = shown != said and count > 0.6 * most
                axes.text(
                    place,
                    down,
                    str(count),
                    ha="center",
                    va="center",
                    fontsize=6,
                    color="white" if dark else "#444444",
                )
    axes.set_xticks(range(len(across)), [symbol or "–" for symbol in across], fontsize=8)
    axes.set_yticks(
        range(len(symbols)), [f"{words[symbol]}  {symbol}" for symbol in symbols], fontsize=7
    )
    axes.set_xlabel("understood" + ("  (– left out)" if "" in across else ""))
    axes.set_ylabel(shown_as)
    axes.set_title(title, fontsize=9)
    if most > 1:
        figure.colorbar(image, ax=axes, shrink=0.5, label="times wrong")
    with written(target, kind="drill-full", of=DrillError):
        figure.savefig(
            target, dpi=160, metadata={"Date": None} if target.suffix.lower() == ".svg" else None
        )
