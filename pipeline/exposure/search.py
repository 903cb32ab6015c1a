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
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

NOWHERE: Final = -1


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
    order = np.argsort(tail, kind="stable")
    first = np.zeros(nodes_count + 1, dtype=np.int64)
    np.cumsum(np.bincount(tail, minlength=nodes_count), out=first[1:])
    return Network(nodes_count, first, head[order].astype(np.int64), order.astype(np.int64))


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
    level, via = search(network, sorted_crests(network, crest_m), start, without)
    return np.array(level), np.array(via, dtype=np.int64)


def sorted_crests(network: Network, crest_m: FloatArray) -> list[float]:
    """Crests in the order of the network's own edges, for `search`."""
    crests: list[float] = crest_m[network.edge].tolist()
    return crests


def search(
    network: Network, crest: list[float], start: int, without: int = NOWHERE
) -> tuple[list[float], list[int]]:
    """As `control_levels`, in plain lists: for many searches over one network.

    Parameters
    ----------
    network : Network
    crest : list of float
        From `sorted_crests`.
    start, without : int
    """
    level = [math.inf] * network.nodes_count
    via = [NOWHERE] * network.nodes_count
    if start == without:
        return level, via
    first, head, edge = network.lists
    level[start] = -math.inf
    done = bytearray(network.nodes_count)
    if without != NOWHERE:
        done[without] = 1
    push, pop = heapq.heappush, heapq.heappop
    # ties: fewer steps first, then the lower number, so that the way named is always the same
    waiting: list[tuple[float, int, int]] = [(-math.inf, 0, start)]
    while waiting:
        reached, steps, v = pop(waiting)
        if done[v]:
            continue
        done[v] = 1
        for i in range(first[v], first[v + 1]):
            w = head[i]
            if done[w]:
                continue
            through = crest[i]
            through = max(through, reached)
            if through < level[w]:
                level[w] = through
                via[w] = edge[i]
                push(waiting, (through, steps + 1, w))
    return level, via


def way_back(tail: IntArray, via: IntArray | list[int], end: int) -> list[int]:
    """Edges of the best way to a place, from its start.

    Parameters
    ----------
    tail : numpy.ndarray of int, shape (edges,)
        Tail of each edge in the order the network was built from.
    via : array or list of int, shape (nodes_count,)
        As `control_levels` or `search` gives it.
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
