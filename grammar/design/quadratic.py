"""The quadratic assignment problem: which item goes where, so that what hangs together lies near
each other; with a proven lower bound, and exact where it is small.

The cost of an assignment p is Σ linear[i, p(i)] + Σ flow[i, k] · distance[p(i), p(k)], the second
over pairs of different items and over several pairs of matrices (T. Koopmans and M. Beckmann, 1957;
E. Lawler, 1963). The bound is P. Gilmore's (1962) and Lawler's: of every item and place the least
that the pair may cost with all others, by the least scalar product of flows and distances, then the
linear assignment of these. Branch and bound is exact with it; beyond, exchanges of two from several
starts give a good assignment, and the bound of the whole tells how far from the best it may be.
"""

from __future__ import annotations

import functools
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from grammar.design.assignment import exchange_costs
from grammar.libraries import needed

MOST_NODES = 100_000  # of a search, before it ends with what it has
_NARROW = 1e-9


@dataclass(frozen=True, slots=True)
class Assigned:
    """An assignment: the place of each item, its ``cost``, and a proven lower ``bound`` of the cost
    of every assignment asked for.
    """

    places: tuple[int, ...]
    cost: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether no other costs less."""
        return self.cost - self.bound <= _NARROW * max(1.0, abs(self.cost))

    @property
    def gap(self) -> float:
        """How far above the bound the cost is, as a share of the cost."""
        return 0.0 if self.proven else (self.cost - self.bound) / abs(self.cost)


class QuadraticAssignment:
    """A problem of n items and n places.

    ``linear`` is n × n, item by place, ``terms`` are pairs of matrices n × n: flows item by item,
    distances place by place; none of them need be symmetric.
    """

    def __init__(self, linear: Any, terms: Sequence[tuple[Any, Any]]) -> None:
        """Take the matrices; what a flow or distance has on its diagonal is linear."""
        numpy = self._numpy = needed("numpy")
        self._linear = numpy.array(linear, dtype=float)
        self.size = len(self._linear)
        self._terms = []
        for flow, distance in terms:
            a, b = numpy.array(flow, dtype=float), numpy.array(distance, dtype=float)
            self._linear += numpy.outer(numpy.diag(a), numpy.diag(b))
            numpy.fill_diagonal(a, 0)
            numpy.fill_diagonal(b, 0)
            self._terms.append((a, b))

    def cost(self, places: Sequence[int]) -> float:
        """Return the cost of an assignment."""
        at = self._numpy.asarray(places)
        pairs = sum(float((a * b[at][:, at]).sum()) for a, b in self._terms)
        return float(self._linear[self._numpy.arange(self.size), at].sum()) + pairs

    @property
    def bound(self) -> float:
        """What no assignment costs less than."""
        return self._bounded({})[0]

    def best(
        self,
        *,
        most_moved: int | None = None,
        most_nodes: int = MOST_NODES,
        starts: int = 8,
        seed: int = 1,
    ) -> Assigned:
        """Return the cheapest assignment, of those in which at most ``most_moved`` items are at
        another place than that of their own number.

        It is proven where the search ends within ``most_nodes`` steps (0: no search); its bound
        tells. Raises CodeError where scipy is missing.
        """
        most = self.size if most_moved is None else most_moved
        found = self._improved(range(self.size), most)
        draw = random.Random(seed)  # noqa: S311 - to try, not to hide
        for _ in range(starts if most >= self.size else 0):
            order = draw.sample(range(self.size), self.size)
            found = min(found, self._improved(order, most), key=self.cost)
        search = _Search(self, found, most, most_nodes)
        search.run()
        return Assigned(tuple(search.places), search.cost, min(search.cost, search.bound))

    def _improved(self, places: Sequence[int], most: int) -> list[int]:
        """Exchange two items, those that gain most by it, until no exchange that keeps to ``most``
        moved does.
        """
        numpy, at = self._numpy, self._numpy.array(places)
        items = numpy.arange(self.size)
        while True:
            added = sum(exchange_costs(a, b, at) for a, b in self._terms)
            moved = self._linear[:, at]  # of each item to the place of each other
            stays = numpy.diag(moved)
            added = added + moved + moved.T - stays[:, None] - stays
            home = (at == items).astype(int)
            more = (home[:, None] + home) - ((at[:, None] == items) + (at == items[:, None]))
            allowed = (at != items).sum() + more <= most
            added = numpy.where(numpy.triu(allowed, 1), added, 0.0)
            one, other = divmod(int(added.argmin()), self.size)
            if added[one, other] >= -_NARROW * max(1.0, abs(self.cost(at))):
                return [int(place) for place in at]
            at[[one, other]] = at[[other, one]]

    def _bounded(self, fixed: dict[int, int]) -> tuple[float, list[int], list[int], Any, list[int]]:
        """Return what no assignment that has these items at these places costs less than; the items
        and places left, what each costs at least at each, and the best assignment of these.
        """
        numpy = self._numpy
        items = [item for item in range(self.size) if item not in fixed]
        taken = set(fixed.values())
        places = [place for place in range(self.size) if place not in taken]
        here, there = list(fixed), list(fixed.values())
        base = float(self._linear[here, there].sum()) if fixed else 0.0
        costs = self._linear[numpy.ix_(items, places)].copy()
        for a, b in self._terms:
            if fixed:
                base += float((a[numpy.ix_(here, here)] * b[numpy.ix_(there, there)]).sum())
                costs += a[numpy.ix_(items, here)] @ b[numpy.ix_(places, there)].T
                costs += a[numpy.ix_(here, items)].T @ b[numpy.ix_(there, places)]
            costs += self._least_products(a[numpy.ix_(items, items)], b[numpy.ix_(places, places)])
        if not items:
            return base, items, places, costs, []
        rows, columns = needed("scipy.optimize").linear_sum_assignment(costs)
        return base + float(costs[rows, columns].sum()), items, places, costs, list(columns)

    def _least_products(self, flow: Any, distance: Any) -> Any:
        """Return of every item and place the least that its flows to the others may cost."""
        numpy, size = self._numpy, len(flow)
        if size < 2:
            return numpy.zeros((size, size))
        apart = ~numpy.eye(size, dtype=bool)
        flows = numpy.sort(flow[apart].reshape(size, size - 1), axis=1)
        distances = numpy.sort(distance[apart].reshape(size, size - 1), axis=1)[:, ::-1]
        return flows @ distances.T


@dataclass
class _Search:
    """Branch and bound, from a first assignment on."""

    problem: QuadraticAssignment
    places: list[int]
    most: int
    left: int
    cost: float = math.inf
    bound: float = math.inf  # of what was not looked at

    def __post_init__(self) -> None:
        self.cost = self.problem.cost(self.places)

    def run(self) -> None:
        self._visit({}, 0)

    @functools.cached_property
    def _narrow(self) -> float:
        return _NARROW * max(1.0, abs(self.cost))

    def _visit(self, fixed: dict[int, int], moved: int) -> None:
        problem = self.problem
        if moved == self.most:  # the rest has to stay
            at = list(range(problem.size))
            for item, place in fixed.items():
                at[item] = place
            if len(set(at)) == problem.size:
                self._take(at)
            return
        bound, items, places, costs, columns = problem._bounded(fixed)
        if bound >= self.cost - self._narrow:
            return
        if self.left <= 0:
            self.bound = min(self.bound, bound)
            return
        self.left -= 1
        at = [fixed.get(item, -1) for item in range(problem.size)]
        for item, column in zip(items, columns, strict=True):
            at[item] = places[column]
        if sum(place != item for item, place in enumerate(at)) <= self.most:
            self._take(at)
        if not items:
            return
        row = self._branching(costs)
        for column in problem._numpy.argsort(costs[row], kind="stable"):
            item, place = items[row], places[int(column)]
            self._visit({**fixed, item: place}, moved + (item != place))

    def _branching(self, costs: Any) -> int:
        """Return the row whose best place is the most above its second best."""
        if costs.shape[1] < 2:
            return 0
        two = self.problem._numpy.partition(costs, 1, axis=1)[:, :2]
        return int((two[:, 1] - two[:, 0]).argmax())

    def _take(self, at: list[int]) -> None:
        cost = self.problem.cost(at)
        if cost < self.cost - self._narrow:
            self.places, self.cost = at, cost
