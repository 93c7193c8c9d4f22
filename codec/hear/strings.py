"""Every string that says the same reading, for layouts with optional parts and alternatives, and
how they share its weight.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from grammar.layout import CourseStep, Maybe
from grammar.message import Match, Message, Plan
from grammar.semirings import LISTED, sums_to_end

if TYPE_CHECKING:
    from grammar.hearing import HearingSpec

_Share = tuple[
    float, list[dict[str, int]]
]  # a factor, and for each optional part said what leaving it out implies


class Strings:
    """The strings of a message's readings; what is worked out for one way through the layout is
    kept.
    """

    def __init__(self, message: Message, spec: HearingSpec) -> None:
        """Begin with nothing worked out."""
        self.message, self.spec = message, spec
        self._plans: dict[tuple[str, ...], list[Plan]] = {}
        self._shares: dict[tuple[int, ...], _Share] = {}

    def others(self, match: Match, levels: Mapping[str, int]) -> Iterator[tuple[Plan, str]]:
        """Yield every other way to say exactly what a match says, with its string; ``levels`` are
        the match's.
        """
        for plan in self._plans_for(tuple(levels)):
            if plan.leaves == match.plan.leaves or any(
                levels[implied.name] != implied.level for implied in plan.implied
            ):
                continue
            texts: list[str] = []
            for number, table in enumerate(plan.tables):
                if table.check is not None:
                    covered = next(check.covers for check in plan.checks if check.place == number)
                    texts.append(
                        table.check.wanted("".join(texts[place] for place in covered)) or ""
                    )
                else:
                    texts.append(
                        table.word(tuple(levels[field.name] for field in table.fields)) or ""
                    )
            if all(
                texts
            ):  # a set that a table leaves out, or a check that has no symbol for it, can't be said
                yield plan, "".join(texts)

    def share(self, plan: Plan, levels: Mapping[str, int]) -> float:
        """Return how much of a reading's weight goes to its string by a plan; only the ratios
        between its strings mean anything.
        """
        if plan.leaves not in self._shares:
            self._shares[plan.leaves] = self._share(plan)
        factor, spoken = self._shares[plan.leaves]
        anyway = sum(
            all(levels[name] == level for name, level in implied.items()) for implied in spoken
        )
        return factor * self.spec.spoken_anyway**anyway

    def _plans_for(self, names: tuple[str, ...]) -> list[Plan]:
        """Return the ways through the layout that give these fields, said or implied."""
        if names not in self._plans:
            wanted = frozenset(names)
            plans = [self.message.plan(said) for said in self._ways(wanted)]
            self._plans[names] = [
                plan
                for plan in plans
                if {*plan.names, *(implied.name for implied in plan.implied)} == wanted
            ]
        return self._plans[names]

    def _ways(self, names: frozenset[str]) -> list[tuple[int, ...]]:
        """Return the rows of leaves that may give these fields."""
        steps, end, points = self.message.course

        def said(step: CourseStep) -> list[tuple[int, ...]]:
            if step.leaf < 0:
                return [()]
            fields = self.message.tables[step.leaf].fields
            return [(step.leaf,)] if all(field.name in names for field in fields) else []

        return sums_to_end(steps, [end], points, LISTED, said)[0]

    def _share(self, plan: Plan) -> _Share:
        factor, spoken = 1.0, []
        for step in self.message.decisions(plan.leaves):
            if isinstance(step.node, Maybe):
                implied = self.message.usual(step.node.part)
                same = self.message.said_by(step.node.part) <= implied.keys()
                if step.taken is None:
                    factor *= 1 - self.spec.spoken_anyway if same else self.spec.left_out
                elif same:
                    spoken.append(implied)
                else:
                    factor *= 1 - self.spec.left_out
            elif step.node is not None:
                factor /= len(step.node.parts)
        return factor, spoken
