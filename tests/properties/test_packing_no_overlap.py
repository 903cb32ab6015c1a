"""Packed circles never overlap, and never fewer than a plain lattice would give.

The checker is shapely (GEOS), not our own geometry.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
import pytest
import shapely

from pipeline.design.cables import Body, body, settle
from pipeline.design.geometry import Array, Opening, opening
from pipeline.design.packing import fill
from pipeline.design.pushing import Effort

ENDS = 100
SEED = 20300601


def _bodies(rng: np.random.Generator, hole: Opening) -> tuple[list[Body], Array]:
    """Up to eight cables below 45 % of the opening, singly, in trefoil and in flat rows."""
    bodies: list[Body] = []
    outer: list[float] = []
    while len(outer) < 8:
        size = float(rng.choice([8.0, 14.0, 22.0, 28.5, 33.0, 36.0, 45.0]))
        kind = str(rng.choice(["single", "single", "trefoil", "flat touching"]))
        count = 1 if kind == "single" else 3 if kind == "trefoil" else 2
        if (sum(d * d for d in outer) + count * size * size) * np.pi / 4 > 0.45 * hole.area_mm2:
            break
        members = list(range(len(outer), len(outer) + count))
        bodies.append(body(kind, members, [size / 2.0] * count))
        outer += [size] * count
    return bodies, np.array(outer)


@cache
def _cases() -> list[tuple[Opening, Array, Array, Array, float]]:
    return list(_made(ENDS, "standard", SEED))


def _made(
    ends_count: int, effort: Effort, seed: int
) -> Iterator[tuple[Opening, Array, Array, Array, float]]:
    rng = np.random.default_rng(seed)
    made = 0
    while made < ends_count:
        shape = str(rng.choice(["round", "round", "round", "square", "rectangular", "oval"]))
        first = float(rng.choice([52.0, 90.0, 103.0, 118.0, 125.5, 138.0, 144.0]))
        second = first if shape == "square" else first * float(rng.choice([0.6, 0.8, 1.3]))
        hole = opening(shape, first, second)
        bodies, outer = _bodies(rng, hole)
        xy = settle(hole, bodies, spread_mm=float(rng.choice([0.0, 6.0])))
        if xy is None:
            continue
        radius = float(rng.choice([5.0, 7.5, 10.0, 15.0, 20.0]))
        made += 1
        added = fill(hole, xy, outer / 2.0, radius, effort=effort)
        yield hole, xy, outer / 2.0, added, radius


def _polygon(hole: Opening) -> Any:
    """The opening by shapely alone: a buffered box; arcs outside the true arc by < 1e-6 mm."""
    cx, cy = hole.half_x_mm - hole.corner_mm, hole.half_y_mm - hole.corner_mm
    core = shapely.MultiPoint([(-cx, -cy), (cx, cy), (-cx, cy), (cx, -cy)]).envelope
    return core.buffer(hole.corner_mm * (1.0 + 1e-7), quad_segs=4_000) if hole.corner_mm else core


def test_no_overlap() -> None:
    """No circle of 100 random ends lies over another or over the wall by more than 1e-6 mm."""
    for case in _cases():
        _check(*case)


@pytest.mark.slow
def test_no_overlap_in_ten_thousand() -> None:
    """The same on 10,000 ends with the short search (long ones: the 100 and their own test)."""
    for case in _made(10_000, "quick", SEED + 1):
        _check(*case)


def _check(hole: Opening, xy: Array, radii: Array, added: Array, radius: float) -> None:
    """Distances by shapely, and the wall once more by our own measure."""
    points = shapely.points(np.vstack([xy, added]))
    every = np.concatenate([radii, np.full(len(added), radius)])
    if not every.size:  # an empty bore that no sleeve of this size fits
        return
    tree = shapely.STRtree(points)
    a, b = tree.query(points, predicate="dwithin", distance=2.0 * float(every.max()))
    a, b = a[a < b], b[a < b]
    apart = shapely.distance(points[a], points[b])
    assert np.all(apart >= every[a] + every[b] - 1e-6)
    outline = _polygon(hole)
    assert np.all(shapely.covers(outline, points))
    to_wall = shapely.distance(points, outline.exterior)
    assert np.all(to_wall >= every - 1e-5 - 1e-7 * hole.corner_mm)
    assert np.all(hole.inside_mm(np.vstack([xy, added])) >= every - 1e-6)


@pytest.mark.parametrize("is_standing", [False, True])
def test_never_below_the_best_lattice(is_standing: bool) -> None:
    """Never fewer circles than the best of 64 randomly shifted hexagonal lattices."""
    rng = np.random.default_rng(SEED + 1)
    for hole, xy, radii, added, radius in _cases():
        side = np.array([2.0 * radius, 2.0 * np.sqrt(3.0) * radius])
        n = int(max(hole.half_x_mm, hole.half_y_mm) / radius) + 2
        i, j = np.meshgrid(np.arange(-n, n + 1), np.arange(-n, n + 1))
        base = np.column_stack([i.ravel(), j.ravel()]) * side
        lattice = np.vstack([base, base + side / 2.0])
        shifts = rng.uniform(0.0, 1.0, (64, 2)) * side
        points = (lattice[None] + shifts[:, None]).reshape(-1, 2)
        points = points[:, ::-1] if is_standing else points
        which = np.repeat(np.arange(64), len(lattice))
        ok = hole.inside_mm(points) >= radius
        points, which = points[ok], which[ok]
        for centre, other in zip(xy, radii, strict=True):
            ok = np.hypot(*(points - centre).T) >= other + radius
            points, which = points[ok], which[ok]
        best = int(np.bincount(which, minlength=64).max())
        assert len(added) >= best, (hole, xy, radii, radius)


def test_same_input_same_drawing() -> None:
    """Filling the same opening twice gives the same centres to the last bit."""
    for hole, xy, radii, added, radius in _cases()[:40]:
        assert np.array_equal(fill(hole, xy, radii, radius), added)
