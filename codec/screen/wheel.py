"""Maps of the wheel beside each other: what the changes of a race take on each, and what is to be
found anew.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from codec.screen.lines import Heading, line, safe, table
from codec.wheel import Measure, Way
from codec.wheel.design import Arrangement


def show(
    found: Sequence[Arrangement], measure: Measure, anew: Mapping[str, tuple[Way, Way]]
) -> None:
    """Print the maps, and of the last one each setting that moves, with the touches that change it
    by one position from the start, as they were and as they are.
    """
    wheel = found[0].wheel
    line(
        (wheel.title, "bold"), (f": what the changes of a race take, map by map, by {measure}", "")
    )
    heads = ("moved", "touches", "seconds", "m looking down", "slips cost")
    table(
        [*(Heading(head, folds=False, right=True) for head in heads), Heading("")],
        [
            [
                (f"{one.moved}", ""),
                (f"{one.cost.touches:.1f}", ""),
                (f"{one.cost.seconds:.1f}", ""),
                (f"{one.cost.metres:.0f}", ""),
                (f"{one.cost.harm:.1f} s", ""),
                (_about(one), "dim"),
            ]
            for one in found
        ],
    )
    if not anew:
        line(("no other map is cheaper", "green"))
        return
    line((f"to find anew, {len(anew)} moved", "bold"))
    table(
        [Heading("setting"), Heading("one step was"), Heading("is now")],
        [
            [safe(name), safe(str(was), "dim"), safe(str(now), "cyan")]
            for name, (was, now) in anew.items()
        ],
    )


def _about(one: Arrangement) -> str:
    if not one.places:
        return "as it is"
    return f"at most {one.gap:.0%} above the bound" if one.gap else ""
