"""A cable that is added later: which sleeve takes it, what must come out, or why it cannot be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pipeline.core.materials import Filler
from pipeline.design.corners import TOUCH_MM, corners, is_free
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
    and wall, that costs the least area of sleeves. The refill is the cut-out less the new cable.
    """
    fill = _fill(hole, placed, cable_mm)
    through = _through(placed, cable_mm, filler)
    if through is not None:
        area = circles_area_mm2(np.array([through.outer_mm]))
        return _answer(
            through, (), (through.x_mm, through.y_mm), _ml(area, cable_mm, layer_mm, allowance_frac),
            fill, f"through sleeve {through.piece_no} ({through.outer_mm:g} mm), which stays",
        )  # fmt: skip
    spot = _least_out(hole, placed, cable_mm)
    if spot is None:
        words = f"no: a {cable_mm:g} mm cable finds no place clear of the cables and the wall"
        return _answer(None, None, (np.nan, np.nan), np.nan, fill, words)
    (x, y), out = spot
    area = circles_area_mm2(np.array([p.outer_mm for p in out])) if out else 0.0
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
    fill: tuple[float, float, tuple[str, ...]],
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
    )


def _ml(area_mm2: float, cable_mm: float, layer_mm: float, allowance_frac: float) -> float:
    net = max(area_mm2 - circles_area_mm2(np.array([cable_mm])), 0.0)
    return net * layer_mm * (1.0 + allowance_frac) / 1000.0


def _fill(
    hole: Opening, placed: Sequence[Placed], cable_mm: float
) -> tuple[float, float, tuple[str, ...]]:
    sizes = [p.outer_mm for p in placed if p.kind == "cable"] + [cable_mm]
    fill = circles_area_mm2(np.array(sizes)) / hole.area_mm2
    limit = _FILL_FRAC.get(len(sizes), _FILL_MORE_FRAC)
    warnings = []
    if fill > limit:
        warnings.append(f"fill {100 * fill:.0f} % over {100 * limit:.0f} % ({FILL_SOURCE})")
    ratio = 2.0 * min(hole.half_x_mm, hole.half_y_mm) / cable_mm
    if len(sizes) >= 3 and _JAM[0] <= ratio <= _JAM[1]:
        warnings.append(f"may jam: bore over cable {ratio:.2f} ({JAM_SOURCE})")
    return fill, limit, tuple(warnings)


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
    """Places clear of cables and wall: corners among everything, and the sleeves' own centres."""
    xy, reach = _circles(fixed, radius)
    both, both_reach = _circles([*fixed, *sleeves], radius)
    own = np.array([[p.x_mm, p.y_mm] for p in sleeves]).reshape(-1, 2)
    own = own[is_free(inner, own, xy, reach)] if len(own) else own
    return np.vstack([corners(inner, both, both_reach), corners(inner, xy, reach), own])


def _circles(placed: Sequence[Placed], radius: float) -> tuple[Array, Array]:
    xy = np.array([[p.x_mm, p.y_mm] for p in placed], dtype=np.float64).reshape(-1, 2)
    return xy, np.array([p.outer_mm / 2.0 + radius for p in placed], dtype=np.float64)
