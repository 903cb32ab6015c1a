"""Where the cables lie: as found (lowest, touching) and moved apart to a clearance.

Cables that belong together (trefoil, flat row, bundle) move as one rigid body. Bodies are put in
one after another, largest first, each at the lowest place that is free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.design.corners import TOUCH_MM, crossings
from pipeline.design.geometry import Array, Opening

_TURNS: Final = {"trefoil": (0, 180), "flat touching": (0, 90, 30, 60, 120, 150), "bundle": (0,)}
_EVEN_MM: Final = 1e-6  # places nearer than this are equally low


@dataclass(frozen=True)
class Body:
    """Cables that move as one; centres about their common centre of area.

    `members` are positions in the list of cables that the body was made of.
    """

    kind: str
    members: tuple[int, ...]
    radii_mm: tuple[float, ...]
    offsets_mm: tuple[tuple[float, float], ...]

    @property
    def size_mm(self) -> float:
        """Radius of a circle about the centre of area that holds the body (mm)."""
        offsets = np.array(self.offsets_mm)
        return float(np.max(np.hypot(offsets[:, 0], offsets[:, 1]) + np.array(self.radii_mm)))


def body(kind: str, members: Sequence[int], radii_mm: Sequence[float]) -> Body:
    """A body of cables: one, a flat row, or a compact heap of touching ones.

    Parameters
    ----------
    kind : str
        single, flat touching, trefoil or bundle.
    members : sequence of int
        Positions in the caller's list.
    radii_mm : sequence of float
        Radii (mm), one per member.

    Returns
    -------
    Body
    """
    order = sorted(range(len(members)), key=lambda i: (-radii_mm[i], members[i]))
    if kind == "flat touching":
        order = sorted(range(len(members)), key=lambda i: members[i])
    radii = np.array([radii_mm[i] for i in order])
    if kind == "flat touching":
        ends = np.concatenate([[0.0], np.cumsum(radii[:-1] + radii[1:])])
        xy = np.column_stack([ends, np.zeros(len(ends))])
    else:
        xy = _heap(radii)
    xy = xy - np.average(xy, axis=0, weights=radii**2)
    return Body(
        kind if len(order) > 1 else "single",
        tuple(members[i] for i in order),
        tuple(float(r) for r in radii),
        tuple((float(x), float(y)) for x, y in xy),
    )


def _heap(radii: Array) -> Array:
    """Touching circles about a common middle, each put as near to it as it goes."""
    xy = np.zeros((len(radii), 2))
    for i in range(1, len(radii)):
        reach = radii[:i] + radii[i]
        if i == 1:
            xy[1] = (reach[0], 0.0)
            continue
        a, b = np.triu_indices(i, 1)
        points, _ = crossings(xy[a], reach[a], xy[b], reach[b])
        gap = np.linalg.norm(points[:, None, :] - xy[None, :i, :], axis=-1) - reach
        points = points[np.nan_to_num(gap.min(axis=1), nan=-1.0) >= -TOUCH_MM]
        middle = np.average(xy[:i], axis=0, weights=radii[:i] ** 2)
        far = np.round(np.linalg.norm(points - middle, axis=1), 6)
        xy[i] = points[np.lexsort((np.round(points[:, 0], 6), -np.round(points[:, 1], 6), far))[0]]
    return xy


def settle(hole: Opening, bodies: Sequence[Body], *, spread_mm: float = 0.0) -> Array | None:
    """Centres of all cables when each body lies at its lowest free place.

    Parameters
    ----------
    hole : Opening
    bodies : sequence of Body
        Their members together are 0 ... n - 1.
    spread_mm : float, optional
        Least gap kept between bodies and to the wall (mm); 0 = as found.

    Returns
    -------
    array (n, 2) or None
        None when some body finds no place.

    Notes
    -----
    House rule for cables that nobody measured one by one: largest first, lowest place, then
    nearest to the middle, then left.
    """
    count = sum(len(b.members) for b in bodies)
    xy = np.zeros((count, 2))
    placed, radii = np.empty((0, 2)), np.empty(0)
    grow = spread_mm / 2.0
    inner = hole.inset(grow)
    for one in sorted(bodies, key=lambda b: (-b.size_mm, b.members)):
        put = _lowest(inner, one, placed, radii, grow)
        if put is None:
            return None
        xy[list(one.members)] = put
        placed = np.vstack([placed, put])
        radii = np.concatenate([radii, np.array(one.radii_mm) + grow])
    return xy


def _lowest(hole: Opening, one: Body, placed: Array, radii: Array, grow: float) -> Array | None:
    best: tuple[tuple[float, float, float, int], Array] | None = None
    own = np.array(one.radii_mm) + grow
    if len(own) == 1 and len(placed) == 0 and hole.is_round:
        room = hole.corner_mm - float(own[0])
        return np.array([[0.0, -max(room, 0.0)]]) if room >= -TOUCH_MM else None
    for turn, degrees in enumerate(_TURNS.get(one.kind, (0,))):
        angle = np.deg2rad(degrees)
        rotation = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        offsets = np.array(one.offsets_mm) @ rotation.T
        places = _places(hole, offsets, own, placed, radii)
        if len(places) == 0:
            continue
        low = places[places[:, 1] <= places[:, 1].min() + _EVEN_MM]
        key = np.lexsort((np.round(low[:, 0], 6), np.round(np.abs(low[:, 0]), 6)))[0]
        x, y = low[key]
        rank = (round(float(y), 6), round(abs(float(x)), 6), float(x), turn)
        if best is None or rank < best[0]:
            best = (rank, offsets + low[key])
    return best[1] if best else None


def _places(hole: Opening, offsets: Array, own: Array, placed: Array, radii: Array) -> Array:
    """Free places of a body's centre where it touches two things, or stands at an end of one."""
    centres, reach, lines = [], [], []
    for offset, radius in zip(offsets, own, strict=True):
        centres.append(placed - offset)
        reach.append(radii + radius)
        inner = hole.inset(float(radius))
        if min(inner.half_x_mm, inner.half_y_mm) < -TOUCH_MM:
            return np.empty((0, 2))
        cx, cy = inner.half_x_mm - inner.corner_mm, inner.half_y_mm - inner.corner_mm
        signs = [(0, 0)] if inner.is_round else [(1, 1), (1, -1), (-1, 1), (-1, -1)]
        corner = np.array([[sx * cx, sy * cy] for sx, sy in signs], dtype=np.float64)
        centres.append(corner - offset)
        reach.append(np.full(len(signs), max(inner.corner_mm, 0.0)))
        if not inner.is_round:
            lines += [(0, s * inner.half_x_mm - offset[0]) for s in (-1.0, 1.0)]
            lines += [(1, s * inner.half_y_mm - offset[1]) for s in (-1.0, 1.0)]
    every, rho = np.vstack(centres), np.concatenate(reach)
    i, j = np.triu_indices(len(rho), 1)
    points = [crossings(every[i], rho[i], every[j], rho[j])[0]]
    points += [every + rho[:, None] * np.array(d) for d in ((0, -1), (0, 1), (-1, 0), (1, 0))]
    points += [_on_line(every, rho, axis, at) for axis, at in lines]
    points.append(_line_corners(lines))
    points.append(np.array([[0.0, at] for axis, at in lines if axis == 1]).reshape(-1, 2))
    return _free(hole, np.concatenate(points), offsets, own, (placed, radii))


