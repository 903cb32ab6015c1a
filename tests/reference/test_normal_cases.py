"""Chance that an opening lies below the water, against the table of the normal distribution."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.core.handbook import K_95
from pipeline.exposure.classify import chance_below
from pipeline.levels.chance import disagreement_limit_m, limit_mm

# z -> Phi(z), standard normal table of any statistics text, four decimals
TABLE = {
    0.0: 0.5000, 0.25: 0.5987, 0.4: 0.6554, 0.5: 0.6915, 0.6745: 0.7500, 1.0: 0.8413,
    1.2816: 0.9000, 1.6449: 0.9500, 1.96: 0.9750, 2.0: 0.9772, 2.3263: 0.9900, 3.0: 0.9987,
}  # fmt: skip


@pytest.mark.parametrize(("z", "phi"), sorted(TABLE.items()))
def test_the_normal_table(z: float, phi: float) -> None:
    """Water z doubts above the opening: Phi(z); as far below it: 1 - Phi(z)."""
    assert chance_below(10.0, 0.6, 10.0 + z, 0.8) == pytest.approx(phi, abs=5e-5)
    assert chance_below(10.0, 0.6, 10.0 - z, 0.8) == pytest.approx(1.0 - phi, abs=5e-5)


@pytest.mark.parametrize(
    ("level_m", "water_m", "u_level_m", "u_water_m", "expected"),
    [
        # hand cases: z = (W - E) / sqrt(u_E^2 + u_W^2), then the table
        (10.00, 10.10, 0.15, 0.20, 0.6554),  # 0.10 / 0.25 = 0.40
        (10.00, 10.50, 0.15, 0.20, 0.9772),
        (10.00, 9.80, 0.15, 0.20, 0.2119),  # -0.80
        (10.00, 10.10, 0.03, 0.04, 0.9772),  # 0.10 / 0.05 = 2.00
        (10.20, 10.00, 0.03, 0.15, 0.0955),  # -0.20 / 0.1530 = -1.307
        (10.00, 10.30, 5.00, 0.20, 0.5239),  # a handheld height decides nothing: 0.06
    ],
)
def test_hand_cases(
    level_m: float, water_m: float, u_level_m: float, u_water_m: float, expected: float
) -> None:
    """Opening and water with their doubts, worked by hand."""
    found = chance_below(level_m, u_level_m, water_m, u_water_m)
    assert found == pytest.approx(expected, abs=6e-5)


@pytest.mark.parametrize(
    ("level_m", "u_level_m", "two_decimals"),
    [(20.55, 0.03, 0.75), (20.55, 0.16, 0.64), (20.70, 0.03, 0.22), (20.90, 0.16, 0.07)],
)
def test_worked_examples(level_m: float, u_level_m: float, two_decimals: float) -> None:
    """Water 20.62 with doubt 0.10; hand calculations to two decimals."""
    assert round(chance_below(level_m, u_level_m, 20.62, 0.10), 2) == two_decimals


def test_without_doubt_equal_is_below() -> None:
    """Both doubts zero: a step, and water that stands exactly at the opening passes."""
    assert chance_below(10.0, 0.0, 10.0, 0.0) == 1.0
    assert chance_below(10.001, 0.0, 10.0, 0.0) == 0.0


def test_the_one_sided_factor() -> None:
    """1.645 doubts hold 95 % on one side (normal table, 1.6449)."""
    assert chance_below(10.0, 0.1, 10.0 + 0.1 * K_95, 0.0) == pytest.approx(0.95, abs=2e-4)


def test_limits_are_rounded_up_to_whole_millimetres() -> None:
    """1.645 x 0.010 = 16.45: 17; + 5 mm bias = 21.45: 22; 1.645 x 0.200 = 329 exactly stays 329."""
    found = limit_mm([0.010, 0.010, 0.200, math.nan], [0.0, 0.005, 0.0, 0.0], 1.645)
    assert found[:3].tolist() == [17.0, 22.0, 329.0]
    assert np.isnan(found[3])


def test_shared_parts_cancel_in_a_difference() -> None:
    """Two dips of 0.010 from one cover of 0.250 differ by 2 sqrt(2) x 0.010 = 28 mm at most."""
    whole = math.hypot(0.250, 0.010)
    assert disagreement_limit_m(whole, whole, 0.250**2) == pytest.approx(0.028284, abs=1e-6)
    assert disagreement_limit_m(0.03, 0.04, 0.0) == pytest.approx(0.100)
