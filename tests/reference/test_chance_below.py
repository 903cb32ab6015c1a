"""Chance that an opening lies below the water: standard normal table and worked cases.

Source of the table: the standard normal distribution as any statistics text prints it. The cases
are computed from the formula Phi((F - E) / sqrt(uE^2 + uF^2)) with that table.
"""

from __future__ import annotations

import math

import pytest

from pipeline.exposure.classify import chance_below

TABLE = (
    (0.0, 0.5000), (0.25, 0.5987), (0.4, 0.6554), (0.5, 0.6915), (0.6745, 0.7500), (1.0, 0.8413),
    (1.2816, 0.9000), (1.6449, 0.9500), (1.96, 0.9750), (2.0, 0.9772), (2.3263, 0.9900),
    (3.0, 0.9987),
)  # fmt: skip


@pytest.mark.parametrize(("z", "expected"), TABLE)
def test_standard_normal_table(z: float, expected: float) -> None:
    """Water z doubts above the opening: the table to its four decimals."""
    assert chance_below(0.0, 1.0, z, 0.0) == pytest.approx(expected, abs=5e-5)
    assert chance_below(0.0, 0.0, -z, 1.0) == pytest.approx(1 - expected, abs=5e-5)


@pytest.mark.parametrize(
    ("level", "water", "u_level", "u_water", "expected"),
    [
        (10.00, 10.10, 0.15, 0.20, 0.6554),
        (10.00, 10.50, 0.15, 0.20, 0.9772),
        (10.00, 9.80, 0.15, 0.20, 0.2119),
        (10.00, 10.10, 0.03, 0.04, 0.9772),
        (10.20, 10.00, 0.03, 0.15, 0.0955),
        (10.00, 10.30, 5.0, 0.04, 0.5239),
    ],
)
def test_worked_cases(
    level: float, water: float, u_level: float, u_water: float, expected: float
) -> None:
    """Six cases; the last one shows that a handheld height decides nothing."""
    assert chance_below(level, u_level, water, u_water) == pytest.approx(expected, abs=5e-5)


def test_without_doubt_equal_is_below() -> None:
    """Both doubts zero: a step, and equal counts as below (house rule: equal is wet)."""
    assert chance_below(10.0, 0.0, 10.0, 0.0) == 1.0
    assert chance_below(10.001, 0.0, 10.0, 0.0) == 0.0
    assert chance_below(10.0, 0.0, 10.0, math.nan) == 1.0
