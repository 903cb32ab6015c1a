"""Layouts that near sizes share: the same pieces, and no shared place that true sizes forbid."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.core.materials import Materials
from pipeline.design import layout
from pipeline.design.geometry import opening
from pipeline.design.layout import Lying, lie, sleeves
from pipeline.design.packing import overlap_mm

SINGLES = (("single", 1), ("single", 2))
TREFOIL = (("trefoil", 1),) * 3


def test_near_sizes_share_one_layout(materials: Materials) -> None:
    """Bores of 103.1 to 103.9 with cables of 21.1 to 22 mm are laid out once, at equal places."""
    layout._packed.cache_clear()
    layout._laid.cache_clear()
    rng = np.random.default_rng(1)
    found = []
    for _ in range(20):
        hole = opening("round", 103.0 + float(rng.uniform(0.1, 0.9)), 0.0)
        outer = rng.uniform(21.1, 22.0, 2)
        lying = lie(hole, outer, SINGLES, spread_mm=8.0)
        assert lying is not None
        assert lying.near is not None
        made = sleeves(
            hole, lying, outer, materials.sleeves, objective="larger first", effort="standard"
        )
        found.append((lying.near, made))
        at = np.vstack([lying.xy_mm, [[s.x_mm, s.y_mm] for s in made]])
        radii = np.concatenate([outer, [s.outer_mm for s in made]]) / 2.0
        assert overlap_mm(hole, at, radii) <= 1e-6
    assert len(set(found)) == 1
    assert layout._packed.cache_info().misses == 1
    assert layout._laid.cache_info().misses == 1


def test_a_whole_millimetre_more_is_another_layout() -> None:
    """103.9 and 104.1 mm do not share."""
    outer = np.array([22.0, 22.0])
    near = [
        lie(opening("round", bore, 0.0), outer, SINGLES, spread_mm=8.0) for bore in (103.9, 104.1)
    ]
    assert near[0] is not None
    assert near[1] is not None
    assert near[0].near != near[1].near


def test_a_shared_trefoil_touches_at_its_true_size() -> None:
    """Groups are drawn in until they touch: all three distances are the diameter, to 1e-6 mm."""
    lying = lie(opening("round", 138.4, 0.0), np.full(3, 32.35), TREFOIL, spread_mm=8.0)
    assert lying is not None
    assert lying.near is not None
    for i, j in ((0, 1), (0, 2), (1, 2)):
        apart = float(np.linalg.norm(lying.xy_mm[i] - lying.xy_mm[j]))
        assert apart == pytest.approx(32.35, abs=1e-6)


def test_unequal_groups_lie_by_their_own_sizes() -> None:
    """A group of unequal cables has another shape when rounded: nothing is shared."""
    outer = np.array([32.35, 32.35, 20.1])
    lying = lie(opening("round", 138.4, 0.0), outer, TREFOIL, spread_mm=8.0)
    assert lying is not None
    assert lying.near is None
    for i, j in ((0, 1), (0, 2), (1, 2)):
        apart = float(np.linalg.norm(lying.xy_mm[i] - lying.xy_mm[j]))
        assert apart == pytest.approx((outer[i] + outer[j]) / 2.0, abs=1e-6)


def test_what_only_fits_at_true_sizes_is_laid_by_them() -> None:
    """Two cables of 50.6 fit a bore of 101.9 side by side; 51 in 101 do not."""
    lying = lie(opening("round", 101.9, 0.0), np.full(2, 50.6), SINGLES, spread_mm=0.0)
    assert lying is not None
    assert lying.near is None


def test_a_shared_place_that_does_not_hold_is_made_anew(materials: Materials) -> None:
    """Sleeves that a true cable would cut are not taken from the shared layout."""
    hole, outer = opening("round", 103.5, 0.0), np.array([22.0])
    honest = lie(hole, outer, (("single", 1),), spread_mm=8.0)
    assert honest is not None
    moved = Lying(honest.xy_mm + np.array([0.0, 25.0]), honest.near)
    made = sleeves(hole, moved, outer, materials.sleeves, objective="larger first", effort="quick")
    at = np.vstack([moved.xy_mm, [[s.x_mm, s.y_mm] for s in made]])
    radii = np.concatenate([outer, [s.outer_mm for s in made]]) / 2.0
    assert overlap_mm(hole, at, radii) <= 1e-6
