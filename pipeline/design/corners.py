"""Where a circle can lie in a corner: touching two of the wall and the circles placed so far."""

from __future__ import annotations

from typing import Final

import numpy as np

from pipeline.design.geometry import Array, Opening

TOUCH_MM: Final = 1e-7  # circles nearer than touching by more than this overlap
NONE: Final = np.empty((0, 2), dtype=np.float64)


def crossings(a_xy: Array, a_r: Array, b_xy: Array, b_r: Array) -> tuple[Array, Array]:
    """Both crossing points of pairs of circles.

    Parameters
    ----------
    a_xy, b_xy : array (n, 2)
        Centres (mm).
    a_r, b_r : array (n,)
        Radii (mm).

    Returns
    -------
    points : array (2n, 2)
        First the n points to the left of a -> b, then the n to the right; NaN where circles do
        not meet.
    pair : array (2n,)
        Index of the pair.
    """
    delta = b_xy - a_xy
    dist = np.hypot(delta[:, 0], delta[:, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (dist**2 + a_r**2 - b_r**2) / (2.0 * dist)
        square = a_r**2 - along**2
        # touching circles lose their one point to float noise without this
        square = np.where((square < 0.0) & (square > -1e-9 * a_r**2), 0.0, square)
        off = np.sqrt(square)
        unit = delta / dist[:, None]
    base = a_xy + along[:, None] * unit
    side = np.column_stack([-unit[:, 1], unit[:, 0]]) * off[:, None]
    pair = np.arange(len(a_r))
    return np.concatenate([base + side, base - side]), np.concatenate([pair, pair])


def wall_touching(hole: Opening, xy: Array, reach: Array) -> tuple[Array, Array]:
    """Points of the opening's outline at a given distance from given centres.

    Parameters
    ----------
    hole : Opening
        The opening already drawn in by the radius of the circle to be placed.
    xy : array (n, 2)
        Centres of circles (mm).
    reach : array (n,)
        Sum of both radii (mm).

    Returns
    -------
    points : array (m, 2)
    index : array (m,)
        Which centre each point belongs to. Points outside the outline are left for the caller to
        sift; NaN where there is no such point.
    """
    n = len(reach)
    cx, cy, rc = (
        hole.half_x_mm - hole.corner_mm,
        hole.half_y_mm - hole.corner_mm,
        hole.corner_mm,
    )
    points, index = [], []
    rows = np.arange(n)
    if rc > 0.0:
        signs = {(0.0, 0.0)} if cx == cy == 0.0 else {(1, 1), (1, -1), (-1, 1), (-1, -1)}
        for sx, sy in sorted(signs):
            middle = np.broadcast_to(np.array([sx * cx, sy * cy]), (n, 2))
            found, pair = crossings(xy, reach, middle, np.full(n, rc))
            points.append(found)
            index.append(rows[pair])
    for axis, half, flat in ((0, hole.half_x_mm, cy), (1, hole.half_y_mm, cx)):
        if flat > 0.0 or rc == 0.0:
            for sign in (-1.0, 1.0):
                found = _on_line(xy, reach, axis, sign * half)
                points.append(found)
                index.append(np.concatenate([rows, rows]))
    return np.concatenate(points), np.concatenate(index)


def _on_line(xy: Array, reach: Array, axis: int, at: float) -> Array:
    """Points of the line `axis` = `at` at the given distance from each centre; NaN where none."""
    with np.errstate(invalid="ignore"):
        off = np.sqrt(reach**2 - (at - xy[:, axis]) ** 2)
    out = np.empty((2 * len(reach), 2))
    out[:, axis] = at
    out[:, 1 - axis] = np.concatenate([xy[:, 1 - axis] + off, xy[:, 1 - axis] - off])
    return out


def extremes(hole: Opening, xy: Array, reach: Array) -> Array:
    """Single points worth trying: ends and corners of the outline, and around each circle."""
    hx, hy = hole.half_x_mm, hole.half_y_mm
    points = [np.array([[0.0, -hy], [0.0, hy], [-hx, 0.0], [hx, 0.0]])]
    if hole.corner_mm == 0.0:
        points.append(np.array([[-hx, -hy], [hx, -hy], [-hx, hy], [hx, hy]]))
    for dx, dy in ((0.0, -1.0), (0.0, 1.0), (-1.0, 0.0), (1.0, 0.0)):
        points.append(xy + reach[:, None] * np.array([dx, dy]))
    return np.concatenate(points)


def is_free(hole: Opening, points: Array, xy: Array, reach: Array) -> np.ndarray:
    """Which points lie in the drawn-in opening and far enough from every centre.

    Parameters
    ----------
    hole : Opening
        Already drawn in by the radius of the circle to be placed.
    points : array (m, 2)
    xy : array (n, 2)
    reach : array (n,)
        Sum of both radii (mm).

    Returns
    -------
    array (m,) of bool
        NaN points are not free.
    """
    free = np.asarray(hole.inside_mm(points) >= -TOUCH_MM)
    rows = np.flatnonzero(free)
    if len(reach) == 0 or len(rows) == 0:
        return free
    # squares, axis by axis: this is where packing spends its time
    near = points[rows]
    square = (near[:, 0, None] - xy[None, :, 0]) ** 2 + (near[:, 1, None] - xy[None, :, 1]) ** 2
    least = np.square(np.maximum(reach - TOUCH_MM, 0.0))
    free[rows] = (square >= least).all(axis=1)
    return free


def corners(hole: Opening, xy: Array, reach: Array) -> Array:
    """All corner places of one circle among placed circles, and the extremes; free ones only.

    Parameters
    ----------
    hole : Opening
        Already drawn in by the radius of the circle to be placed.
    xy : array (n, 2)
        Centres of the placed circles (mm).
    reach : array (n,)
        Sum of both radii (mm).

    Returns
    -------
    array (m, 2)
    """
    if min(hole.half_x_mm, hole.half_y_mm) < 0.0:
        return NONE
    points = [extremes(hole, xy, reach)]
    if len(reach):
        points.append(wall_touching(hole, xy, reach)[0])
    if len(reach) > 1:
        i, j = np.triu_indices(len(reach), 1)
        points.append(crossings(xy[i], reach[i], xy[j], reach[j])[0])
    every = np.concatenate(points)
    return np.asarray(every[is_free(hole, every, xy, reach)])
