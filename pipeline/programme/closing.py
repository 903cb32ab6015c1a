"""The cheapest closing line: which seals keep protected places dry, at the least cost, and proof.

Pure: a network as arrays in, a line out. Static water of a source passes an edge when its level
is at or above the crest (equal is wet). A seal stands in one mouth at one place and closes every
edge that passes that mouth, in both directions; an edge may pass two mouths (both ends of a
duct), and either closes it.

References
----------
Ford, L. R., Fulkerson, D. R. (1956) Maximal flow through a network. Canadian Journal of
Mathematics 8, 399-404 (from memory): the least cut equals the largest flow.

"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order

from pipeline.core.units import down_mm, up_mm
from pipeline.programme.closing_cut import least_cut
from pipeline.programme.closing_exact import LIMITS, Limits, exact_line, line_in_sequence
from pipeline.programme.closing_parts import Layer, Part, split

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

NO_SEAL: Final = -1
MIN_CUT: Final = "least cut"
EXACT: Final = "mixed-integer"
SEQUENCE: Final = "cuts in sequence"
NOTHING: Final = "nothing to close"


@dataclass(frozen=True)
class WaterNet:
    """Directed edges and the seals that may close them.

    `crest_m`: -inf = no obstacle, +inf = never passed. `seal_tail`, `seal_head`: number of the
    seal in the edge's mouth at its tail and at its head, -1 = none. `cost_minor`: cost of each
    seal (minor units); what cannot be sealed has no seal. A seal stands at one place only.
    """

    nodes_count: int
    tail: IntArray
    head: IntArray
    crest_m: FloatArray
    seal_tail: IntArray
    seal_head: IntArray
    cost_minor: IntArray


@dataclass(frozen=True)
class Sources:
    """Places where water stands, and how high (m); +inf = not known, passes every crest."""

    node: IntArray
    level_m: FloatArray


@dataclass(frozen=True)
class Line:
    """A closing line: its seals (rising), cost, the proven bound, and what no seal closes.

    `open_edges`: edges into protected places that water gets to whatever is sealed; they are set
    aside, and the line closes all others. `open_nodes`: the protected places that they lead to,
    and those where water stands as it is.
    """

    seals: IntArray
    cost_minor: int
    bound_minor: int
    method: str
    open_edges: IntArray
    open_nodes: IntArray

    @property
    def gap_frac(self) -> float:
        """Proven gap between cost and bound over the cost; 0 = no line is cheaper."""
        return (self.cost_minor - self.bound_minor) / self.cost_minor if self.cost_minor else 0.0

    @property
    def is_possible(self) -> bool:
        """Whether the line closes every way."""
        return self.open_nodes.size == 0


def closing_line(
    net: WaterNet, sources: Sources, protected: IntArray, *, limits: Limits = LIMITS
) -> Line:
    """Find the cheapest seals that keep every protected place dry from every source.

    Parameters
    ----------
    net : WaterNet
    sources : Sources
    protected : numpy.ndarray of int
        Places to be kept dry, each at the level of every source.
    limits : Limits
        Up to how many seals, rounds and nodes the exact search goes.

    Returns
    -------
    Line

    Raises
    ------
    ValueError
        A level that is not a number, a cost below zero, a seal at two places.

    Notes
    -----
    Ties: of lines of one cost the one with the smallest sum of seal numbers (counted from 1), so
    the caller's order decides. What no seal can close is set aside and named, and the line of the
    rest is found; a line is a whole one only where `is_possible`. Water that passes a protected
    place on an open edge is not followed further. Static water only.

    """
    _check(net, sources)
    layers = layers_of(net, sources)
    goal = np.zeros(net.nodes_count, dtype=np.bool_)
    goal[protected] = True
    standing = np.unique(np.concatenate([_NONE, *(layer.starts for layer in layers)]))
    drowned = standing[goal[standing]]
    goal[drowned] = False
    open_edges = _open_edges(net, layers, goal)
    left = [Layer(np.setdiff1d(layer.edges, open_edges), layer.starts) for layer in layers]
    chosen, bound, methods = [_NONE], 0, set()
    for part in split(net, left, goal, [_wet_though_sealed(net, one, goal) for one in left]):
        seals, least, method = _solve(part, limits)
        chosen.append(seals)
        bound += least
        methods.add(method)
    seals = np.sort(np.concatenate(chosen))
    return Line(
        seals=seals,
        cost_minor=sum(int(c) for c in net.cost_minor[seals]),
        bound_minor=bound,
        method=next((m for m in (SEQUENCE, EXACT, MIN_CUT) if m in methods), NOTHING),
        open_edges=open_edges,
        open_nodes=np.union1d(drowned, net.head[open_edges]).astype(np.int64),
    )


_NONE: Final = np.array([], dtype=np.int64)


def layers_of(net: WaterNet, sources: Sources) -> list[Layer]:
    """The water of each level: the edges that it passes and the places where it stands.

    Parameters
    ----------
    net : WaterNet
    sources : Sources

    Returns
    -------
    list of Layer
        Highest water first; levels that pass the same edges are one.

    """
    crest_mm, level_mm = down_mm(net.crest_m), up_mm(sources.level_m)
    never = np.isposinf(net.crest_m)
    out: dict[bytes, tuple[IntArray, list[int]]] = {}
    for level in np.unique(level_mm)[::-1]:
        edges = np.flatnonzero((crest_mm <= level) & ~never).astype(np.int64)
        starts = sources.node[level_mm == level].tolist()
        out.setdefault(edges.tobytes(), (edges, []))[1].extend(starts)
    return [Layer(edges, np.unique(np.array(s, dtype=np.int64))) for edges, s in out.values()]


def is_dry(net: WaterNet, sources: Sources, protected: IntArray, seals: IntArray) -> bool:
    """Whether seals keep every protected place dry from every source."""
    sealed = np.zeros(net.cost_minor.size, dtype=np.bool_)
    sealed[seals] = True
    nowhere = np.zeros(net.nodes_count, dtype=np.bool_)
    return not any(
        _wet(net, layer, sealed, nowhere)[protected].any() for layer in layers_of(net, sources)
    )


def _check(net: WaterNet, sources: Sources) -> None:
    if np.isnan(sources.level_m).any() or np.isnan(net.crest_m).any():
        raise ValueError("a level that is not known is +inf for water and -inf for a crest")
    if (net.cost_minor < 0).any():
        raise ValueError("a seal may not cost less than nothing")
    mouths = np.concatenate(
        [np.stack([net.seal_tail, net.tail], axis=1), np.stack([net.seal_head, net.head], axis=1)]
    )
    mouths = np.unique(mouths[mouths[:, 0] != NO_SEAL], axis=0)
    if np.unique(mouths[:, 0]).size != mouths.shape[0]:
        raise ValueError("a seal stands in the mouth of one place only")


def _wet(net: WaterNet, layer: Layer, sealed: BoolArray, stop: BoolArray) -> BoolArray:
    """Places that the water of a layer gets to; places in `stop` are not passed."""
    shut = np.append(sealed, False)  # number -1 (no seal) reads the last
    e = layer.edges
    e = e[~shut[net.seal_tail[e]] & ~shut[net.seal_head[e]] & ~stop[net.tail[e]]]
    begin = net.nodes_count
    tail = np.concatenate([net.tail[e], np.full(layer.starts.size, begin, dtype=np.int64)])
    head = np.concatenate([net.head[e], layer.starts])
    graph = csr_array((np.ones(tail.size), (tail, head)), shape=(begin + 1, begin + 1))
    found = breadth_first_order(graph, begin, directed=True, return_predecessors=False)
    out = np.zeros(begin + 1, dtype=np.bool_)
    out[found] = True
    return out[:begin]


def _wet_though_sealed(net: WaterNet, layer: Layer, goal: BoolArray) -> BoolArray:
    """Places that no seal keeps dry; protected ones are not passed."""
    return _wet(net, layer, np.ones(net.cost_minor.size, dtype=np.bool_), goal)


def _open_edges(net: WaterNet, layers: list[Layer], goal: BoolArray) -> IntArray:
    """Edges without a seal from places that no seal keeps dry into protected places."""
    bare = (net.seal_tail == NO_SEAL) & (net.seal_head == NO_SEAL) & goal[net.head]
    bare &= ~goal[net.tail]
    found = [
        e[bare[e] & _wet_though_sealed(net, layer, goal)[net.tail[e]]]
        for layer in layers
        for e in (layer.edges,)
    ]
    return np.unique(np.concatenate([_NONE, *found]))


def _solve(part: Part, limits: Limits) -> tuple[IntArray, int, str]:
    """Seals of one part, the bound of its cost, and how it was found."""
    if len(part.layers) == 1:
        cut = least_cut(part, part.layers[0], part.cost_minor)
        return part.seals[cut.chosen], cut.cost_minor, MIN_CUT
    found, bound = exact_line(part, limits)
    if found is not None and part.cost_of(found) <= bound:
        return part.seals[found], part.cost_of(found), EXACT
    other, least = line_in_sequence(part)
    bound = max(bound, least)
    if found is not None and part.cost_of(found) <= part.cost_of(other):
        return part.seals[found], min(bound, part.cost_of(found)), EXACT
    return part.seals[other], min(bound, part.cost_of(other)), SEQUENCE


def edges_left(net: WaterNet, sources: Sources, line: Line) -> IntArray:
    """Edges on ways that no seal of the network closes, up to the edges set aside.

    Parameters
    ----------
    net : WaterNet
    sources : Sources
    line : Line
        As `closing_line` gives it for this network.

    Returns
    -------
    numpy.ndarray of int
        Numbers of edges, rising: a seal that is not in the network yet could close such a way here.

    """
    bare = (net.seal_tail == NO_SEAL) & (net.seal_head == NO_SEAL)
    goal = np.zeros(net.nodes_count, dtype=np.bool_)
    goal[line.open_nodes] = True
    found = [_NONE]
    for layer in layers_of(net, sources):
        wet = _wet_though_sealed(net, layer, goal)
        e = layer.edges[bare[layer.edges] & wet[net.tail[layer.edges]]]
        ends = np.intersect1d(e, line.open_edges)
        back = WaterNet(net.nodes_count, net.head, net.tail, net.crest_m, net.seal_head,
                        net.seal_tail, net.cost_minor)  # fmt: skip
        nowhere = np.zeros(net.nodes_count, dtype=np.bool_)
        before = _wet_though_sealed(back, Layer(e, np.unique(net.tail[ends])), nowhere)
        found += [ends, e[before[net.head[e]]]]
    return np.unique(np.concatenate(found))
