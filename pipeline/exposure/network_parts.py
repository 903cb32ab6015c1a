"""The network in its connected parts: a search never has to look at more than its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from pipeline.exposure.network import Waterworks
from pipeline.exposure.search import Network, build

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Part:
    """One connected part of a network, with places and edges numbered anew.

    Parameters
    ----------
    nodes, edges : numpy.ndarray of int
        Numbers in the whole network, by number in the part.
    head : numpy.ndarray of int, shape (edges,)
        Head of each edge, as a place of the part.
    back : Network
        The part with every edge turned round, to search from a mouth to where water may come from.
    crest_m : numpy.ndarray of float, shape (runs, edges)
        Crests in the order of `back` (m).

    """

    nodes: IntArray
    edges: IntArray
    head: IntArray
    back: Network
    crest_m: FloatArray


def parts(works: Waterworks) -> tuple[IntArray, list[Part]]:
    """Take a network apart.

    Parameters
    ----------
    works : Waterworks

    Returns
    -------
    of_node : numpy.ndarray of int, shape (places,)
        Part of each place.
    list of Part

    """
    count = len(works.nodes)
    graph = coo_matrix((np.ones(works.tail.size), (works.tail, works.head)), (count, count))
    parts_count, of_node = connected_components(graph, directed=True, connection="weak")
    of_node = of_node.astype(np.int64)
    nodes_of = _split(of_node, parts_count)
    edges_of = _split(of_node[works.tail], parts_count)
    place_in = np.zeros(count, dtype=np.int64)
    for nodes in nodes_of:
        place_in[nodes] = np.arange(nodes.size)
    found = []
    for nodes, edges in zip(nodes_of, edges_of, strict=True):
        head = place_in[works.head[edges]]
        back = build(nodes.size, head, place_in[works.tail[edges]])
        found.append(Part(nodes, edges, head, back, works.crest_m[:, edges[back.edge]]))
    return of_node, found


def _split(part_of: IntArray, parts_count: int) -> list[IntArray]:
    """Numbers that belong to each part, in rising order."""
    order = np.argsort(part_of, kind="stable")
    ends = np.cumsum(np.bincount(part_of, minlength=parts_count))[:-1]
    return [piece.astype(np.int64) for piece in np.split(order, ends)]
