"""Fill an opening with equal circles: greedy corner placements, the best of a dozen.

Circles are put one by one where they touch two things (wall or circles). Twelve ways of choosing
the next corner run side by side; two of them start from the best of many shifted hexagonal
lattices. The best count wins, so that the result is never below such a lattice.

Best known counts for equal circles in a circle: `tests/reference/circles_in_circle.csv`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from pipeline.design.corners import NONE, TOUCH_MM, corners, crossings, is_free, wall_touching
from pipeline.design.geometry import Array, Opening
from pipeline.design.pushing import Effort, Task, one_more

Index = npt.NDArray[np.intp]

_TOUCHING_MM: Final = 1e-6  # nearer than this counts as a contact
_NEAR: Final = 2.0  # gaps beyond this many radii do not matter for the choice
_SHIFTS: Final = 8  # lattice shifts per axis, 8 x 8 = 64

# How the next corner is chosen: weights of x, y and distance from the centre (each over the half
# size), of the smallest gap that would remain (over the radius) and of the number of contacts.
# The lowest sum wins. House rule, found by trial on empty bores.
_WAYS: Final = np.array(
    [
        [0.0, 1.0, 0.0, 0.0, 0.0],
        [0.0, -1.0, 0.0, 0.0, 0.0],
        [1.0, 0.0, 0.0, 0.0, 0.0],
        [0.8, 0.6, 0.0, 0.0, 0.0],
        [0.0, 0.0, -1.0, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.0, 0.0],
        [0.0, 0.1, -1.0, 0.5, -0.1],
        [0.0, 0.1, 0.0, 1.0, -1.0],
        [0.0, 0.0, 0.5, 0.5, -0.5],
        [0.0, 0.5, -0.5, 0.2, 0.0],
    ]
)


@dataclass
class _Runs:
    """Greedy runs side by side: what each has placed, and the corners each may still take."""

    hole: Opening  # drawn in by the radius
    radius_mm: float
    reach: Array  # (slots,) sum of both radii for each slot
    xy: Array  # (runs, slots, 2), far away where a slot is empty
    used: Index  # (runs,) slots taken
    ways: Array  # (runs, 5)
    points: Array = field(default_factory=lambda: NONE)
    run: Index = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    gap: Array = field(default_factory=lambda: np.empty(0))
    contacts: Array = field(default_factory=lambda: np.empty(0))

    def offer(self, points: Array, run: Index) -> None:
        """Add corners that are free in their run."""
        inside = self.hole.inside_mm(points)
        keep = inside >= -TOUCH_MM
        points, run, inside = points[keep], run[keep], inside[keep]
        placed = self.xy[run]
        gaps = np.hypot(placed[..., 0] - points[:, 0, None], placed[..., 1] - points[:, 1, None])
        gaps -= self.reach
        keep = gaps.min(axis=1) >= -TOUCH_MM if gaps.shape[1] else np.ones(len(run), dtype=bool)
        points, run = points[keep], run[keep]
        every = np.column_stack([gaps[keep], inside[keep]])
        touching = every < _TOUCHING_MM
        gap = np.where(touching, np.inf, every).min(axis=1)
        self.points = np.concatenate([self.points, points])
        self.run = np.concatenate([self.run, run])
        self.gap = np.concatenate([self.gap, gap])
        self.contacts = np.concatenate([self.contacts, touching.sum(axis=1).astype(np.float64)])

    def choose(self) -> Index:
        """Index of the best corner of each run that still has one."""
        near = np.minimum(self.gap / self.radius_mm, _NEAR)
        x = self.points[:, 0] / self.hole.half_x_mm if self.hole.half_x_mm > 0 else 0.0
        y = self.points[:, 1] / self.hole.half_y_mm if self.hole.half_y_mm > 0 else 0.0
        zero = np.zeros(len(near))
        features = np.column_stack([x + zero, y + zero, np.hypot(x, y) + zero, near, self.contacts])
        # rounding: equal choices must stay equal on every machine
        score = np.round(np.sum(features * self.ways[self.run], axis=1), 9)
        order = np.lexsort(
            (np.round(self.points[:, 0], 6), np.round(self.points[:, 1], 6), score, self.run)
        )
        first = np.ones(len(order), dtype=bool)
        first[1:] = self.run[order][1:] != self.run[order][:-1]
        return order[first]

    def place(self, chosen: Index) -> tuple[Array, Index]:
        """Put a circle at each chosen corner and drop the corners that it covers."""
        new, runs = self.points[chosen], self.run[chosen]
        self.xy[runs, self.used[runs]] = new
        self.used[runs] += 1
        newest = np.full((len(self.used), 2), 1e9)
        newest[runs] = new
        delta = self.points - newest[self.run]
        apart = np.hypot(delta[:, 0], delta[:, 1]) - 2.0 * self.radius_mm
        keep = apart >= -TOUCH_MM
        apart = apart[keep]
        self.points, self.run = self.points[keep], self.run[keep]
        touching = apart < _TOUCHING_MM
        self.gap = np.where(touching, self.gap[keep], np.minimum(self.gap[keep], apart))
        self.contacts = self.contacts[keep] + touching
        return new, runs

    def around(self, new: Array, runs: Index) -> None:
        """Offer the corners between new circles and everything else of their run."""
        two = 2.0 * self.radius_mm
        placed = self.xy[runs]
        apart = np.hypot(placed[..., 0] - new[:, 0, None], placed[..., 1] - new[:, 1, None])
        k, slot = np.nonzero((apart <= two + self.reach) & (apart > 0.0))
        points, pair = crossings(
            new[k], np.full(len(k), two), self.xy[runs[k], slot], self.reach[slot]
        )
        at_wall, of = wall_touching(self.hole, new, np.full(len(new), two))
        self.offer(np.concatenate([points, at_wall]), np.concatenate([runs[k[pair]], runs[of]]))


def fill(
    hole: Opening,
    xy_mm: Array,
    radii_mm: Array,
    radius_mm: float,
    *,
    effort: Effort = "standard",
) -> Array:
    """Centres of as many circles of one size as the search can add to an opening.

    Parameters
    ----------
    hole : Opening
    xy_mm : array (n, 2)
        Centres of the circles that lie there already (mm).
    radii_mm : array (n,)
        Their radii (mm).
    radius_mm : float
        Radius of the circles to add (mm).
    effort : str, optional
        greedy (no pushes), quick, standard or thorough: how long pushes look for one circle more.

    Returns
    -------
    array (m, 2)
        Centres of the added circles (mm). They overlap nothing by more than 1e-6 mm.

    Notes
    -----
    A heuristic: a better packing may exist. Deterministic: random hops are seeded from the
    opening and the circles.
    """
    inner = hole.inset(radius_mm)
    if min(inner.half_x_mm, inner.half_y_mm) < -TOUCH_MM:
        return NONE
    inner = Opening(max(inner.half_x_mm, 0.0), max(inner.half_y_mm, 0.0), inner.corner_mm)
    start = corners(inner, xy_mm, radii_mm + radius_mm)
    if len(start) == 0:
        return NONE
    seeds = [NONE] * len(_WAYS) + _lattices(inner, xy_mm, radii_mm + radius_mm, radius_mm)
    runs = _begin(hole, inner, xy_mm, radii_mm, radius_mm=radius_mm, seeds=seeds)
    while len(runs.run):
        runs.around(*runs.place(runs.choose()))
    n = len(radii_mm)
    packed = [runs.xy[run, n:used].copy() for run, used in enumerate(runs.used)]
    return one_more(Task(hole, xy_mm, radii_mm, radius_mm), packed, effort=effort)


def _begin(
    hole: Opening, inner: Opening, xy: Array, radii: Array, *, radius_mm: float, seeds: list[Array]
) -> _Runs:
    n = len(radii)
    room = int((hole.area_mm2 - np.pi * np.sum(radii**2)) / (np.pi * radius_mm**2)) + 2
    slots = n + max(room, 2, *(len(s) + 1 for s in seeds))
    placed = np.full((len(seeds), slots, 2), 1e9)
    placed[:, :n] = xy
    used = np.full(len(seeds), n, dtype=np.intp)
    for run, seed in enumerate(seeds):
        placed[run, n : n + len(seed)] = seed
        used[run] += len(seed)
    reach = np.concatenate([radii + radius_mm, np.full(slots - n, 2.0 * radius_mm)])
    ways = np.vstack([_WAYS, _WAYS[: len(seeds) - len(_WAYS)]])
    runs = _Runs(inner, radius_mm, reach, placed, used, ways)
    plain = corners(inner, xy, radii + radius_mm)
    for run, seed in enumerate(seeds):
        points = plain
        if len(seed):
            end = n + len(seed)
            points = corners(inner, placed[run, :end], reach[:end])
        runs.offer(points, np.full(len(points), run, dtype=np.intp))
    return runs


def _lattices(inner: Opening, xy: Array, reach: Array, radius_mm: float) -> list[Array]:
    """The fullest of the shifted hexagonal lattices, rows lying and rows standing."""
    out = []
    for is_standing in (False, True):
        lattice = _lattice(inner, radius_mm, is_standing=is_standing)
        shifts = _shifts(radius_mm, is_standing=is_standing)
        every = (lattice[None, :, :] + shifts[:, None, :]).reshape(-1, 2)
        free = is_free(inner, every, xy, reach).reshape(len(shifts), len(lattice))
        best = int(np.argmax(free.sum(axis=1)))
        chosen = lattice[free[best]] + shifts[best]
        if len(chosen):
            out.append(chosen)
    return out


def _cell(radius_mm: float, *, is_standing: bool) -> Array:
    """Sides of the repeating rectangle of a hexagonal lattice of touching circles (mm)."""
    sides = np.array([2.0 * radius_mm, 2.0 * np.sqrt(3.0) * radius_mm])
    return sides[::-1] if is_standing else sides


def _lattice(inner: Opening, radius_mm: float, *, is_standing: bool) -> Array:
    cell = _cell(radius_mm, is_standing=is_standing)
    half = np.array([inner.half_x_mm, inner.half_y_mm])
    counts = np.ceil(half / cell).astype(int) + 1
    i, j = np.meshgrid(
        np.arange(-counts[0], counts[0] + 1), np.arange(-counts[1], counts[1] + 1), indexing="ij"
    )
    whole = np.column_stack([i.ravel(), j.ravel()]) * cell
    return np.vstack([whole, whole + cell / 2.0])


def _shifts(radius_mm: float, *, is_standing: bool) -> Array:
    cell = _cell(radius_mm, is_standing=is_standing)
    part = np.arange(_SHIFTS) / _SHIFTS
    i, j = np.meshgrid(part, part / 2.0, indexing="ij")
    return np.asarray(np.column_stack([i.ravel(), j.ravel()]) * cell)


def overlap_mm(hole: Opening, xy_mm: Array, radii_mm: Array) -> float:
    """Deepest overlap among circles and with the wall (mm); negative when all are apart.

    Parameters
    ----------
    hole : Opening
    xy_mm : array (n, 2)
    radii_mm : array (n,)

    Returns
    -------
    float
        Minus infinity without circles.
    """
    if len(radii_mm) == 0:
        return float("-inf")
    wall: Any = radii_mm - hole.inside_mm(xy_mm)
    i, j = np.triu_indices(len(radii_mm), 1)
    pair = radii_mm[i] + radii_mm[j] - np.linalg.norm(xy_mm[i] - xy_mm[j], axis=1)
    return float(max(wall.max(), pair.max() if len(pair) else float("-inf")))
