"""Prints how the search for the water's way scales, against networkx in the same run.

Run: python tests/benchmarks/bench_way.py [ducts ...]   (default 10000 100000 1000000)

The task: control levels from one source to every place of one connected network. networkx has no
bottleneck search of its own; a minimum spanning tree has the same bottlenecks (undirected ducts),
so that is what it is timed on, building included on both sides.
"""

from __future__ import annotations

import math
import sys
import time

import networkx as nx
import numpy as np

from pipeline.exposure.search import build, control_levels

SEED = 7


def main(sizes: list[int]) -> None:
    """Time each size and print ratios and the growth exponent."""
    ours: list[float] = []
    for ducts in sizes:
        rng = np.random.default_rng(SEED)
        places = max(2, ducts // 2)
        a = np.concatenate([np.arange(1, places), rng.integers(0, places, ducts - places + 1)])
        b = np.concatenate(
            [rng.integers(0, np.arange(1, places)), rng.integers(0, places, ducts - places + 1)]
        )
        crest = rng.integers(1900, 2200, a.size) / 100.0
        begun = time.perf_counter()
        network = build(places, np.concatenate([a, b]), np.concatenate([b, a]))
        found, _ = control_levels(network, np.concatenate([crest, crest]), 0)
        mine = time.perf_counter() - begun
        begun = time.perf_counter()
        graph = nx.Graph()
        for x, y, c in zip(a.tolist(), b.tolist(), crest.tolist(), strict=True):
            if not graph.has_edge(x, y) or graph[x][y]["weight"] > c:
                graph.add_edge(x, y, weight=c)
        tree = nx.minimum_spanning_tree(graph)
        level = {0: -math.inf}
        for x, y in nx.bfs_edges(tree, 0):
            level[y] = max(level[x], tree[x][y]["weight"])
        theirs = time.perf_counter() - begun
        same = all(found[p] == level[p] for p in level)
        ours.append(mine)
        print(f"{ducts:>9,} ducts: {mine:8.3f} s, networkx {theirs:8.3f} s, "
              f"ratio {theirs / mine:5.1f}, same levels: {same}")  # fmt: skip
    if len(sizes) > 1:
        growth = math.log(ours[-1] / ours[0]) / math.log(sizes[-1] / sizes[0])
        print(f"growth exponent {growth:.2f}")


if __name__ == "__main__":
    main([int(v) for v in sys.argv[1:]] or [10_000, 100_000, 1_000_000])
