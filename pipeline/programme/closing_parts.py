"""Parts of a closing line that have nothing to do with each other, each as a small network.

A place that no seal keeps dry is as good as the source itself, and a protected place ends every
way: both cut the network into parts, which are often a single mouth.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

SOURCE: Final = 0
SINK: Final = 1
_FIRST: Final = 2


class Net(Protocol):
    """What is needed of the network."""

    @property
    def nodes_count(self) -> int:
        """Number of places."""

    @property
    def tail(self) -> IntArray:
        """Tail of each edge."""

    @property
    def head(self) -> IntArray:
        """Head of each edge."""

    @property
    def seal_tail(self) -> IntArray:
        """Seal in the mouth at the tail, -1 = none."""

    @property
    def seal_head(self) -> IntArray:
        """Seal in the mouth at the head, -1 = none."""

    @property
    def cost_minor(self) -> IntArray:
        """Cost of each seal."""


@dataclass(frozen=True)
class Layer:
    """Water of one level: numbers of the edges that it passes, and places where it stands."""

    edges: IntArray
    starts: IntArray


@dataclass(frozen=True)
class Part:
    """A network of its own: place 0 is the source, place 1 what is protected.

    `seals` are numbers in the whole network, rising; `layers` are rows (tail, head, seal at the
    tail, seal at the head) in numbers of this part, each row once and sorted.
    """

    nodes_count: int
    seals: IntArray
    cost_minor: tuple[int, ...]
    layers: tuple[IntArray, ...]

    def cost_of(self, chosen: Sequence[int] | IntArray) -> int:
        """Cost of some seals of the part (minor units)."""
        return sum(self.cost_minor[int(i)] for i in chosen)


def split(
    net: Net, layers: Sequence[Layer], goal: BoolArray, wet: Sequence[BoolArray]
) -> Iterator[Part]:
    """Split a network into parts that share no seal and no way.

    Parameters
    ----------
    net : Net
    layers : sequence of Layer
    goal : numpy.ndarray of bool, shape (nodes_count,)
        Protected places.
    wet : sequence of numpy.ndarray of bool
        For each layer, the places that no seal keeps dry.

    Yields
    ------
    Part
        In the order of their lowest seal.

    """
    rows = [_rows(net, *one) for one in zip(layers, [goal] * len(layers), wet, strict=True)]
    count, seals_count = net.nodes_count + _FIRST, net.cost_minor.size
    label = _labels(rows, count, seals_count)
    found: dict[int, list[IntArray]] = {}
    for at, layer in enumerate(rows):
        parts = np.array([label[_element(row, at, count, seals_count)] for row in layer])
        for name in np.unique(parts):
            found.setdefault(int(name), []).append(layer[parts == name])
    made = [_part(net, layers_of_part) for layers_of_part in found.values()]
    yield from sorted(made, key=lambda part: int(part.seals[0]))


def _rows(net: Net, layer: Layer, goal: BoolArray, wet: BoolArray) -> IntArray:
    """Edges on ways from wet places to protected ones, with both kinds of place drawn together."""
    e = layer.edges
    e = e[~goal[net.tail[e]] & ~wet[net.head[e]]]
    name = np.arange(net.nodes_count, dtype=np.int64) + _FIRST
    name[wet] = SOURCE
    name[goal] = SINK
    tail, head = name[net.tail[e]], name[net.head[e]]
    count = net.nodes_count + _FIRST
    on = _reached(tail, head, SOURCE, count)[tail] & _reached(head, tail, SINK, count)[head]
    rows = np.stack([tail, head, net.seal_tail[e], net.seal_head[e]], axis=1)[on]
    return np.unique(rows[rows[:, 0] != rows[:, 1]], axis=0).astype(np.int64)


def _reached(tail: IntArray, head: IntArray, start: int, count: int) -> BoolArray:
    graph = csr_array((np.ones(tail.size), (tail, head)), shape=(count, count))
    out = np.zeros(count, dtype=np.bool_)
    out[breadth_first_order(graph, start, directed=True, return_predecessors=False)] = True
    return out


def _element(row: IntArray, at: int, count: int, seals_count: int) -> int:
    """A seal or an inner place of an edge, as a number over all layers."""
    tail, head, seal_tail, seal_head = (int(v) for v in row)
    if seal_tail >= 0 or seal_head >= 0:
        return seal_tail if seal_tail >= 0 else seal_head
    return seals_count + at * count + (tail if tail >= _FIRST else head)


def _labels(rows: Sequence[IntArray], count: int, seals_count: int) -> IntArray:
    """Which seals and inner places hang together, over all layers."""
    a: list[int] = []
    b: list[int] = []
    for at, layer in enumerate(rows):
        for row in layer:
            first = _element(row, at, count, seals_count)
            others = [seals_count + at * count + int(v) for v in row[:2] if v >= _FIRST]
            others += [int(v) for v in row[2:] if v >= 0]
            a += [first] * len(others)
            b += others
    size = seals_count + len(rows) * count
    graph = csr_array((np.ones(len(a)), (a, b)), shape=(size, size))
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.int64)


def _part(net: Net, layers: Sequence[IntArray]) -> Part:
    every = np.concatenate(layers)
    seals = np.unique(every[:, 2:])
    seals = seals[seals >= 0]
    places = np.unique(every[:, :2])
    places = np.concatenate([[SOURCE, SINK], places[places >= _FIRST]])
    made = []
    for layer in layers:
        own = layer.copy()
        own[:, :2] = np.searchsorted(places, layer[:, :2])
        own[:, 2:] = np.where(layer[:, 2:] >= 0, np.searchsorted(seals, layer[:, 2:]), -1)
        made.append(own)
    return Part(
        nodes_count=places.size,
        seals=seals,
        cost_minor=tuple(int(c) for c in net.cost_minor[seals]),
        layers=tuple(_largest(made)),
    )


def _largest(layers: Sequence[IntArray]) -> list[IntArray]:
    """Layers without those whose every edge stands in another: its ways are closed with it."""
    sets = [{tuple(row) for row in layer.tolist()} for layer in layers]
    return [
        layers[i]
        for i, own in enumerate(sets)
        if not any(own < other or (own == other and j < i) for j, other in enumerate(sets))
    ]
