"""Water pressure, shear, edge tension and thrust against hand calculations.

g = 9.81 m/s2, 1000 kg/m3. Edge tension of a clamped round plate, 0.75 p (a/t)^2: from memory, any
handbook of stresses.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.design.stress import (
    bending_kpa,
    bond,
    layer_for_bending_mm,
    layer_for_shear_mm,
    pressure_kpa,
    sea_head_m,
    shear_kpa,
    thrust_n,
)


@pytest.mark.parametrize(
    ("head_m", "kpa"), [(0.5, 4.905), (1.0, 9.81), (2.0, 19.62), (3.0, 29.43), (5.0, 49.05)]
)
def test_pressure(head_m: float, kpa: float) -> None:
    """Hydrostatic pressure: density x g x head, by hand."""
    assert pressure_kpa(head_m) == pytest.approx(kpa, rel=1e-12)


@pytest.mark.parametrize(("bore_mm", "newton"), [(50, 38.5), (100, 154), (150, 347), (200, 616)])
def test_thrust(bore_mm: float, newton: float) -> None:
    """Thrust on a blank under 2 m of water: 19.62 kPa x pi/4 d^2, by hand to three figures."""
    force = thrust_n(pressure_kpa(2.0), math.pi / 4.0 * bore_mm**2)
    assert force == pytest.approx(newton, rel=2e-3)


def test_thrust_to_six_figures() -> None:
    """Blank 150 and 100 mm, 2 m: 346.714 N and 154.095 N, by hand."""
    assert thrust_n(pressure_kpa(2.0), math.pi / 4 * 150**2) == pytest.approx(346.714, abs=5e-4)
    assert thrust_n(pressure_kpa(2.0), math.pi / 4 * 100**2) == pytest.approx(154.095, abs=5e-4)


def test_blank_150_under_two_metres() -> None:
    """Blank 150 mm, 2 m, 20 mm: 36.8 kPa shear (p d / 4t) and 207 kPa edge tension, by hand."""
    p = pressure_kpa(2.0)
    area, edge = math.pi / 4 * 150**2, math.pi * 150
    assert shear_kpa(p, area_mm2=area, perimeter_mm=edge, layer_mm=20) == pytest.approx(
        36.8, abs=0.05
    )
    assert bending_kpa(p, free_circle_mm=75, layer_mm=20) == pytest.approx(207, abs=0.5)


def test_blank_100_under_two_metres() -> None:
    """Blank 100 mm, 2 m, 20 mm: 24.5 kPa shear and 92.0 kPa edge tension, by hand."""
    p = pressure_kpa(2.0)
    area, edge = math.pi / 4 * 100**2, math.pi * 100
    assert shear_kpa(p, area_mm2=area, perimeter_mm=edge, layer_mm=20) == pytest.approx(
        19.62 * 100 / 4 / 20
    )
    assert bending_kpa(p, free_circle_mm=50, layer_mm=20) == pytest.approx(0.75 * 19.62 * 6.25)


@pytest.mark.parametrize(("bore_mm", "layer_mm"), [(150.0, 40.7), (100.0, 27.1)])
def test_layer_at_50_kpa(bore_mm: float, layer_mm: float) -> None:
    """Factor 1 and both strengths 50 kPa under 2 m: 40.7 and 27.1 mm, bending decides."""
    p = pressure_kpa(2.0)
    area, edge = math.pi / 4 * bore_mm**2, math.pi * bore_mm
    bending = layer_for_bending_mm(p, free_circle_mm=bore_mm / 2, tension_kpa=50.0)
    shear = layer_for_shear_mm(p, area_mm2=area, bond_kpa_mm=edge * 50.0)
    assert bending == pytest.approx(layer_mm, abs=0.05)
    assert shear < bending
    assert shear == pytest.approx(p * bore_mm / 4 / 50.0)


def test_sea_water() -> None:
    """Sea water over fresh: 1.025 (common value, from memory)."""
    assert sea_head_m(2.0, is_sea=True) == pytest.approx(2.05)
    assert sea_head_m(2.0, is_sea=False) == 2.0


def test_weak_edges_never_add_at_full_strength() -> None:
    """Edges 300 mm at 100 and 100 mm at 20 kPa: the better of 300 x 100 and 400 x 20."""
    assert bond([(300.0, 100.0), (100.0, 20.0)]) == (30000.0, 300.0)
    assert bond([(300.0, 100.0), (400.0, 90.0)]) == (63000.0, 700.0)
    assert bond([(300.0, 0.0)]) == (0.0, 0.0)


def test_more_head_or_less_bond_is_never_thinner() -> None:
    """The layer grows with the head, and with every loss of bond."""
    heads = [layer_for_bending_mm(pressure_kpa(h), free_circle_mm=60, tension_kpa=90)
             for h in np.linspace(0, 6, 25)]  # fmt: skip
    assert np.all(np.diff(heads) > 0)
    assert layer_for_shear_mm(10.0, area_mm2=5000, bond_kpa_mm=0.0) == math.inf
