"""Sealant of well-known ends: volumes by hand and the steps in whole cartridges."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.design.geometry import circles_area_mm2, free_area_mm2, opening
from pipeline.design.quantity import sealant_ml

CARTRIDGE_ML = 310.0


def _cartridges(bore_mm: float, cables_mm: list[float], allowance: float) -> int:
    area = free_area_mm2(opening("round", bore_mm, 0.0), np.array(cables_mm))
    return math.ceil(sealant_ml(area, 20.0, allowance) / CARTRIDGE_ML)


@pytest.mark.parametrize(
    ("bore_mm", "cables_mm", "area_mm2", "ml"),
    [
        # computed by hand from pi/4 (D^2 - sum d^2) x 20 mm
        (150.0, [37.0] * 3, 14445.83, 288.92),
        (150.0, [], 17671.46, 353.43),
        (125.0, [37.0] * 3, 9046.22, 180.92),
        (125.0, [], 12271.85, 245.44),
        (100.0, [], 7853.98, 157.08),
        (100.0, [37.0], 6778.77, 135.58),
        (100.0, [37.0] * 3, 4628.35, 92.57),
        (100.0, [45.0], 6263.55, 125.27),
        (125.0, [36.0] * 3, 9218.22, 184.36),
        (150.0, [50.0] * 3, 11780.97, 235.62),
    ],
)
def test_volume(bore_mm: float, cables_mm: list[float], area_mm2: float, ml: float) -> None:
    """Free area and net volume of a 20 mm layer, worked by hand to two decimals."""
    area = free_area_mm2(opening("round", bore_mm, 0.0), np.array(cables_mm))
    assert area == pytest.approx(area_mm2, abs=0.006)
    assert sealant_ml(area, 20.0, 0.0) == pytest.approx(ml, abs=0.006)


@pytest.mark.parametrize(
    ("bore_mm", "cables_mm", "allowance", "cartridges"),
    [
        # common practice, no source: two 310 ml cartridges for a 150 mm bore with three 37 mm
        # cables, one for an empty 100, two for an empty 150
        (150.0, [37.0] * 3, 0.07, 1),
        (150.0, [37.0] * 3, 0.08, 2),
        (150.0, [37.0] * 3, 0.15, 2),
        (100.0, [], 0.15, 1),
        (150.0, [], 0.15, 2),
    ],
)
def test_cartridges(
    bore_mm: float, cables_mm: list[float], allowance: float, cartridges: int
) -> None:
    """Whole cartridges on both sides of the step at 7.3 % (common practice, no source)."""
    assert _cartridges(bore_mm, cables_mm, allowance) == cartridges


@pytest.mark.parametrize(
    ("bore_mm", "area", "one_53", "two_31", "more_40"),
    [
        # NEC chapter 9, tables 1 and 4, rigid PVC schedule 40 / HDPE: area and 53, 31, 40 %
        (52.0, 2124, 1126, 658, 849),
        (62.1, 3029, 1605, 939, 1212),
        (77.3, 4693, 2487, 1455, 1877),
        (89.4, 6277, 3327, 1946, 2511),
        (101.5, 8091, 4288, 2508, 3237),
        (127.4, 12748, 6756, 3952, 5099),
        (153.2, 18433, 9770, 5714, 7373),
    ],
)
def test_conduit_areas(bore_mm: float, area: int, one_53: int, two_31: int, more_40: int) -> None:
    """Inside areas of conduits and their fill limits, to the rounding of the code's table."""
    inside = opening("round", bore_mm, 0.0).area_mm2
    assert inside == pytest.approx(area, abs=1.0)
    for share, value in ((0.53, one_53), (0.31, two_31), (0.40, more_40)):
        assert inside * share == pytest.approx(value, abs=1.0)


def test_trefoil_gap() -> None:
    """Gap closed by three touching 37 mm circles: (sqrt 3 - pi/2) r^2 = 55.189 mm2 by hand."""
    triangle = math.sqrt(3.0) * 18.5**2
    assert triangle - circles_area_mm2(np.array([37.0])) / 2.0 == pytest.approx(55.189, abs=0.001)