def _on_line(xy: Array, reach: Array, axis: int, at: float) -> Array:
    with np.errstate(invalid="ignore"):
        off = np.sqrt(reach**2 - (at - xy[:, axis]) ** 2)
    both = np.concatenate([xy[:, 1 - axis] + off, xy[:, 1 - axis] - off])
    out = np.empty((len(both), 2))
    out[:, axis] = at
    out[:, 1 - axis] = both
    return out


def _line_corners(lines: Sequence[tuple[int, float]]) -> Array:
    upright = [at for axis, at in lines if axis == 0]
    lying = [at for axis, at in lines if axis == 1]
    return np.array([[x, y] for x in upright for y in lying]).reshape(-1, 2)


def _free(
    hole: Opening, points: Array, offsets: Array, own: Array, others: tuple[Array, Array]
) -> Array:
    points = points[np.isfinite(points).all(axis=1)]
    for offset, radius in zip(offsets, own, strict=True):
        at = points + offset
        ok = hole.inside_mm(at) >= radius - TOUCH_MM
        if len(others[1]):
            gap = np.linalg.norm(at[:, None, :] - others[0][None, :, :], axis=-1)
            ok &= (gap - others[1] - radius).min(axis=1) >= -TOUCH_MM
        points = points[ok]
    return points
