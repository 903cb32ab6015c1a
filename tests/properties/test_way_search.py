"""The search for the water's way against slow plain searches written on their own."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from pipeline.core import settings_file
from pipeline.exposure.links import make_links
from pipeline.exposure.network import RUNS, assemble
from pipeline.exposure.search import _one_by_one, build, control_levels, settle, way_back
from pipeline.exposure.search_wide import wide
from pipeline.intake import intake
from pipeline.levels import levels
from pipeline.tables import Tables, hand_over

ROOT = Path(__file__).parents[2]
SEED = 20260302


def plain(count: int, edges: list[tuple[int, int, float]], start: int) -> list[float]:
    """Lowest highest crest by trying every edge again until nothing falls any more."""
    level = [math.inf] * count
    level[start] = -math.inf
    changed = True
    while changed:
        changed = False
        for a, b, crest in edges:
            through = max(level[a], crest)
            if level[a] < math.inf and through < level[b]:
                level[b] = through
                changed = True
    return level


def by_paths(count: int, edges: list[tuple[int, int, float]], start: int) -> list[float]:
    """The same by walking every simple path, for small networks."""
    best = [math.inf] * count

    def walk(place: int, highest: float, seen: frozenset[int]) -> None:
        best[place] = min(best[place], highest)
        for a, b, crest in edges:
            if a == place and b not in seen:
                walk(b, max(highest, crest), seen | {b})

    walk(start, -math.inf, frozenset({start}))
    return best


def random_network(rng: np.random.Generator) -> tuple[int, list[tuple[int, int, float]]]:
    """Up to 12 places with loops, parallel ducts, unknown ends (one-way, no obstacle) and ties."""
    count = int(rng.integers(2, 13))
    edges: list[tuple[int, int, float]] = []
    for _ in range(int(rng.integers(1, 3 * count))):
        a, b = (int(v) for v in rng.integers(0, count, 2))
        # whole decimetres: many crests tie exactly
        crest = float(rng.integers(190, 215)) / 10.0
        edges += [(a, b, crest), (b, a, crest)]
    for _ in range(int(rng.integers(0, 3))):  # an unknown far end: chambers -> behind -> place
        behind = count
        count += 1
        for chamber in rng.integers(0, behind, int(rng.integers(1, 4))):
            edges.append((int(chamber), behind, -math.inf))
        edges.append((behind, int(rng.integers(0, behind)), float(rng.integers(190, 215)) / 10.0))
    return count, edges


def test_search_equals_a_slow_plain_search_on_random_networks() -> None:
    """10,000 random networks: the same control level at every place, and a way that has it."""
    rng = np.random.default_rng(SEED)
    walked = 0
    for _ in range(10_000):
        count, edges = random_network(rng)
        tail = np.array([e[0] for e in edges], dtype=np.int64)
        head = np.array([e[1] for e in edges], dtype=np.int64)
        crest = np.array([e[2] for e in edges])
        network = build(count, tail, head)
        start = int(rng.integers(0, count))
        found, via = control_levels(network, crest, start)
        assert found.tolist() == plain(count, edges, start)
        if count <= 6 and len(edges) <= 16:
            walked += 1
            assert found.tolist() == by_paths(count, edges, start)
        for end in range(count):
            way = way_back(tail, via, end)
            if way:
                assert tail[way[0]] == start
                assert head[way[-1]] == end
                assert max(crest[e] for e in way) == found[end]
    assert walked > 100


def test_the_search_by_fronts_gives_the_same_levels_and_the_same_ways() -> None:
    """2,000 random networks, up to three places to begin from: equal to the last edge named."""
    rng = np.random.default_rng(SEED + 2)
    several = 0
    for _ in range(2_000):
        count, edges = random_network(rng)
        tail = np.array([e[0] for e in edges], dtype=np.int64)
        head = np.array([e[1] for e in edges], dtype=np.int64)
        crest = np.array([e[2] for e in edges])
        crest[rng.random(crest.size) < 0.05] = np.inf  # shut in this run
        network = build(count, tail, head)
        lowest = {
            int(place): float(rng.choice([-np.inf, 19.5, 20.1]))
            for place in rng.integers(0, count, int(rng.integers(1, 4)))
        }
        several += len(lowest) > 1
        sorted_m = crest[network.edge]
        level, via = _one_by_one(network, sorted_m.tolist(), lowest, -1)
        found = wide(network.first, network.head, sorted_m, lowest)
        assert found is not None
        assert found[0].tolist() == level
        at = found[1]
        assert np.where(at == -1, -1, network.edge[at]).tolist() == via
    assert several > 500


def test_a_long_thin_network_and_a_wide_one_are_both_found() -> None:
    """A chain of 10,000 ducts (too long for fronts) and a star of as many, against a plain pass."""
    count = 10_001
    rng = np.random.default_rng(SEED + 3)
    crest = rng.integers(1900, 2200, count - 1) / 100.0
    chain = build(count, np.arange(count - 1), np.arange(1, count))
    level, via = settle(chain, crest, [(0, -np.inf)])
    assert level[1:].tolist() == np.maximum.accumulate(crest).tolist()
    assert via[1:].tolist() == list(range(count - 1))
    star = build(count, np.zeros(count - 1, dtype=np.int64), np.arange(1, count))
    level, via = settle(star, crest, [(0, 20.0)])
    assert level[1:].tolist() == np.maximum(crest, 20.0).tolist()
    assert via[1:].tolist() == list(range(count - 1))


def test_a_place_that_is_kept_out_is_never_passed() -> None:
    """Keeping a building out equals a plain search on the network without it."""
    rng = np.random.default_rng(SEED + 1)
    for _ in range(300):
        count, edges = random_network(rng)
        out = int(rng.integers(0, count))
        start = int(rng.integers(0, count))
        left = [e for e in edges if out not in e[:2]]
        network = build(
            count,
            np.array([e[0] for e in edges], dtype=np.int64),
            np.array([e[1] for e in edges], dtype=np.int64),
        )
        found, _ = control_levels(network, np.array([e[2] for e in edges]), start, without=out)
        expected = plain(count, left, start)
        if start == out:
            expected = [math.inf] * count
        assert found.tolist() == expected


@pytest.fixture(scope="module")
def example() -> tuple[Tables, object]:
    """Survey and levels of the whole example."""
    settings = settings_file.load(ROOT / "configs" / "example.toml")
    tables = hand_over("intake", intake(settings))
    new = hand_over("levels", levels(tables, settings))
    tables.update({k: v for k, v in new.items() if k != "findings"})
    return tables, settings


def test_search_equals_a_slow_plain_search_on_the_whole_example(
    example: tuple[Tables, object],
) -> None:
    """Every chamber of the example as a start, in all four runs of the crests."""
    tables, settings = example
    works = assemble(tables, make_links(tables, settings), settings)  # type: ignore[arg-type]
    rng = np.random.default_rng(SEED)
    starts = rng.choice(len(works.nodes), 40, replace=False)
    for run in range(len(RUNS)):
        crest = works.crest_m[run]
        edges = [
            (int(a), int(b), float(c))
            for a, b, c in zip(works.tail, works.head, crest, strict=True)
        ]
        for start in starts:
            found, _ = control_levels(works.network, crest, int(start))
            assert found.tolist() == plain(len(works.nodes), edges, int(start))
