"""The cross-section of one end: cables, collars and filler sleeves, and what they leave free."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import shapely

from pipeline.core.materials import Item, Materials
from pipeline.design.cables import settle
from pipeline.design.geometry import Array, Opening, circles_area_mm2, largest_free_circle_mm
from pipeline.design.layout import Groups, Lying, Objective, Sleeve, bodies, lie, sleeves
from pipeline.design.packing import overlap_mm
from pipeline.design.pushing import Effort

_TIGHT_MM: Final = 0.25  # cables nearer than this close a gap between them
_ARC_PARTS: Final = 48  # straight parts per quarter circle in the search for closed gaps
_SHARES: Final = (1.0, 0.5)  # parts of the clearance that are tried, largest first


@dataclass(frozen=True)
class Strand:
    """One cable (or sub-duct) in the section."""

    cable_id: str
    cable_class: str
    covering: str
    outer_mm: float
    kind: str  # single, flat touching, trefoil or bundle
    group_no: int  # strands of one number move as one


@dataclass(frozen=True)
class Section:
    """A drawn cross-section; origin at the centre of the opening, y up."""

    hole: Opening
    strands: tuple[Strand, ...]
    xy_mm: Array  # (n, 2) centres of the strands
    collars: dict[int, Item] = field(default_factory=dict)  # by position of the strand
    sleeves: tuple[Sleeve, ...] = ()
    arrangement: str = "empty"
    free_circle_mm: float = 0.0  # the worse of both arrangements
    has_closed_gap: bool = False
    more: tuple[Sleeve, ...] = ()  # sleeves beyond the drawn ones, were the cables left as found

    @property
    def cables_area_mm2(self) -> float:
        """Area of all strands (mm2), from true sizes."""
        return circles_area_mm2(_outer(self.strands))


def draw(
    hole: Opening, strands: Sequence[Strand], *, materials: Materials, rule: SectionRule
) -> Section | None:
    """Draw the cross-section of an end.

    Parameters
    ----------
    hole : Opening
    strands : sequence of Strand
    materials : Materials
    rule : SectionRule
        Leave to move cables apart, clearance, objective and effort.

    Returns
    -------
    Section or None
        None when the cables find no place in the opening.
    """
    strands = tuple(strands)
    outer = _outer(strands)
    groups = tuple((s.kind, s.group_no) for s in strands)
    settled = settle(hole, bodies(groups, outer))
    if settled is None:
        return None
    lying, words, collars = Lying(settled), "as found" if strands else "empty", dict[int, Item]()
    circle = drawn_circle = largest_free_circle_mm(hole, settled, outer / 2.0)
    other: tuple[Sleeve, ...] = ()
    items, objective = materials.sleeves, rule.objective
    may_move = rule.may_separate and bool(strands)
    apart = _apart(hole, strands, groups, materials, rule.clearance_mm) if may_move else None
    if apart is not None:
        lying, share_mm, collars = apart
        words = f"separated to {share_mm:g} mm"
        drawn_circle = largest_free_circle_mm(hole, lying.xy_mm, outer / 2.0)
        circle = max(circle, drawn_circle)
        # counted only, never drawn: a short search will do
        found = lie(hole, outer, groups, spread_mm=0.0) or Lying(settled)
        other = sleeves(hole, found, outer, items, objective=objective, effort="quick")
    drawn = sleeves(
        hole,
        lying,
        _with_collars(outer, collars),
        items,
        objective=objective,
        effort=rule.effort,
    )
    return Section(
        hole,
        strands,
        lying.xy_mm,
        collars,
        drawn,
        words,
        circle,
        has_closed_gap(
            hole,
            lying.xy_mm,
            outer / 2.0,
            nozzle_mm=materials.sealant.nozzle_mm,
            free_circle_mm=drawn_circle,
        ),
        _beyond(other, drawn),
    )


def _beyond(other: Sequence[Sleeve], drawn: Sequence[Sleeve]) -> tuple[Sleeve, ...]:
    """Sleeves of another arrangement that are more, size by size, than the drawn ones."""
    left = Counter(s.item_id for s in drawn)
    out = []
    for sleeve in other:
        if left[sleeve.item_id] > 0:
            left[sleeve.item_id] -= 1
        else:
            out.append(sleeve)
    return tuple(out)


@dataclass(frozen=True)
class SectionRule:
    """What the settings say about cross-sections."""

    may_separate: bool
    clearance_mm: float
    objective: Objective
    effort: Effort = "standard"


def _outer(strands: Sequence[Strand]) -> Array:
    return np.array([s.outer_mm for s in strands], dtype=np.float64)


def _apart(
    hole: Opening,
    strands: Sequence[Strand],
    groups: Groups,
    materials: Materials,
    clearance_mm: float,
) -> tuple[Lying, float, dict[int, Item]] | None:
    """Cables moved apart and small ones in collars, and the clearance; None without room."""
    outer = _outer(strands)
    collars = _collars(strands, materials)
    for share in _SHARES:
        for wanted in (collars, {}) if collars else ({},):
            spread_mm = clearance_mm * share
            lying = lie(hole, _with_collars(outer, wanted), groups, spread_mm=spread_mm)
            if lying is not None:
                return lying, spread_mm, dict(wanted)
    return None


def _collars(strands: Sequence[Strand], materials: Materials) -> dict[int, Item]:
    """The smallest collar whose bore takes each small cable that lies alone."""
    out: dict[int, Item] = {}
    for i, strand in enumerate(strands):
        if strand.kind != "single" or strand.outer_mm > materials.filler.collar_up_to_mm:
            continue
        for item in materials.collars:
            if materials.filler.bore_mm(item.outer_mm or 0.0) >= strand.outer_mm:
                out[i] = item
                break
    return out


def _with_collars(outer: Array, collars: dict[int, Item]) -> Array:
    size = outer.copy()
    for i, item in collars.items():
        size[i] = item.outer_mm or size[i]
    return size


def has_closed_gap(
    hole: Opening, xy_mm: Array, radii_mm: Array, *, nozzle_mm: float, free_circle_mm: float
) -> bool:
    """True when the cables close off a gap that a nozzle cannot enter.

    Parameters
    ----------
    hole : Opening
    xy_mm, radii_mm : array (n, 2), (n,)
        The cables (mm).
    nozzle_mm : float
        Outside of the nozzle (mm).
    free_circle_mm : float
        Radius of the largest circle that fits between them (mm).

    Returns
    -------
    bool

    Notes
    -----
    Cables nearer than 0.25 mm to each other or to the wall close the gap between them (house
    rule). Wedges that open into a wider space are filled from there and do not count.
    """
    if len(radii_mm) == 0:
        return False
    if overlap_mm(hole, xy_mm, radii_mm) < -_TIGHT_MM:
        # nothing is near enough to close anything off: all that is free hangs together
        return free_circle_mm - _TIGHT_MM / 2.0 < nozzle_mm / 2.0
    rest = outline(hole).difference(
        shapely.union_all(
            shapely.buffer(shapely.points(xy_mm), radii_mm + _TIGHT_MM / 2.0, quad_segs=_ARC_PARTS)
        )
    )
    # the wall closes a gap in the same way
    rest = rest.intersection(outline(hole.inset(_TIGHT_MM / 2.0)))
    parts = [p for p in shapely.get_parts(rest) if p.area > 1.0]
    return any(p.buffer(-nozzle_mm / 2.0).is_empty for p in parts)


def outline(hole: Opening) -> shapely.Polygon:
    """The opening as a polygon (mm), arcs in straight parts."""
    if hole.is_round:
        return shapely.Point(0.0, 0.0).buffer(hole.corner_mm, quad_segs=_ARC_PARTS)
    cx, cy = hole.half_x_mm - hole.corner_mm, hole.half_y_mm - hole.corner_mm
    core = shapely.MultiPoint([(-cx, -cy), (-cx, cy), (cx, -cy), (cx, cy)]).convex_hull
    return core.buffer(hole.corner_mm, quad_segs=_ARC_PARTS) if hole.corner_mm else core
