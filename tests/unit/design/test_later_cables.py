"""A cable added later: the sleeve that takes it, what comes out, the refill, or why not."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.core.materials import Materials
from pipeline.design.geometry import opening
from pipeline.design.later import Placed, add_cable
from pipeline.design.packing import fill

HOLE = opening("round", 118.0, 0.0)
CABLE = Placed(1, "cable", 36.0, 0.0, -41.0)


def _drawing() -> list[Placed]:
    xy, radii, out = np.array([[0.0, -41.0]]), np.array([18.0]), [CABLE]
    for size in (40.0, 20.0):
        for x, y in fill(HOLE, xy, radii, size / 2.0):
            out.append(Placed(len(out) + 1, "sleeve", size, float(x), float(y)))
        xy = np.array([[p.x_mm, p.y_mm] for p in out])
        radii = np.array([p.outer_mm / 2.0 for p in out])
    return out


def test_a_small_cable_goes_through_a_sleeve(materials: Materials) -> None:
    """15 mm goes through a 20 mm sleeve (bore 16.0): refill pi/4 (20^2 - 15^2) x 20 x 1.15.

    By hand: 137.445 mm2 x 20 mm x 1.15 = 3.161 ml.
    """
    found = add_cable(
        HOLE, _drawing(), 15.0, layer_mm=20.0, allowance_frac=0.15, filler=materials.filler
    )
    assert found.can_be
    piece = next(p for p in _drawing() if p.piece_no == found.through_piece_no)
    assert piece.outer_mm == 20.0
    assert found.out_piece_nos == ()
    assert found.refill_ml == pytest.approx(3.161, abs=0.001)
    # cables 36 and 15 mm in 118: (36^2 + 15^2) / 118^2 = 10.92 %, two cables 31 % (NEC ch. 9)
    assert found.fill_frac == pytest.approx(0.10923, abs=1e-5)
    assert found.fill_limit_frac == 0.31


def test_a_thick_cable_takes_sleeves_out(materials: Materials) -> None:
    """38 mm is over the largest bore (33.6): sleeves of no more than the area of one 40 mm sleeve
    (which alone would do) come out; the rest stays clear of the cable.

    The cut holds the cable and the sleeves, so that its refill lies between (sleeves - cable) and
    sleeves: by hand, pi/4 x area x 20 mm x 1.15.
    """
    drawing = _drawing()
    found = add_cable(
        HOLE, drawing, 38.0, layer_mm=20.0, allowance_frac=0.15, filler=materials.filler
    )
    assert found.can_be
    assert found.through_piece_no is None
    taken = sum(p.outer_mm**2 for p in drawing if p.piece_no in found.out_piece_nos)
    assert 0.0 < taken <= 40.0**2
    refill = found.refill_ml / (np.pi / 4.0 * 20.0 * 1.15 / 1000.0)
    assert max(taken - 38.0**2, 0.0) < refill < taken
    left = [p for p in drawing if p.piece_no not in found.out_piece_nos]
    at = np.array([found.x_mm, found.y_mm])
    for p in left:
        assert np.linalg.norm(at - [p.x_mm, p.y_mm]) >= (p.outer_mm + 38.0) / 2.0 - 1e-6
    assert np.linalg.norm(at) <= 59.0 - 19.0 + 1e-6


def test_a_cable_that_cannot_be(materials: Materials) -> None:
    """80 mm beside a 36 mm cable in 118 mm: 116 of 118 along the diameter only; 83 mm never."""
    options = {"layer_mm": 20.0, "allowance_frac": 0.15, "filler": materials.filler}
    assert add_cable(HOLE, [CABLE], 80.0, **options).can_be  # type: ignore[arg-type]
    found = add_cable(HOLE, [CABLE], 83.0, **options)  # type: ignore[arg-type]
    assert not found.can_be
    assert "no place" in found.words


def test_fill_and_jam_are_warned_with_their_source(materials: Materials) -> None:
    """Third 40 mm cable in 118: ratio 2.95 may jam; 3 x 40^2 / 118^2 = 34 % is under 40 %."""
    two = [Placed(1, "cable", 40.0, -20.0, -34.0), Placed(2, "cable", 40.0, 20.0, -34.0)]
    found = add_cable(HOLE, two, 40.0, layer_mm=20.0, allowance_frac=0.0, filler=materials.filler)
    assert found.fill_frac == pytest.approx(0.34473, abs=1e-5)
    assert len(found.warnings) == 1
    assert "may jam: bore over cable 2.95" in found.warnings[0]
    wide = add_cable(
        HOLE, two[:1], 60.0, layer_mm=20.0, allowance_frac=0.0, filler=materials.filler
    )
    # (40^2 + 60^2) / 118^2 = 37.3 % over 31 % for two
    assert "over 31 %" in wide.warnings[0]
