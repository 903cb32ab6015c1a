"""Openings as shapes: area, perimeter, distance to the wall, largest circle that fits.

All openings are rounded rectangles with half sizes and a corner radius: a round bore has all three
equal, a square or rectangular one has no corner radius, an oval one is flat-sided (house rule: of
the shapes with two given sizes it has the larger area, so that sealant is not short).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Opening:
    """A rounded rectangle about the origin: half sizes and corner radius (mm)."""

    half_x_mm: float
    half_y_mm: float
    corner_mm: float

    @property
    def area_mm2(self) -> float:
        """Inside area (mm2)."""
        corners_mm2 = (4.0 - np.pi) * self.corner_mm**2
        return float(4.0 * self.half_x_mm * self.half_y_mm - corners_mm2)

    @property
    def perimeter_mm(self) -> float:
        """Inside perimeter (mm)."""
        straight_mm = 4.0 * (self.half_x_mm + self.half_y_mm) - 8.0 * self.corner_mm
        return float(straight_mm + 2.0 * np.pi * self.corner_mm)

    @property
    def is_round(self) -> bool:
        """True for a circle."""
        return self.half_x_mm == self.half_y_mm == self.corner_mm

    def inside_mm(self, xy_mm: Array) -> Array:
        """Distance of points to the wall (mm), negative outside.

        Parameters
        ----------
        xy_mm : array (..., 2)
            Points (mm).

        Returns
        -------
        array (...)
        """
        qx = np.abs(xy_mm[..., 0]) - (self.half_x_mm - self.corner_mm)
        qy = np.abs(xy_mm[..., 1]) - (self.half_y_mm - self.corner_mm)
        inner = np.minimum(np.maximum(qx, qy), 0.0)
        outer = np.hypot(np.maximum(qx, 0.0), np.maximum(qy, 0.0))
        return np.asarray(self.corner_mm - inner - outer, dtype=np.float64)

    def inset(self, by_mm: float) -> Opening:
        """The opening drawn in by a distance; half sizes fall below zero when nothing is left."""
        return Opening(
            self.half_x_mm - by_mm, self.half_y_mm - by_mm, max(self.corner_mm - by_mm, 0.0)
        )


def opening(shape: str, bore_mm: float, bore_b_mm: float) -> Opening:
    """The opening of a surveyed shape.

    Parameters
    ----------
    shape : str
        round, sub-duct, square, rectangular or oval.
    bore_mm, bore_b_mm : float
        Inside sizes (mm); the first is taken as the width, the second as the height.

    Returns
    -------
    Opening

    Raises
    ------
    ValueError
        For a shape that has no outline ('not seen').
    """
    if shape in ("round", "sub-duct"):
        return Opening(bore_mm / 2.0, bore_mm / 2.0, bore_mm / 2.0)
    if shape in ("square", "rectangular"):
        return Opening(bore_mm / 2.0, bore_b_mm / 2.0, 0.0)
    if shape == "oval":
        return Opening(bore_mm / 2.0, bore_b_mm / 2.0, min(bore_mm, bore_b_mm) / 2.0)
    raise ValueError(f"no outline for the shape {shape!r}")


def circles_area_mm2(outer_mm: Array) -> float:
    """Area of circles of given diameters (mm2)."""
    return float(np.pi / 4.0 * np.sum(np.square(outer_mm)))


def free_area_mm2(hole: Opening, cables_mm: Array) -> float:
    """Area that sealant fills: the opening less its cables (mm2), from unrounded sizes.

    Notes
    -----
    For a round bore this is pi/4 (D^2 - sum d^2).
    """
    return hole.area_mm2 - circles_area_mm2(cables_mm)


def largest_free_circle_mm(hole: Opening, xy_mm: Array, radii_mm: Array) -> float:
    """Radius of the largest circle that fits between the wall and the given circles (mm).

    Parameters
    ----------
    hole : Opening
    xy_mm : array (n, 2)
        Centres of the cables (mm).
    radii_mm : array (n,)
        Their radii (mm).

    Returns
    -------
    float
        Zero when nothing fits.

    Notes
    -----
    Exact: the largest circle touches three of the cables, sides and corner arcs, or a cable and a
    rounded wall on the line through their centres; the room at all such points is compared.
    Numbers of cables in a duct are small, so that all triples can be tried.

    References
    ----------
    The circles that touch three others are Apollonius' problem; equations subtracted pairwise are
    linear in x, y and radius.
    """
    if len(radii_mm) == 0:
        return min(hole.half_x_mm, hole.half_y_mm)
    if len(radii_mm) == 1 and hole.is_round:
        # opposite the cable, on the line through both centres
        opposite_mm = hole.corner_mm + float(np.hypot(*xy_mm[0])) - float(radii_mm[0])
        return max(opposite_mm / 2.0, 0.0)
    circles, lines = _obstacles(hole, xy_mm, radii_mm)
    points = np.concatenate(
        [
            _touching_three(circles, lines),
            _opposite_walls(circles[len(radii_mm) :], circles[: len(radii_mm)]),
            _middle_line(hole),
        ]
    )
    points = points[np.isfinite(points).all(axis=1)]
    return max(float(_room_mm(hole, xy_mm, radii_mm, points).max()), 0.0)


def _obstacles(hole: Opening, xy: Array, radii: Array) -> tuple[Array, Array]:
    """Circles (x, y, s) with |p - c| = rho + s, walls last; lines (nx, ny, h): n p + rho = h."""
    rc = hole.corner_mm
    cx, cy = hole.half_x_mm - rc, hole.half_y_mm - rc
    signs = [(0.0, 0.0)] if hole.is_round else [(1, 1), (1, -1), (-1, 1), (-1, -1)]
    arcs = np.array([[sx * cx, sy * cy, -rc] for sx, sy in signs]) if rc > 0 else np.empty((0, 3))
    circles = np.vstack([np.column_stack([xy, radii]), np.unique(arcs, axis=0)])
    lines = np.array(
        [
            [1.0, 0.0, hole.half_x_mm],
            [-1.0, 0.0, hole.half_x_mm],
            [0.0, 1.0, hole.half_y_mm],
            [0.0, -1.0, hole.half_y_mm],
        ]
    )
    return circles, np.empty((0, 3)) if hole.is_round else lines


def _touching_three(circles: Array, lines: Array) -> Array:
    """Centres of circles that touch three obstacles, at least one of them a circle."""
    n = len(circles)
    every = np.arange(n + len(lines))
    triples = np.array(list(combinations(every, 3)), dtype=np.intp).reshape(-1, 3)
    triples = triples[triples[:, 0] < n]
    base = circles[triples[:, 0]]
    first, first_is = _plane(circles, lines, triples[:, 1], base)
    second, second_is = _plane(circles, lines, triples[:, 2], base)
    along = np.cross(first, second)
    with np.errstate(divide="ignore", invalid="ignore"):
        start = first_is[:, None] * np.cross(second, along)
        start = (start + second_is[:, None] * np.cross(along, first)) / np.sum(
            along**2, axis=1, keepdims=True
        )
        start = start - base * np.array([1.0, 1.0, -1.0])  # about the base circle, rho + s
        sign = np.array([1.0, 1.0, -1.0])
        a = np.sum(sign * along**2, axis=1)
        b = np.sum(sign * along * start, axis=1)
        c = np.sum(sign * start**2, axis=1)
        root = np.sqrt(np.maximum(b**2 - a * c, 0.0))
        steps = [(-b + root) / a, (-b - root) / a, -c / (2.0 * b)]
        found = [start + t[:, None] * along for t in steps]
    return np.concatenate([f[:, :2] + base[:, :2] for f in found])


def _plane(circles: Array, lines: Array, which: Index, base: Array) -> tuple[Array, Array]:
    """The linear equation in (x, y, rho) that an obstacle gives together with the base circle."""
    n = len(circles)
    normal, value = np.empty((len(which), 3)), np.empty(len(which))
    is_line = which >= n
    line = lines[which[is_line] - n]
    normal[is_line] = np.column_stack([line[:, :2], np.ones(len(line))])
    value[is_line] = line[:, 2]
    circle, own = circles[which[~is_line]], base[~is_line]
    normal[~is_line] = 2.0 * (circle - own)
    weight = np.array([1.0, 1.0, -1.0])
    value[~is_line] = np.sum(weight * (circle**2 - own**2), axis=1)
    return normal, value


def _opposite_walls(arcs: Array, cables: Array) -> Array:
    """Between each rounded wall and each cable, on the line through their centres."""
    points = []
    for x, y, s in arcs:
        delta = np.array([x, y]) - cables[:, :2]
        dist = np.hypot(delta[:, 0], delta[:, 1])
        unit = np.where(dist[:, None] > 0.0, delta / np.maximum(dist, 1e-300)[:, None], [0.0, 1.0])
        points.append(np.array([x, y]) + unit * ((-s - dist + cables[:, 2]) / 2.0)[:, None])
    return np.concatenate(points) if points else np.empty((0, 2))


def _middle_line(hole: Opening) -> Array:
    """Ends and middle of the ridge of an empty rounded rectangle."""
    ridge = abs(hole.half_x_mm - hole.half_y_mm)
    end = np.array([ridge, 0.0]) if hole.half_x_mm > hole.half_y_mm else np.array([0.0, ridge])
    return np.array([[0.0, 0.0], end, -end])


def _room_mm(hole: Opening, xy_mm: Array, radii_mm: Array, points: Array) -> Array:
    """Radius of the circle about each point that touches the nearest obstacle (mm)."""
    gaps = np.linalg.norm(points[..., None, :] - xy_mm, axis=-1) - radii_mm
    return np.asarray(np.minimum(hole.inside_mm(points), gaps.min(axis=-1)))
