"""200 random later cables: a yes has a drawn place without overlap, a no survives a fine grid.

Checked by shapely (GEOS) and by plain loops and grids of this file, not by our own geometry.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import shapely

from pipeline.core.materials import Materials, load
from pipeline.design.geometry import Opening, opening
from pipeline.design.later import Later, Placed, add_cable, sleeves_back, with_cable
from pipeline.design.section import SectionRule, Strand, draw

CABLES = 200
SEED = 20310704
GRID_MM = 0.1
Case = tuple[Opening, list[Placed], float, Later]


@cache
def _materials() -> Materials:
    return load(Path(__file__).parents[2] / "configs" / "materials_example.toml")


def _drawing(rng: np.random.Generator) -> tuple[Opening, list[Placed]] | None:
    shape = str(rng.choice(["round", "round", "round", "rectangular", "oval"]))
    first = float(rng.choice([52.0, 74.0, 90.0, 103.0, 118.0, 125.5]))
    hole = opening(shape, first, first * float(rng.choice([0.7, 1.0, 1.2])))
    strands = tuple(
        Strand(f"K{i}", "LV", "plastic", float(rng.choice([14.0, 22.0, 28.5, 33.0, 45.0])), "single", i)
        for i in range(int(rng.integers(0, 5)))
    )  # fmt: skip
    rule = SectionRule(
        may_separate=bool(rng.random() < 0.5), clearance_mm=6.0, objective="larger first"
    )
    section = draw(hole, strands, materials=_materials(), rule=rule)
    if section is None:
        return None
    parts = [("cable", s.outer_mm, *xy) for s, xy in zip(strands, section.xy_mm, strict=True)]
    parts += [("collar", i.outer_mm or 0.0, *section.xy_mm[k]) for k, i in section.collars.items()]
    parts += [("sleeve", s.outer_mm, s.x_mm, s.y_mm) for s in section.sleeves]
    return hole, [
        Placed(n, kind, d, float(x), float(y)) for n, (kind, d, x, y) in enumerate(parts, start=1)
    ]


@cache
def _cases() -> list[Case]:
    rng = np.random.default_rng(SEED)
    out: list[Case] = []
    while len(out) < CABLES:
        drawing = _drawing(rng)
        if drawing is None:
            continue
        hole, placed = drawing
        for size in rng.uniform(6.0, 0.75 * 2.0 * min(hole.half_x_mm, hole.half_y_mm), 4):
            d = round(float(size), 1)
            later = add_cable(
                hole, placed, d, layer_mm=20.0, allowance_frac=0.0, filler=_materials().filler
            )
            out.append((hole, placed, d, later))
    return out[:CABLES]


def _disc(x: float, y: float, d: float) -> Any:
    return shapely.Point(x, y).buffer(d / 2.0, quad_segs=64)


def _wall(hole: Opening) -> Any:
    cx, cy = hole.half_x_mm - hole.corner_mm, hole.half_y_mm - hole.corner_mm
    core = shapely.MultiPoint([(-cx, -cy), (cx, cy), (-cx, cy), (cx, -cy)]).envelope
    # straight parts lie inside the true arc by up to r (1 - cos(pi / (4 n))): let out by that
    out = hole.corner_mm / math.cos(math.pi / (4 * 512))
    return core.buffer(out, quad_segs=512) if hole.corner_mm else core


def _overlap_mm(circles: list[Placed]) -> float:
    """Deepest overlap of circles, pair by pair; a cable within its collar is no overlap."""
    deepest = 0.0
    for a, b in combinations(circles, 2):
        apart = math.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm)
        is_inside = {a.kind, b.kind} == {"cable", "collar"} and apart < 1e-9
        deepest = max(deepest, 0.0 if is_inside else (a.outer_mm + b.outer_mm) / 2.0 - apart)
    return deepest


def test_the_sample_holds_every_answer() -> None:
    """Through a sleeve, with sleeves out, and no place at all: each comes many times."""
    kinds = [
        "no" if not later.can_be else "through" if later.through_piece_no else "out"
        for *_, later in _cases()
    ]
    assert len(kinds) == CABLES
    assert min(kinds.count(k) for k in ("no", "through", "out")) >= 20


def test_a_yes_has_a_drawn_place() -> None:
    """The new drawing has no overlap above 1e-6 mm, by loops and by shapely; none leaves the wall."""
    for hole, placed, d, later in _cases():
        if not later.can_be:
            continue
        drawn = with_cable(placed, later, d)
        drawn += sleeves_back(hole, drawn, [40.0, 30.0, 20.0, 15.0, 10.0], 1000)
        assert _overlap_mm(drawn) <= 1e-6
        wall, new = _wall(hole), _disc(later.x_mm, later.y_mm, d)
        assert new.difference(wall).area < 1e-5
        others = [p for p in drawn if (p.x_mm, p.y_mm) != (later.x_mm, later.y_mm)]
        touching = [_disc(p.x_mm, p.y_mm, p.outer_mm).intersection(new).area for p in others]
        assert max(touching, default=0.0) < 1e-5
        if later.through_piece_no is not None:
            sleeve = next(p for p in placed if p.piece_no == later.through_piece_no)
            # wall rule of the example file: 0.8 mm and 6 % of the outer size on each side
            assert d <= sleeve.outer_mm - 2.0 * (0.8 + 0.06 * sleeve.outer_mm) + 1e-9


def _grid(hole: Opening, fixed: list[Placed], d: float) -> npt.NDArray[np.float64]:
    """Grid points where a circle clears the wall and the fixed circles by more than float noise."""
    x = np.arange(-hole.half_x_mm, hole.half_x_mm + GRID_MM, GRID_MM)
    y = np.arange(-hole.half_y_mm, hole.half_y_mm + GRID_MM, GRID_MM)
    at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    dx = np.maximum(np.abs(at[:, 0]) - (hole.half_x_mm - hole.corner_mm), 0.0)
    dy = np.maximum(np.abs(at[:, 1]) - (hole.half_y_mm - hole.corner_mm), 0.0)
    if hole.corner_mm > d / 2.0:
        at = at[np.hypot(dx, dy) <= hole.corner_mm - d / 2.0 - 1e-6]
    else:
        at = at[
            (np.abs(at[:, 0]) <= hole.half_x_mm - d / 2.0 - 1e-6)
            & (np.abs(at[:, 1]) <= hole.half_y_mm - d / 2.0 - 1e-6)
        ]
    for p in fixed:
        far = np.hypot(at[:, 0] - p.x_mm, at[:, 1] - p.y_mm) >= (p.outer_mm + d) / 2.0 + 1e-6
        at = at[far]
    return np.asarray(at, dtype=np.float64)


def test_a_no_survives_a_fine_grid() -> None:
    """Where the answer is no, no point of a 0.1 mm grid clears cables, collars and wall."""
    for hole, placed, d, later in _cases():
        if later.can_be:
            continue
        fixed = [p for p in placed if p.kind != "sleeve"]
        assert len(_grid(hole, fixed, d)) == 0
        assert all(  # and no sleeve's bore takes it
            p.outer_mm - 2.0 * (0.8 + 0.06 * p.outer_mm) < d for p in placed if p.kind == "sleeve"
        )


@pytest.mark.parametrize("part", range(4))
def test_the_fewest_sleeves_come_out(part: int) -> None:
    """No point of a 0.1 mm grid costs less area of sleeves than the place that was chosen."""
    for hole, placed, d, later in _cases()[part::4]:
        if not later.can_be or later.through_piece_no is not None:
            continue
        at = _grid(hole, [p for p in placed if p.kind != "sleeve"], d)
        if not len(at):
            continue
        cost = np.zeros(len(at))
        sizes = {p.piece_no: p.outer_mm for p in placed}
        for p in placed:
            if p.kind == "sleeve":
                hit = np.hypot(at[:, 0] - p.x_mm, at[:, 1] - p.y_mm) < (p.outer_mm + d) / 2.0
                cost += hit * p.outer_mm**2
        assert sum(sizes[n] ** 2 for n in later.out_piece_nos) <= cost.min() + 1e-6
