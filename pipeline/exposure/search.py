"""The exact search: which places water gets to, and the lowest level that sends it there.

A network is arrays: directed edges `tail -> head`, each with a crest (m; -inf = no obstacle).
Static water passes an edge when it stands at or above the crest (equal is wet), so a way's
control level is its highest crest, and a place's control level the lowest over all ways: the
bottleneck (minimax) path, found place by place in rising level (each place is settled once).

References
----------
Pollack, M. (1960) The maximum capacity through a network. Operations Research 8(5), 733-736
(from memory): the bottleneck path by a label-setting search.

"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_matrix

from pipeline.exposure.search_wide import wide

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
Begin = Sequence[tuple[int, float]]

NOWHERE: Final = -1
# from this many edges on, whole fronts of places are faster than one place after the other
_WIDE: Final = 5_000


@dataclass(frozen=True)
class Network:
    """Directed edges sorted by tail, with the place where each tail's edges begin.

    Parameters
    ----------
    nodes_count : int
        Number of places.
    first : numpy.ndarray of int, shape (nodes_count + 1,)
        Edges of tail v are first[v] ... first[v + 1] - 1.
    head : numpy.ndarray of int, shape (edges,)
        Where each edge leads.
    edge : numpy.ndarray of int, shape (edges,)
        Number of the edge in the arrays that it was built from.

    """

    nodes_count: int
    first: IntArray
    head: IntArray
    edge: IntArray

    @cached_property
    def lists(self) -> tuple[list[int], list[int], list[int]]:
        """First, head and edge as plain lists: single numbers come out of them ten times faster."""
        return self.first.tolist(), self.head.tolist(), self.edge.tolist()


def build(nodes_count: int, tail: IntArray, head: IntArray) -> Network:
    """Sort directed edges by their tail.

    Parameters
    ----------
    nodes_count : int
        Number of places.
    tail, head : numpy.ndarray of int, shape (edges,)
        Ends of each directed edge.

    Returns
    -------
    Network

    """
    edges = np.arange(tail.size)
    # one column per edge, so that parallel ducts stay apart: a counting sort that keeps the order
    grid = coo_matrix((np.ones(tail.size, dtype=np.int8), (tail, edges)), (nodes_count, tail.size))
    sorted_grid = grid.tocsr()
    order = sorted_grid.indices.astype(np.int64)
    return Network(nodes_count, sorted_grid.indptr.astype(np.int64), head[order], order)


def control_levels(
    network: Network, crest_m: FloatArray, start: int, *, without: int = NOWHERE
) -> tuple[FloatArray, IntArray]:
    """Lowest highest crest from one place to every other.

    Parameters
    ----------
    network : Network
    crest_m : numpy.ndarray of float, shape (edges,)
        Crest of each edge in the order it was built from (m).
    start : int
        Place where the water is let in.
    without : int
        A place that the water may not pass (-1 = none).

    Returns
    -------
    level_m : numpy.ndarray of float, shape (nodes_count,)
        Control level from the start (m); -inf at the start, +inf where no way leads.
    via : numpy.ndarray of int, shape (nodes_count,)
        Edge by which the best way arrives; -1 at the start and where no way leads.

    """
    return settle(network, crest_m[network.edge], [(start, -math.inf)], without)


def settle(
    network: Network, crest_m: FloatArray, begin: Begin, without: int = NOWHERE
) -> tuple[FloatArray, IntArray]:
    """As `control_levels`, from several places at once, each with a level to begin from.

    Parameters
    ----------
    network : Network
    crest_m : numpy.ndarray of float, shape (edges,)
        Crest of each edge in the network's own order (m).
    begin : sequence of (place, level in m)
        Where water is let in, and the lowest level that lets it in there.
    without : int
        A place that the water may not pass (-1 = none).

    Returns
    -------
    level_m, via
        As `control_levels`; where ways tie, the one of the fewest steps, then the edge of
        the lowest crest, then the one that stands first in the network's own order.

    """
    lowest: dict[int, float] = {}
    for place, level_m in begin:
        if place != without and level_m < lowest.get(place, math.inf):
            lowest[place] = level_m
    if network.head.size >= _WIDE and lowest:
        open_m = crest_m
        if without != NOWHERE:
            open_m = np.where(network.head == without, np.inf, crest_m)
        found = wide(network.first, network.head, open_m, lowest)
        if found is not None:
            level, at = found
            return level, np.where(at == NOWHERE, NOWHERE, network.edge[at])
    levels, via = _one_by_one(network, crest_m.tolist(), lowest, without)
    return np.array(levels), np.array(via, dtype=np.int64)


def _one_by_one(
    network: Network, crest: list[float], lowest: dict[int, float], without: int
) -> tuple[list[float], list[int]]:
    """Place by place in rising level; in plain lists, which is fastest for small networks."""
    level = [math.inf] * network.nodes_count
    via = [NOWHERE] * network.nodes_count
    first, head, edge = network.lists
    steps = [0] * network.nodes_count
    done = bytearray(network.nodes_count)
    if without != NOWHERE:
        done[without] = 1
    push, pop = heapq.heappush, heapq.heappop
    waiting: list[tuple[float, int, int]] = []
    for place, begins in lowest.items():
        level[place] = begins
        push(waiting, (begins, 0, place))
    while waiting:
        reached, taken, v = pop(waiting)
        if done[v]:
            continue
        done[v] = 1
        taken += 1
        for i in range(first[v], first[v + 1]):
            w = head[i]
            through = crest[i]
            through = max(through, reached)
            if done[w] or through == math.inf:
                continue
            if through < level[w] or (through == level[w] and taken < steps[w]):
                level[w] = through
                steps[w] = taken
                via[w] = i
                push(waiting, (through, taken, w))
            elif through == level[w] and taken == steps[w]:
                via[w] = min((crest[via[w]], via[w]), (crest[i], i))[1]
    return level, [NOWHERE if i == NOWHERE else edge[i] for i in via]


def way_back(tail: IntArray, via: IntArray | list[int], end: int) -> list[int]:
    """Edges of the best way to a place, from its start.

    Parameters
    ----------
    tail : numpy.ndarray of int, shape (edges,)
        Tail of each edge in the order the network was built from.
    via : array or list of int, shape (nodes_count,)
        As `control_levels` gives it.
    end : int
        Place where the way ends.

    Returns
    -------
    list of int
        Edge numbers, first step first.

    """
    edges: list[int] = []
    v = end
    while via[v] != NOWHERE:
        edges.append(int(via[v]))
        v = int(tail[via[v]])
        if len(edges) > len(via):  # pragma: no cover - a loop cannot arise from strict improvement
            break
    return edges[::-1]
