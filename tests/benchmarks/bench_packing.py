"""Prints how full the packings are and how fast they are made, against two plainer ways.

Run: python tests/benchmarks/bench_packing.py [step] [rounds]
     (default 1: all 512 bores, 8: every eighth; 1000 rounds: the long run, half an hour)

First empty round bores of 2 to 7.1 circle diameters and the best known ratios of n = 2 ... 38
(`tests/reference/circles_in_circle.csv`), by shifted hexagonal lattices, by greedy corners alone,
with standard and with thorough pushes. Then 300 bores with three cables, against a long run that
never gives up: sleeves of 20 mm alone, and the first size of the catalogue that finds a place.
"""

from __future__ import annotations

import csv
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from pipeline.design import pushing
from pipeline.design.cables import body, settle
from pipeline.design.geometry import Array, Opening
from pipeline.design.packing import fill
from pipeline.design.pushing import Effort

TABLE = Path(__file__).parents[1] / "reference" / "circles_in_circle.csv"
RADIUS_MM = 10.0
CABLES = 300
SEED = 11
EFFORTS: tuple[Effort, ...] = ("greedy", "standard", "thorough")
LARGE_MM = (40.0, 30.0, 20.0)  # large sleeves of the example catalogue, larger first
NONE, EMPTY = np.empty(0), np.empty((0, 2))


def lattice(outer_mm: float) -> int:
    """Circles of the best of 64 shifts of a hexagonal lattice that lie in a round bore."""
    return lattice_beside(Opening(outer_mm, outer_mm, outer_mm), EMPTY, NONE)


def lattice_beside(hole: Opening, xy: Array, radii: Array) -> int:
    """The same, beside circles that lie there."""
    outer_mm = hole.half_x_mm
    side = np.array([2.0, 2.0 * np.sqrt(3.0)]) * RADIUS_MM
    n = int(outer_mm / RADIUS_MM) + 2
    i, j = np.meshgrid(np.arange(-n, n + 1), np.arange(-n, n + 1))
    base = np.column_stack([i.ravel(), j.ravel()]) * side
    every = np.vstack([base, base + side / 2.0])
    u, v = np.meshgrid(np.arange(8) / 8.0, np.arange(8) / 8.0)
    shifts = np.column_stack([u.ravel(), v.ravel()]) * side
    at = every[None] + shifts[:, None]
    is_free = np.linalg.norm(at, axis=-1) <= outer_mm - RADIUS_MM + 1e-9
    for centre, radius in zip(xy, radii, strict=True):
        is_free &= np.linalg.norm(at - centre, axis=-1) >= RADIUS_MM + radius - 1e-9
    return int(is_free.sum(axis=1).max())


def pushed(effort: Effort) -> Callable[[float], int]:
    """Counts of an empty round bore with one effort."""

    def count(outer_mm: float) -> int:
        hole = Opening(outer_mm, outer_mm, outer_mm)
        return len(fill(hole, EMPTY, NONE, RADIUS_MM, effort=effort))

    return count


def empty_bores(name: str, ratios: Array, table: Array, count: Callable[[float], int]) -> None:
    """Print the share of the best known counts and bores a second."""
    best = np.array([(table <= r + 1e-12).sum() for r in ratios])
    begun = time.perf_counter()
    found = np.array([count(float(r) * RADIUS_MM) for r in ratios])
    took = time.perf_counter() - begun
    print(f"  {name:9}: {100 * np.mean(found / best):6.2f} % of the best count, "
          f"{(found == best).sum():4d} of {len(best)} exact, {(found > best).sum()} above, "
          f"{len(best) / took:7.1f} a second", flush=True)  # fmt: skip


def large(hole: Opening, xy: Array, sizes: Array, effort: Effort) -> int:
    """Sleeves of the largest size of the catalogue that finds a place."""
    for outer in LARGE_MM:
        if count := len(fill(hole, xy, sizes, outer / 2.0, effort=effort)):
            return count
    return 0


def with_cables(rounds: int) -> None:
    """Print sleeves and time of each effort on random bores with three cables."""
    rng = np.random.default_rng(SEED)
    cases: list[tuple[Opening, Array, Array]] = []
    while len(cases) < CABLES:
        outer = float(rng.choice([90.0, 103.0, 118.0, 138.0])) / 2.0
        sizes = rng.choice([14.0, 22.0, 28.5, 36.0], 3) / 2.0
        hole = Opening(outer, outer, outer)
        xy = settle(hole, [body("single", [i], [r]) for i, r in enumerate(sizes)], spread_mm=5.0)
        if xy is not None:
            cases.append((hole, xy, sizes))
    hexagonal = sum(lattice_beside(*case) for case in cases)
    print(f"  lattice  : {hexagonal} sleeves")
    efforts: tuple[Effort, ...] = ("greedy", "quick", "standard", "thorough")
    alone: dict[str, tuple[int, float]] = {}
    for effort in efforts:
        if effort == "thorough":  # far longer than the setting of that name
            pushing._ROUNDS_BESIDE["thorough"] = rounds
        begun = time.perf_counter()
        found = sum(len(fill(*case, RADIUS_MM, effort=effort)) for case in cases)
        took = time.perf_counter() - begun
        alone[effort] = found, took
        name = "long run" if effort == "thorough" else effort
        print(f"  {name:9}: {found} sleeves, {len(cases) / took:.1f} a second", flush=True)
    (short, short_s), (long, long_s) = alone["standard"], alone["thorough"]
    print(f"  standard has {100 * short / long:.2f} % of a {long_s / short_s:.0f}x longer run")
    pushing._ROUNDS_BESIDE["thorough"] = max(rounds // 10, 1)  # few and large: soon settled
    first = [sum(large(*case, e) for case in cases) for e in ("standard", "thorough")]
    print(f"  largest size that finds a place: {first[0]} of {first[1]} sleeves of the long run, "
          f"{100 * first[0] / first[1]:.2f} %")  # fmt: skip


def main(step: int, rounds: int) -> None:
    """Print all three comparisons."""
    with TABLE.open(encoding="utf-8") as file:
        table = np.array([float(r["ratio_R_over_r"]) for r in csv.DictReader(file)])
    for title, ratios in (
        ("empty bores", np.linspace(2.0, 7.1, 512)[::step]),
        ("exact touch, n = 2 ... 38", table[1:38] * (1.0 + 1e-9)),
    ):
        print(title)
        empty_bores("lattice", ratios, table, lattice)
        for effort in EFFORTS:
            empty_bores(effort, ratios, table, pushed(effort))
    print(f"{CABLES} bores with three cables, {2 * RADIUS_MM:g} mm sleeves")
    with_cables(rounds)


if __name__ == "__main__":
    given = [int(a) for a in sys.argv[1:3]]
    main(*given, *(1, 1000)[len(given) :])
