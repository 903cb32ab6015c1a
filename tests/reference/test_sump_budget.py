"""Leak budgets and failed seals against hand calculation and the binomial distribution."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.exposure.filling import Rooms, hours_to_critical_h
from pipeline.exposure.leaks import (
    SHARP_EDGED,
    SHORT_TUBE,
    budget_at_head_l_per_h,
    chance_pump_overrun_frac,
    gap_conductance_l_per_s,
    gap_flow_l_per_s,
    gap_for_flow_mm2,
    seal_budget_l_per_h,
)


def test_gap_flow_by_hand() -> None:
    """A 100 mm2 gap under 2 m: 0.61 or 0.8165 x 1e-4 m2 x 6.2642 m/s = 0.3821, 0.5115 l/s."""
    assert gap_flow_l_per_s(100.0, 2.0, discharge_coefficient=SHARP_EDGED) == pytest.approx(
        0.3821, abs=5e-5
    )
    assert gap_flow_l_per_s(100.0, 2.0) == pytest.approx(0.5115, abs=5e-5)
    assert gap_flow_l_per_s(100.0, [-1.0, 0.0]).tolist() == [0.0, 0.0]
    assert np.isnan(gap_flow_l_per_s([np.nan, 1.0], [1.0, np.nan])).all()


def test_coefficients() -> None:
    """Kirchhoff's pi/(pi + 2) = 0.611; entry and exit in series 1/sqrt(1.5) = 0.8165."""
    assert pytest.approx(math.pi / (math.pi + 2), abs=2e-3) == SHARP_EDGED
    assert pytest.approx(1 / math.sqrt(1.5), abs=5e-5) == SHORT_TUBE


def test_budget_by_hand() -> None:
    """20 l/min pump, 12 seals: 100 l/h each; 240 l/h of groundwater: 80; no pump, 600 l, 10 h: 5."""
    assert seal_budget_l_per_h(20.0, 12) == pytest.approx(100.0)
    assert seal_budget_l_per_h(20.0, 12, other_inflow_l_per_h=240.0) == pytest.approx(80.0)
    assert seal_budget_l_per_h(0.0, 12, storage_l=600.0, flood_h=10.0) == pytest.approx(5.0)
    assert seal_budget_l_per_h(0.0, 12, other_inflow_l_per_h=9.0) == 0.0
    assert np.isnan(seal_budget_l_per_h(np.nan, 12))
    assert seal_budget_l_per_h(20.0, 0) == math.inf


def test_gap_for_budget_turns_back() -> None:
    """100 l/h at 2 m through a short tube is 5.43 mm2, by hand; the flow of that gap is 100 l/h."""
    gap = gap_for_flow_mm2(100.0, 2.0)
    assert gap == pytest.approx(100 / 3.6 / (0.8165 * 6.2642), abs=2e-3)
    assert gap_flow_l_per_s(gap, 2.0) * 3600 == pytest.approx(100.0, rel=1e-12)
    assert gap_for_flow_mm2(100.0, 0.0) == math.inf


def test_test_head_takes_the_stricter_law() -> None:
    """Test at a quarter of the head: a seep gives 1/4, a gap 1/2; at four times: 4 and 2."""
    got = budget_at_head_l_per_h(100.0, 2.0, [0.5, 2.0, 8.0])
    assert got == pytest.approx([25.0, 100.0, 200.0])


def test_failed_seals_beyond_the_pump() -> None:
    """Ten seals at 5 %, pump takes two failed ones: P(more than two) summed by hand."""
    want = 1 - sum(math.comb(10, k) * 0.05**k * 0.95 ** (10 - k) for k in range(3))
    got = chance_pump_overrun_frac(10, 0.05, 400.0, [800.0, 1199.0, 0.0, np.nan])
    assert got[:2] == pytest.approx([want, want], rel=1e-12)
    assert got[2] == pytest.approx(1 - 0.95**10, rel=1e-12)
    assert np.isnan(got[3])


def test_failed_seal_until_the_critical_depth() -> None:
    """25 mm2 gap (0.0904 l/s at 1 m), 15 m2 room, 0.1 m deep, gap 0.5 m over the floor, 1.5 m
    outside: 1500 l at constant flow = 4.61 h, by hand."""
    c = gap_conductance_l_per_s(25.0)
    got = hours_to_critical_h(Rooms([15.0], [0.0], [0.1], [1.5]), [[0.5]], [[c]])
    assert got == pytest.approx([1500.0 / (0.8165 * 25e-6 * math.sqrt(2 * 9.81) * 1e3) / 3600])
    assert got == pytest.approx([4.61], abs=0.005)
