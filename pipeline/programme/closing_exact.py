"""Closing lines where several water levels share the seals: exact, or cuts one after another."""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from pipeline.core.quiet import quiet_solver
from pipeline.programme.closing_cut import least_cut
from pipeline.programme.closing_parts import SINK, SOURCE, Part

IntArray = npt.NDArray[np.int64]
Way = tuple[int, ...]
_Adjacent = dict[int, list[tuple[int, Way]]]


@dataclass(frozen=True)
class Limits:
    """Up to where the exact search goes: counts, not times, so that the answer is always the same."""

    seals_count: int = 1_500
    rounds_count: int = 60
    nodes_count: int = 5_000


LIMITS: Final = Limits()


class _Search:
    """The exact search of one part: open ways are added until none is left."""

    def __init__(self, part: Part, limits: Limits) -> None:
        self._part = part
        self._limits = limits
        self._layers = [_adjacent(rows) for rows in part.layers]
        self._ways: list[Way] = []
        self._rounds = 0
        self.bound_minor = 0

    def cheapest(self) -> IntArray | None:
        """A cheapest set; None where a limit came first."""
        found = self._settle(self._part.cost_minor, None)
        if found is None:
            return None
        numbers = range(1, self._part.seals.size + 1)
        cost = self._part.cost_of(found)
        tie = self._settle(tuple(numbers), cost)
        # a tie that the solver's tolerance made dearer does not count
        return found if tie is None or self._part.cost_of(tie) > cost else tie

    def _settle(self, goal: Sequence[int], most: int | None) -> IntArray | None:
        while self._rounds < self._limits.rounds_count:
            self._rounds += 1
            chosen, bound = self._master(goal, most)
            if most is None:
                self.bound_minor = max(self.bound_minor, bound)
            if chosen is None:
                return None
            ways = [w for layer in self._layers for w in open_ways(layer, chosen)]
            if not ways:
                return chosen
            self._ways += sorted(set(ways))
        return None

    def _master(self, goal: Sequence[int], most: int | None) -> tuple[IntArray | None, int]:
        """Cheapest seals that close the ways known so far, and the bound of their cost."""
        if not self._ways:
            return np.array([], dtype=np.int64), 0
        count = self._part.seals.size
        row = np.concatenate([np.full(len(w), i) for i, w in enumerate(self._ways)])
        column = np.concatenate([np.array(w) for w in self._ways])
        matrix = csr_array((np.ones(row.size), (row, column)), shape=(len(self._ways), count))
        rules = [LinearConstraint(matrix, 1.0, np.inf)]
        if most is not None:
            unit = float(max(1, *self._part.cost_minor))
            cost = np.array([self._part.cost_minor]) / unit
            rules.append(LinearConstraint(cost, -np.inf, most / unit + 0.5 / unit))
        with quiet_solver():
            answer = milp(
                np.array(goal, dtype=np.float64),
                integrality=np.ones(count),
                bounds=Bounds(0.0, 1.0),
                constraints=rules,
                options={"mip_rel_gap": 0.0, "node_limit": self._limits.nodes_count},
            )
        told = answer.mip_dual_bound
        # costs are whole minor units: any line costs a whole number
        bound = int(np.ceil(told - 1e-6 * max(1.0, abs(told) * 1e-3))) if told is not None else 0
        if answer.x is None:
            return None, bound
        return np.flatnonzero(answer.x > 0.5).astype(np.int64), bound


def exact_line(part: Part, limits: Limits = LIMITS) -> tuple[IntArray | None, int]:
    """Cheapest seals of a part by a mixed-integer programme, ways added as they show.

    Parameters
    ----------
    part : Part
    limits : Limits

    Returns
    -------
    chosen : numpy.ndarray of int or None
        Seals (numbers of the part, rising) that close every way; None where a limit came first.
    bound_minor : int
        No line costs less. Below the cost of the seals where the solver's own limit or tolerance
        came first.

    Notes
    -----
    Every way from the source must pass a sealed mouth; there are too many ways to list, so only
    those are added that stay open. Ties: the smallest sum of seal numbers.

    """
    if part.seals.size > limits.seals_count:
        return None, 0
    search = _Search(part, limits)
    return search.cheapest(), search.bound_minor


def line_in_sequence(part: Part) -> tuple[IntArray, int]:
    """A line by the least cut of one water level after another, then without what is not needed.

    Parameters
    ----------
    part : Part

    Returns
    -------
    chosen : numpy.ndarray of int
        Seals (numbers of the part, rising): they close every way, perhaps not at the least cost.
    bound_minor : int
        The dearest least cut of a single level: no line costs less.

    """
    bound = max(least_cut(part, rows, part.cost_minor).cost_minor for rows in part.layers)
    found = [_in_order(part, order) for order in (part.layers, part.layers[::-1])]
    best = min(found, key=lambda chosen: (part.cost_of(chosen), chosen))
    return np.array(best, dtype=np.int64), bound


def _in_order(part: Part, layers: Sequence[IntArray]) -> list[int]:
    chosen: set[int] = set()
    for rows in layers:
        cost = [0 if i in chosen else c for i, c in enumerate(part.cost_minor)]
        chosen |= {int(i) for i in least_cut(part, rows, cost).chosen}
    graphs = [_adjacent(rows) for rows in part.layers]
    for seal in sorted(chosen, key=lambda i: (-part.cost_minor[i], -i)):
        without = np.array(sorted(chosen - {seal}), dtype=np.int64)
        if not any(_fewest(graph, frozenset(without.tolist())) is not None for graph in graphs):
            chosen.discard(seal)
    return sorted(chosen)


def _adjacent(rows: IntArray) -> _Adjacent:
    out: _Adjacent = {}
    for tail, head, at_tail, at_head in rows.tolist():
        out.setdefault(tail, []).append((head, tuple(s for s in (at_tail, at_head) if s >= 0)))
    return out


def open_ways(layer: _Adjacent, chosen: IntArray) -> list[Way]:
    """Seals on ways that stay open, each way without a seal of the one before."""
    shut = frozenset(chosen.tolist())
    out: list[Way] = []
    while (way := _fewest(layer, shut)) is not None:
        out.append(way)
        shut |= frozenset(way)
    return out


def _fewest(layer: _Adjacent, shut: frozenset[int]) -> Way | None:
    """Seals of an open way that passes the fewest mouths; None = every way is closed."""
    best: dict[int, int] = {SOURCE: 0}
    done: set[int] = set()
    waiting: list[tuple[int, int, Way]] = [(0, SOURCE, ())]
    while waiting:
        passed, place, way = heapq.heappop(waiting)
        if place == SINK:
            return tuple(sorted(set(way)))
        if place in done:
            continue
        done.add(place)
        for head, seals in layer.get(place, ()):
            total = passed + len(seals)
            if not shut.intersection(seals) and total < best.get(head, total + 1):
                best[head] = total
                heapq.heappush(waiting, (total, head, way + seals))
    return None
