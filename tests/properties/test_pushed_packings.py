"""Pushed packings hold every promise of the greedy ones, beside cables and in every shape.

The checker is shapely (GEOS) and a plain loop, not our own geometry.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from pipeline.design import pushing
from pipeline.design.cables import body, settle
from pipeline.design.geometry import Array, Opening, opening
from pipeline.design.packing import fill
from pipeline.design.pushing import Task, one_more

SEED = 20300611


def _case(rng: np.random.Generator) -> tuple[Opening, Array, Array, float]:
    """An opening with up to four circles thrown in where they are free, and a sleeve radius."""
    shape = str(rng.choice(["round", "square", "rectangular", "oval"]))
    hole = opening(shape, float(rng.uniform(60.0, 130.0)), float(rng.uniform(50.0, 120.0)))
    if shape == "square":
        hole = Opening(hole.half_x_mm, hole.half_x_mm, 0.0)
    xy, radii = np.empty((0, 2)), np.empty(0)
    for _ in range(int(rng.integers(0, 12))):
        radius = float(rng.uniform(4.0, 18.0))
        at = rng.uniform(-1.0, 1.0, 2) * [hole.half_x_mm, hole.half_y_mm]
        is_free = hole.inside_mm(at) > radius and all(
            math.dist(at, c) > radius + r for c, r in zip(xy, radii, strict=True)
        )
        if is_free and len(radii) < 4:
            xy, radii = np.vstack([xy, at]), np.append(radii, radius)
    return hole, xy, radii, float(rng.choice([7.5, 10.0, 13.0, 20.0]))


def _wall_gap_mm(hole: Opening, at: Array) -> float:
    """Distance of a point to the wall by shapely (arcs within 1e-7 of their radius)."""
    cx, cy = hole.half_x_mm - hole.corner_mm, hole.half_y_mm - hole.corner_mm
    if hole.corner_mm == 0.0:
        return float(shapely.box(-cx, -cy, cx, cy).exterior.distance(shapely.Point(at)))
    # the distance to the core is exact, so is the arc about it
    core = shapely.MultiPoint([(-cx, -cy), (cx, cy), (-cx, cy), (cx, -cy)]).convex_hull
    return hole.corner_mm - float(core.distance(shapely.Point(at)))


@pytest.mark.parametrize("block", range(4))
def test_no_overlap_and_never_fewer(block: int) -> None:
    """20 random ends: at most 1e-6 mm of overlap, and no fewer circles than greedy."""
    rng = np.random.default_rng(SEED + block)
    for _ in range(20):
        hole, xy, radii, radius = _case(rng)
        added = fill(hole, xy, radii, radius)
        assert len(added) >= len(fill(hole, xy, radii, radius, effort="greedy"))
        every = np.concatenate([radii, np.full(len(added), radius)])
        points = shapely.points(np.vstack([xy, added]))
        for i in range(len(radii), len(every)):
            apart = shapely.distance(points[i], points[:i])
            assert np.all(apart >= every[i] + every[:i] - 1e-6 - 1e-9)
            assert _wall_gap_mm(hole, added[i - len(radii)]) >= radius - 1e-6 - 1e-9


def test_pushes_gain_a_circle_beside_a_cable() -> None:
    """Three circles of the 7-circle bore are fixed; the free ring places take four more.

    The start has three of the four shifted along the ring, so that no hole is wide enough for the
    fourth: it fits only when the others move.
    """
    ring = np.array([[math.cos(a), math.sin(a)] for a in np.arange(6) * math.pi / 3.0]) * 20.0
    hole = Opening(30.05, 30.05, 30.05)
    task = Task(hole, np.vstack([[[0.0, 0.0]], ring[:2]]), np.full(3, 10.0), 10.0)
    angles = np.deg2rad([130.0, 205.0, 280.0])  # gaps of 70 to 80 degrees; a circle takes 60
    start = 20.0 * np.column_stack([np.cos(angles), np.sin(angles)])
    found = one_more(task, [start], effort="standard")
    assert len(found) == 4
    gaps = [math.dist(a, b) for a in found for b in [*ring[:2], (0.0, 0.0)]]
    assert min(gaps) >= 20.0 - 1e-6
    assert max(math.hypot(*p) for p in found) <= 20.05 + 1e-6


def test_thorough_is_never_below_standard() -> None:
    """Thorough goes on where standard gives up."""
    rng = np.random.default_rng(SEED + 50)
    for _ in range(4):
        hole, xy, radii, radius = _case(rng)
        radius = max(radius, 10.0)
        few = fill(hole, xy, radii, radius)
        assert len(fill(hole, xy, radii, radius, effort="thorough")) >= len(few)


@pytest.mark.slow
def test_standard_is_near_a_long_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside three cables standard has at least 99.5 % of the sleeves of a run that never gives up
    and pushes ten times as often (bench_packing.py: 300 bores, a run 50 times as long).
    """
    monkeypatch.setitem(pushing._ROUNDS_BESIDE, "thorough", 400)
    rng = np.random.default_rng(SEED + 70)
    counts = {"standard": 0, "thorough": 0}
    for _ in range(30):
        outer = float(rng.choice([90.0, 103.0, 118.0, 138.0])) / 2.0
        radii = np.sort(rng.choice([14.0, 22.0, 28.5], 3))[::-1] / 2.0
        hole = Opening(outer, outer, outer)
        xy = settle(
            hole, [body("single", [i], [float(r)]) for i, r in enumerate(radii)], spread_mm=5.0
        )
        assert xy is not None
        for effort in ("standard", "thorough"):
            counts[effort] += len(fill(hole, xy, radii, 10.0, effort=effort))
    assert counts["standard"] <= counts["thorough"]
    assert counts["standard"] >= 0.995 * counts["thorough"]


def test_same_bytes_twice() -> None:
    """Two pushes of one task end in the same centres to the last bit."""
    for outer in (46.2, 55.6):
        hole = Opening(outer, outer, outer)
        once, again = (fill(hole, np.empty((0, 2)), np.empty(0), 10.0) for _ in range(2))
        assert np.array_equal(once, again)
