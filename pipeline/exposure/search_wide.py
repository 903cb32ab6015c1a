"""The search for the water's way over a very large network, whole fronts of places at a time.

The same levels and the same ways as `search.search`, by array operations: places are improved in
bands of rising crest, each band until nothing in it falls any more, so that few are touched twice.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

BANDS: Final = 32
_SAMPLE: Final = 20_000
# A long thin network (one duct after the other) has as many fronts as places; array operations
# on fronts of one place are slower than plain Python, so the caller takes the plain search then.
FRONTS: Final = 4_000


def wide(
    first: IntArray, head: IntArray, crest_m: FloatArray, lowest: dict[int, float]
) -> tuple[FloatArray, IntArray] | None:
    """Lowest highest crest from some places to every other, and the ways.

    Parameters
    ----------
    first, head : numpy.ndarray of int
        As in `search.Network`.
    crest_m : numpy.ndarray of float, shape (edges,)
        Crest of each edge in the network's own order (m; -inf = no obstacle).
    lowest : dict of int to float
        Where water is let in, and the lowest level that lets it in there (m).

    Returns
    -------
    level_m : numpy.ndarray of float, shape (places,)
        Control levels (m).
    at : numpy.ndarray of int, shape (places,)
        Position in the network's own order of the edge by which the best way arrives.
    None
        Instead of both, where the network is too long and thin for this way of working.

    References
    ----------
    Meyer, U. and Sanders, P. (2003) Delta-stepping. Journal of Algorithms 49(1), 114-152 (from
    memory): bands of labels in place of a queue; here with the highest crest in place of a sum.

    """
    places = np.fromiter(lowest, dtype=np.int64, count=len(lowest))
    begin_m = np.fromiter(lowest.values(), dtype=np.float64, count=len(lowest))
    level_m = _levels(first, head, crest_m, places, begin_m)
    if level_m is None:
        return None
    roots = places[level_m[places] == begin_m]
    return level_m, _ways(first, head, crest_m, level_m, roots)


def _levels(
    first: IntArray, head: IntArray, crest_m: FloatArray, places: IntArray, begin_m: FloatArray
) -> FloatArray | None:
    level = np.full(first.size - 1, np.inf)
    level[places] = begin_m
    waiting = np.zeros(level.size, dtype=np.bool_)
    waiting[places] = True
    fronts = 0
    for top in _bands(crest_m):
        front = np.flatnonzero(waiting)
        front = front[level[front] <= top]
        waiting[front] = False
        while front.size:
            fronts += 1
            if fronts > FRONTS:
                return None
            where, at = _leaving(first, front)
            through = np.maximum(level[front][where], crest_m[at])
            heads = head[at]
            better = through < level[heads]
            heads = heads[better]
            np.minimum.at(level, heads, through[better])
            waiting[heads] = True
            front = _once(heads[level[heads] <= top], level.size)
            waiting[front] = False
    return level


def _ways(
    first: IntArray, head: IntArray, crest_m: FloatArray, level_m: FloatArray, roots: IntArray
) -> IntArray:
    """Edge by which the best way arrives at each place: fewest steps, then the lowest crest."""
    via = np.full(level_m.size, -1, dtype=np.int64)
    is_new = level_m < np.inf
    is_new[roots] = False
    front = np.sort(roots)
    while front.size:
        where, at = _leaving(first, front)
        heads = head[at]
        best = is_new[heads] & (np.maximum(level_m[front][where], crest_m[at]) == level_m[heads])
        heads, at = heads[best], at[best]
        # written from the last choice to the first: what is written last stays
        down = np.lexsort((at, crest_m[at]))[::-1]
        via[heads[down]] = at[down]
        is_new[heads] = False
        front = _once(heads, level_m.size)
    return via


def _bands(crest_m: FloatArray) -> FloatArray:
    """Upper ends of the bands of crests; the last takes all (m)."""
    known = crest_m[np.isfinite(crest_m)]
    if not known.size:
        return np.array([np.inf])
    sample = known[:: max(1, known.size // _SAMPLE)]
    ends = np.quantile(sample, np.arange(1, BANDS) / BANDS)
    return np.concatenate([[-np.inf], np.unique(ends), [np.inf]])


def _leaving(first: IntArray, front: IntArray) -> tuple[IntArray, IntArray]:
    """Edges that leave the places of a front: whose edge each is, and where it stands."""
    count = first[front + 1] - first[front]
    where = np.repeat(np.arange(front.size), count)
    begin = first[front] - (np.cumsum(count) - count)
    return where, begin[where] + np.arange(where.size)


def _once(places: IntArray, nodes_count: int) -> IntArray:
    """Each place once, in rising order."""
    if places.size < nodes_count // 256:
        return np.unique(places)
    mark = np.zeros(nodes_count, dtype=np.bool_)
    mark[places] = True
    return np.flatnonzero(mark)
