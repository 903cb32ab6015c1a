"""The least cut of one part at one water level, by the largest flow."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from pipeline.programme.closing_parts import SINK, SOURCE, Part

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

# scipy's flow works in 32-bit whole numbers and wraps larger ones without a word
LARGEST: Final = 2**31 - 1


@dataclass(frozen=True)
class Cut:
    """Seals of a least cut (numbers of the part, rising) and their cost, which no cut is below."""

    chosen: IntArray
    cost_minor: int


@dataclass(frozen=True)
class _Gates:
    """A network with a gate for each mouth: arcs, and the seal of each (-1 = cannot be cut)."""

    count: int
    tail: IntArray
    head: IntArray
    seal: IntArray


def least_cut(part: Part, rows: IntArray, cost_minor: Sequence[int]) -> Cut:
    """Cheapest seals that part the source from what is protected.

    Parameters
    ----------
    part : Part
    rows : numpy.ndarray of int, shape (edges, 4)
        Edges that the water passes: tail, head, seal at the tail, seal at the head.
    cost_minor : sequence of int
        Cost of each seal of the part (minor units).

    Returns
    -------
    Cut
        Of equal costs the smallest sum of seal numbers.

    Notes
    -----
    Every mouth becomes a gate between its place and its duct, so that one seal is one arc of the
    cut: water is either in the place or in the duct. Costs that together pass 32 bits take a
    plain search in whole numbers without end, since no library here does.

    References
    ----------
    Picard, J.-C., Queyranne, M. (1980) On the structure of all minimum cuts in a network.
    Mathematical Programming Study 13, 8-16 (from memory): the least cuts are the closed sets of
    the network that the flow leaves, so a second flow there settles ties.

    """
    gates = _gates(part, rows)
    cost = np.array(cost_minor, dtype=np.int64)
    endless = sum(cost_minor) + 1
    capacity = np.where(gates.seal >= 0, cost[gates.seal], endless)
    value, left = largest_flow((gates.tail, gates.head, capacity), gates.count, endless)
    behind = _behind(_among_least(gates, left, part.seals.size))
    is_cut = ~behind[gates.tail] & behind[gates.head]
    return Cut(np.unique(gates.seal[is_cut]), value)


def _gates(part: Part, rows: IntArray) -> _Gates:
    n, k = part.nodes_count, part.seals.size
    tail, head, at_tail, at_head = rows.T
    out = np.where(at_tail >= 0, n + at_tail, tail)
    into = np.where(at_head >= 0, n + k + at_head, head)
    ducts = np.unique(np.stack([out, into, np.full(len(rows), -1)], axis=1), axis=0)
    leave = np.stack([tail, out, at_tail], axis=1)[at_tail >= 0]
    enter = np.stack([into, head, at_head], axis=1)[at_head >= 0]
    arcs = np.concatenate([ducts, np.unique(np.concatenate([leave, enter]), axis=0)])
    return _Gates(n + 2 * k, arcs[:, 0], arcs[:, 1], arcs[:, 2])


def largest_flow(
    arcs: tuple[IntArray, IntArray, IntArray], count: int, endless: int
) -> tuple[int, csr_array]:
    """Largest flow from place 0 to place 1, and what it leaves of the capacities.

    Parameters
    ----------
    arcs : three numpy.ndarray of int, shape (arcs,)
        Tail, head and capacity; each arc once.
    count : int
        Number of places.
    endless : int
        Capacity of arcs that cannot be cut: more than all others together.

    Returns
    -------
    value : int
    left : scipy.sparse.csr_array of int64
        Residual capacities, those of the way back among them; zeros are left out.

    """
    tail, head, capacity = arcs
    # what is left of an arc is at most its capacity and all that flows back
    if 2 * endless > LARGEST:
        return _plain_flow(tail, head, capacity, count)
    graph = csr_array(
        coo_array((capacity.astype(np.int32), (tail, head)), shape=(count, count)), dtype=np.int32
    )
    done = maximum_flow(graph, SOURCE, SINK)
    left = csr_array(graph.astype(np.int64) - done.flow.astype(np.int64))
    left.eliminate_zeros()
    return int(done.flow_value), left


def _plain_flow(
    tail: IntArray, head: IntArray, capacity: IntArray, count: int
) -> tuple[int, csr_array]:
    """The same by shortest ways with room left (Edmonds, Karp 1972, from memory)."""
    left: list[dict[int, int]] = [{} for _ in range(count)]
    for a, b, c in zip(tail.tolist(), head.tolist(), capacity.tolist(), strict=True):
        left[a][b] = left[a].get(b, 0) + c
    value = 0
    while way := _way_with_room(left):
        room = min(left[a][b] for a, b in way)
        for a, b in way:
            left[a][b] -= room
            left[b][a] = left[b].get(a, 0) + room
        value += room
    arcs = [(a, b, c) for a, out in enumerate(left) for b, c in out.items() if c > 0]
    a, b, c = (
        (np.array(v, dtype=np.int64) for v in zip(*arcs, strict=True)) if arcs else [_NONE] * 3
    )
    return value, csr_array((c, (a, b)), shape=(count, count))


_NONE: Final = np.array([], dtype=np.int64)


def _way_with_room(left: list[dict[int, int]]) -> list[tuple[int, int]]:
    came: dict[int, int] = {SOURCE: SOURCE}
    waiting = deque([SOURCE])
    while waiting and SINK not in came:
        a = waiting.popleft()
        for b, room in left[a].items():
            if room > 0 and b not in came:
                came[b] = a
                waiting.append(b)
    way: list[tuple[int, int]] = []
    place = SINK
    while place != SOURCE and place in came:
        way.append((came[place], place))
        place = came[place]
    return way


def _behind(left: csr_array) -> BoolArray:
    """Places from which something may still flow on to what is protected."""
    back = csr_array((left > 0).T)
    out = np.zeros(left.shape[0], dtype=np.bool_)
    out[breadth_first_order(back, SINK, directed=True, return_predecessors=False)] = True
    return out


def _among_least(gates: _Gates, left: csr_array, seals_count: int) -> csr_array:
    """What a second flow leaves: among the least cuts the one of the smallest sum of numbers."""
    open_arcs = coo_array(left)
    numbers = gates.seal >= 0
    numbers &= np.asarray(left[gates.tail, gates.head]).ravel() == 0
    endless = seals_count * (seals_count + 1) + 1
    tail = np.concatenate([open_arcs.row, gates.tail[numbers]]).astype(np.int64)
    head = np.concatenate([open_arcs.col, gates.head[numbers]]).astype(np.int64)
    capacity = np.concatenate(
        [np.full(open_arcs.row.size, endless, dtype=np.int64), gates.seal[numbers] + 1]
    )
    return largest_flow((tail, head, capacity), gates.count, endless)[1]
