"""Cables that are added later: which sleeve takes each, what must come out, or why it cannot be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from pipeline.core.materials import Filler
from pipeline.design.corners import (
    TOUCH_MM,
    corners,
    crossings,
    extremes,
    is_free,
    wall_touching,
)
from pipeline.design.geometry import Array, Opening, circles_area_mm2

# Part of the bore that cables may fill: one 53 %, two 31 %, three or more 40 %. NEC chapter 9,
# table 1. Shown as a limit for pulling, not for sealing.
_FILL_FRAC: Final = {1: 0.53, 2: 0.31}
_FILL_MORE_FRAC: Final = 0.40
FILL_SOURCE: Final = "NEC chapter 9, table 1"
# Three equal cables wedge across a bore of 2.8 to 3.2 times their size. From memory: common
# practice of cable pulling; confirm with the cable's maker.
_JAM: Final = (2.8, 3.2)
JAM_SOURCE: Final = "jam ratio 2.8 to 3.2, common practice, from memory"
_ARC_PARTS: Final = 90  # straight parts of a quarter circle
# a polygon of 4 n corners has the area of its circle when its radius is larger by this
_SAME_AREA: Final = float(np.sqrt(np.pi / (2.0 * _ARC_PARTS * np.sin(np.pi / (2.0 * _ARC_PARTS)))))


@dataclass(frozen=True)
class Placed:
    """One circle of the drawing (a row of `placements`)."""

    piece_no: int
    kind: str  # cable, collar or sleeve
    outer_mm: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Later:
    """What adding a cable means for an end."""

    can_be: bool
    through_piece_no: int | None  # sleeve that the cable goes through, sleeve stays
    out_piece_nos: tuple[int, ...]  # sleeves that must come out
    x_mm: float
    y_mm: float
    refill_ml: float
    fill_frac: float
    fill_limit_frac: float
    warnings: tuple[str, ...]
    words: str
    jam_ratio: float = np.nan  # bore over cable, from three cables on


def add_cable(
    hole: Opening,
    placed: Sequence[Placed],
    cable_mm: float,
    *,
    layer_mm: float,
    allowance_frac: float,
    filler: Filler,
) -> Later:
    """Find the least disturbance for one more cable.

    Parameters
    ----------
    hole : Opening
    placed : sequence of Placed
        The drawing of the end as it is.
    cable_mm : float
        Outer diameter of the new cable (mm).
    layer_mm, allowance_frac : float
        Of the design of the end.
    filler : Filler
        The wall rule of the sleeves.

    Returns
    -------
    Later

    Notes
    -----
    First choice: the smallest sleeve whose bore takes the cable. Else the place, clear of cables
    and wall, that costs the least area of sleeves. The refill is the cut-out (the sleeves that are
    touched and the place of the cable) less the new cable. Cables and collars that lie there are
    not moved; a place for one cable is found wherever there is one.
    """
    fill = _fill(hole, placed, cable_mm)
    through = _through(placed, cable_mm, filler)
    if through is not None:
        at = (through.x_mm, through.y_mm)
        area = _cut_mm2([through], at, cable_mm)
        return _answer(
            through, (), at, _ml(area, cable_mm, layer_mm, allowance_frac),
            fill, f"through sleeve {through.piece_no} ({through.outer_mm:g} mm), which stays",
        )  # fmt: skip
    spot = _least_out(hole, placed, cable_mm)
    if spot is None:
        words = f"no: a {cable_mm:g} mm cable finds no place clear of the cables and the wall"
        return _answer(None, None, (np.nan, np.nan), np.nan, fill, words)
    (x, y), out = spot
    area = _cut_mm2(out, (x, y), cable_mm)
    numbers = ", ".join(str(p.piece_no) for p in out) or "none"
    return _answer(
        None, tuple(p.piece_no for p in out), (x, y), _ml(area, cable_mm, layer_mm, allowance_frac),
        fill, f"sleeves that must come out: {numbers}",
    )  # fmt: skip


def _answer(
    through: Placed | None,
    out: tuple[int, ...] | None,
    at: tuple[float, float],
    refill_ml: float,
    fill: tuple[float, float, tuple[str, ...], float],
    words: str,
) -> Later:
    return Later(
        out is not None,
        through.piece_no if through else None,
        out or (),
        float(at[0]),
        float(at[1]),
        refill_ml,
        fill[0],
        fill[1],
        fill[2],
        words,
        fill[3],
    )


def _cut_mm2(out: Sequence[Placed], at: tuple[float, float], cable_mm: float) -> float:
    """Area of sealant that is cut out (mm2): over the sleeves and where the cable comes."""
    circles = [(p.x_mm, p.y_mm, p.outer_mm) for p in out] + [(*at, cable_mm)]
    xy = shapely.points(np.array([c[:2] for c in circles]))
    radii = np.array([c[2] for c in circles]) / 2.0 * _SAME_AREA
    return float(shapely.union_all(shapely.buffer(xy, radii, quad_segs=_ARC_PARTS)).area)


def _ml(area_mm2: float, cable_mm: float, layer_mm: float, allowance_frac: float) -> float:
    net = max(area_mm2 - circles_area_mm2(np.array([cable_mm])), 0.0)
    return net * layer_mm * (1.0 + allowance_frac) / 1000.0


def _fill(
    hole: Opening, placed: Sequence[Placed], cable_mm: float
) -> tuple[float, float, tuple[str, ...], float]:
    sizes = [p.outer_mm for p in placed if p.kind == "cable"] + [cable_mm]
    fill = circles_area_mm2(np.array(sizes)) / hole.area_mm2
    limit = _FILL_FRAC.get(len(sizes), _FILL_MORE_FRAC)
    warnings = []
    if fill > limit:
        warnings.append(
            f"the fill limit for pulling is exceeded: {100 * fill:.1f} % of the bore, over "
            f"{100 * limit:.0f} % ({FILL_SOURCE})"
        )
    ratio = 2.0 * min(hole.half_x_mm, hole.half_y_mm) / cable_mm
    if len(sizes) >= 3 and _JAM[0] <= ratio <= _JAM[1]:
        warnings.append(f"it may jam: bore over cable {ratio:.2f} ({JAM_SOURCE})")
    return fill, limit, tuple(warnings), ratio if len(sizes) >= 3 else np.nan


def limits_of_all(
    hole: Opening, placed: Sequence[Placed], cables_mm: Sequence[float]
) -> tuple[str, ...]:
    """Limits that are exceeded once several new cables lie in the drawing.

    Parameters
    ----------
    hole : Opening
    placed : sequence of Placed
        The drawing with the new cables in it.
    cables_mm : sequence of float
        Outer diameters of the new cables (mm).

    Returns
    -------
    tuple of str
        In words, each once: the fill of all, and the jam of each of the new ones.
    """
    words: list[str] = []
    for d in cables_mm:
        own = next(p for p in placed if p.kind == "cable" and p.outer_mm == d)
        words += _fill(hole, [p for p in placed if p is not own], d)[2]
    return tuple(dict.fromkeys(words))


def _through(placed: Sequence[Placed], cable_mm: float, filler: Filler) -> Placed | None:
    wide = [p for p in placed if p.kind == "sleeve" and filler.bore_mm(p.outer_mm) >= cable_mm]
    return min(wide, key=lambda p: (p.outer_mm, p.piece_no), default=None)


def _least_out(
    hole: Opening, placed: Sequence[Placed], cable_mm: float
) -> tuple[tuple[float, float], list[Placed]] | None:
    fixed = [p for p in placed if p.kind != "sleeve"]
    sleeves = [p for p in placed if p.kind == "sleeve"]
    radius = cable_mm / 2.0
    inner = hole.inset(radius)
    if min(inner.half_x_mm, inner.half_y_mm) < 0.0:
        return None
    spots = _spots(inner, fixed, sleeves, radius)
    if len(spots) == 0:
        return None
    if not sleeves:
        return (float(spots[0, 0]), float(spots[0, 1])), []
    xy, reach = _circles(sleeves, radius)
    gap = np.linalg.norm(spots[:, None, :] - xy[None, :, :], axis=-1) - reach
    hit = gap < -TOUCH_MM
    cost = np.round(hit @ np.square(reach - radius), 6)
    best = np.lexsort((np.round(spots[:, 0], 6), np.round(spots[:, 1], 6), cost))[0]
    out = [p for p, is_hit in zip(sleeves, hit[best], strict=True) if is_hit]
    return (float(spots[best, 0]), float(spots[best, 1])), out


def _spots(
    inner: Opening, fixed: Sequence[Placed], sleeves: Sequence[Placed], radius: float
) -> Array:
    """Places clear of cables and wall that touch two things, sleeves that are hit among them.

    The places that hit a given set of sleeves are bounded by the wall and by the others' circles;
    one with the fewest sleeves hit lies where two of these cross, or on an end of the outline.
    """
    xy, reach = _circles(fixed, radius)
    both, both_reach = _circles([*fixed, *sleeves], radius)
    points = [extremes(inner, both, both_reach), wall_touching(inner, both, both_reach)[0]]
    i, j = np.triu_indices(len(both), 1)
    points.append(crossings(both[i], both_reach[i], both[j], both_reach[j])[0])
    points.append(np.array([[p.x_mm, p.y_mm] for p in sleeves], dtype=np.float64).reshape(-1, 2))
    every = np.concatenate(points)
    return np.asarray(every[is_free(inner, every, xy, reach)])


def _circles(placed: Sequence[Placed], radius: float) -> tuple[Array, Array]:
    xy = np.array([[p.x_mm, p.y_mm] for p in placed], dtype=np.float64).reshape(-1, 2)
    return xy, np.array([p.outer_mm / 2.0 + radius for p in placed], dtype=np.float64)


def with_cable(placed: Sequence[Placed], later: Later, cable_mm: float) -> list[Placed]:
    """The drawing with a cable in it that could be added.

    Parameters
    ----------
    placed : sequence of Placed
    later : Later
        What `add_cable` found for it.
    cable_mm : float
        Outer diameter (mm).

    Returns
    -------
    list of Placed
        A sleeve that the cable goes through is a collar from now on; the cable has the next
        free number.
    """
    out = [
        replace(p, kind="collar") if p.piece_no == later.through_piece_no else p
        for p in placed
        if p.piece_no not in later.out_piece_nos
    ]
    number = max((p.piece_no for p in placed), default=0) + 1
    return [*out, Placed(number, "cable", cable_mm, later.x_mm, later.y_mm)]


def sleeves_back(
    hole: Opening, placed: Sequence[Placed], sizes_mm: Sequence[float], first_no: int
) -> list[Placed]:
    """Sleeves that fit the room that is left, larger first, lowest place first.

    Parameters
    ----------
    hole : Opening
    placed : sequence of Placed
    sizes_mm : sequence of float
        Outer sizes of the catalogue (mm).
    first_no : int
        Number of the first of them.

    Returns
    -------
    list of Placed

    Notes
    -----
    One plain corner placement: room beside one cable is small, so that a search is not worth it.
    """
    out: list[Placed] = []
    for size in sorted(sizes_mm, reverse=True):
        inner = hole.inset(size / 2.0)
        while len(spots := corners(inner, *_circles([*placed, *out], size / 2.0))):
            x, y = spots[np.lexsort((np.round(spots[:, 0], 6), np.round(spots[:, 1], 6)))[0]]
            out.append(Placed(first_no + len(out), "sleeve", size, float(x), float(y)))
    return out
