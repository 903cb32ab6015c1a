"""Where cables and filler sleeves lie: laid out once in whole millimetres for all near sizes.

A survey holds few kinds of ends and many true sizes. What is laid out with the opening rounded
down and the cables rounded up fits the true ends too, so that ends that differ by parts of a
millimetre share one layout. Every shared layout is tried with the true sizes before it is used,
and made anew from them where it does not hold. Layouts give pieces and places, never millilitres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np

from pipeline.core.materials import Item
from pipeline.design.cables import Body, body, settle
from pipeline.design.geometry import Array, Opening
from pipeline.design.packing import fill
from pipeline.design.pushing import OVERLAP_MM, Effort

Objective = Literal["larger first", "least void"]
Groups = tuple[tuple[str, int], ...]  # kind and group number of each strand
Places = tuple[tuple[float, float], ...]

_KEPT: Final = 1 << 14  # layouts that are remembered


@dataclass(frozen=True)
class Sleeve:
    """A filler sleeve at its place."""

    item_id: str
    outer_mm: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Lying:
    """Cables at their places; `near` are the places of the whole sizes, where those are shared."""

    xy_mm: Array  # (n, 2)
    near: Places | None = None


def bodies(groups: Groups, outer_mm: Array) -> list[Body]:
    """The groups that move as one, from kind and number of each strand and its size (mm)."""
    members: dict[int, list[int]] = {}
    for i, (_, number) in enumerate(groups):
        members.setdefault(number, []).append(i)
    return [
        body(groups[of[0]][0], of, [float(outer_mm[i]) / 2.0 for i in of])
        for of in members.values()
    ]


def lie(hole: Opening, outer_mm: Array, groups: Groups, *, spread_mm: float) -> Lying | None:
    """Cables each at its lowest place, shared among near sizes where that keeps the distances.

    Parameters
    ----------
    hole : Opening
    outer_mm : array (n,)
        True sizes (mm).
    groups : tuple of (kind, number)
        Strands of one number move as one.
    spread_mm : float
        Least gap between groups and to the wall (mm).

    Returns
    -------
    Lying or None
        None where some cable finds no place.
    """
    near = _laid(_down(hole), _up(outer_mm), groups, spread_mm)
    if near is not None:
        xy = _drawn_in(near, outer_mm, groups)
        if xy is not None and _keeps(hole, xy, outer_mm, groups, spread_mm):
            return Lying(xy, near)
    own = settle(hole, bodies(groups, outer_mm), spread_mm=spread_mm)
    return None if own is None else Lying(own)


def sleeves(
    hole: Opening,
    lying: Lying,
    outer_mm: Array,
    items: Sequence[Item],
    *,
    objective: Objective,
    effort: Effort,
) -> tuple[Sleeve, ...]:
    """Filler sleeves about cables, packed with the opening rounded down and the cables up.

    Parameters
    ----------
    hole : Opening
    lying : Lying
    outer_mm : array (n,)
        True sizes of cables, of collars where they lie in one (mm).
    items : sequence of Item
        Sizes of sleeves, largest first.
    objective : str
        larger first or least void.
    effort : str
        See `pushing.one_more`.

    Returns
    -------
    tuple of Sleeve
        None overlaps a true cable or the true wall by more than 1e-6 mm.
    """
    sizes = tuple((i.id, float(i.outer_mm or 0.0)) for i in items)
    if lying.near is not None:
        shared = _packed(_down(hole), lying.near, _up(outer_mm), sizes, objective, effort)
        if _fits(hole, lying.xy_mm, outer_mm, shared):
            return shared
    xy = _places(np.round(lying.xy_mm, 6))
    return _packed(_down(hole), xy, _up(outer_mm), sizes, objective, effort)


def _down(hole: Opening) -> Opening:
    """The opening in whole millimetres, rounded down."""
    half_x, half_y = np.floor(2.0 * hole.half_x_mm) / 2.0, np.floor(2.0 * hole.half_y_mm) / 2.0
    corner = min(half_x, half_y) if hole.corner_mm > 0.0 else 0.0
    return Opening(float(half_x), float(half_y), float(corner))


def _up(outer_mm: Array) -> tuple[float, ...]:
    """Sizes in whole millimetres, rounded up."""
    return tuple(float(d) for d in np.ceil(np.round(outer_mm, 6)))


def _places(xy: Array) -> Places:
    return tuple((float(x), float(y)) for x, y in xy)


@lru_cache(maxsize=_KEPT)
def _laid(
    hole: Opening, outer_mm: tuple[float, ...], groups: Groups, spread_mm: float
) -> Places | None:
    found = settle(hole, bodies(groups, np.array(outer_mm)), spread_mm=spread_mm)
    return None if found is None else _places(found)


def _drawn_in(near: Places, outer_mm: Array, groups: Groups) -> Array | None:
    """Centres for the true sizes: groups drawn in about their middle until they touch again.

    None for a group of unequal cables, whose shape is another one.
    """
    xy = np.array(near, dtype=np.float64).reshape(-1, 2)
    numbers = np.array([n for _, n in groups])
    for number in {n for n in numbers.tolist() if (numbers == n).sum() > 1}:
        own = numbers == number
        sizes = outer_mm[own]
        if np.ptp(sizes) > 0.0:
            return None
        middle = xy[own].mean(axis=0)
        xy[own] = middle + (xy[own] - middle) * (sizes[0] / _up(sizes)[0])
    return xy


def _keeps(hole: Opening, xy: Array, outer_mm: Array, groups: Groups, spread_mm: float) -> bool:
    """Whether groups keep the distance to each other and to the wall."""
    radii = outer_mm / 2.0
    if len(radii) and float((hole.inside_mm(xy) - radii).min()) < spread_mm - OVERLAP_MM:
        return False
    i, j = np.triu_indices(len(radii), 1)
    numbers = np.array([n for _, n in groups])
    other = numbers[i] != numbers[j]
    i, j = i[other], j[other]
    gap = np.hypot(*(xy[i] - xy[j]).T) - radii[i] - radii[j]
    return float(gap.min(initial=np.inf)) >= spread_mm - OVERLAP_MM


def _fits(hole: Opening, xy: Array, outer_mm: Array, placed: Sequence[Sleeve]) -> bool:
    """Whether no sleeve overlaps a true cable or the wall; sleeves are apart by themselves."""
    if not placed:
        return True
    at = np.array([[s.x_mm, s.y_mm] for s in placed])
    radii = np.array([s.outer_mm for s in placed]) / 2.0
    if float((radii - hole.inside_mm(at)).max()) > OVERLAP_MM:
        return False
    apart = np.linalg.norm(at[:, None] - xy[None], axis=-1) - radii[:, None] - outer_mm / 2.0
    return float(apart.min(initial=np.inf)) >= -OVERLAP_MM


@lru_cache(maxsize=_KEPT)
def _packed(
    hole: Opening,
    centres: Places,
    outer_mm: tuple[float, ...],
    items: tuple[tuple[str, float], ...],
    objective: Objective,
    effort: Effort,
) -> tuple[Sleeve, ...]:
    xy = np.array(centres, dtype=np.float64).reshape(-1, 2)
    radii = np.array(outer_mm, dtype=np.float64) / 2.0
    starts = range(len(items)) if objective == "least void" else range(1)
    tries = [_stages(hole, xy, radii, items[start:], effort) for start in starts]
    # least void: largest area of sleeves; ties: fewer pieces, then the larger sizes
    return min(tries, key=lambda s: (-round(sum(p.outer_mm**2 for p in s), 6), len(s)))


def _stages(
    hole: Opening, xy: Array, radii: Array, items: Sequence[tuple[str, float]], effort: Effort
) -> tuple[Sleeve, ...]:
    out: list[Sleeve] = []
    for item_id, outer_mm in items:
        # what is left beside the largest sleeves are gaps: long searches find next to nothing there
        now: Effort = "quick" if out and effort == "standard" else effort
        added = fill(hole, xy, radii, outer_mm / 2.0, effort=now)
        xy = np.vstack([xy, added])
        radii = np.concatenate([radii, np.full(len(added), outer_mm / 2.0)])
        out += [Sleeve(item_id, outer_mm, float(x), float(y)) for x, y in added]
    return tuple(out)
