"""Chance that a flood comes at least once in a number of years, against published statements."""

from __future__ import annotations

import math

import pytest

from pipeline.core.curves import encounter_frac

# Published statements; the figures are printed there to whole per cent, some of them cut:
# 30 years: state water agency page and a national survey's text (26 %); 50 years: state floodplain
# document (39 %, cut from 39.50); 70 years: US design guide for critical facilities (50 %, cut);
# T = 50, N = 10: engineering examination question, with (49/50)^10 = 0.817.
PUBLISHED = [(100, 30, 26.0), (100, 50, 39.0), (100, 70, 50.0), (100, 100, 63.0), (50, 10, 18.3)]

# Worked by hand as 100 (1 - (1 - 1/T)^N), tolerance half of the last digit.
TABLE = {
    10: (10.00, 65.13, 87.84, 95.76, 99.48, 99.94, 100.00),
    25: (4.00, 33.52, 55.80, 70.61, 87.01, 94.26, 98.31),
    50: (2.00, 18.29, 33.24, 45.45, 63.58, 75.69, 86.74),
    100: (1.00, 9.56, 18.21, 26.03, 39.50, 50.52, 63.40),
    200: (0.50, 4.89, 9.54, 13.96, 22.17, 29.59, 39.42),
    500: (0.20, 1.98, 3.92, 5.83, 9.53, 13.08, 18.14),
    1000: (0.10, 1.00, 1.98, 2.96, 4.88, 6.76, 9.52),
}
YEARS = (1, 10, 20, 30, 50, 70, 100)


@pytest.mark.parametrize(("period", "years", "percent"), PUBLISHED)
def test_published_statements(period: int, years: int, percent: float) -> None:
    """Each statement holds to its last printed digit, cut or rounded."""
    found = 100.0 * float(encounter_frac(1.0 / period, years))
    digit = 0.1 if percent % 1 else 1.0
    assert abs(found - percent) < digit


@pytest.mark.parametrize("period", TABLE)
def test_the_whole_table(period: int) -> None:
    """Every cell to 0.005 of a per cent."""
    found = [100.0 * float(encounter_frac(1.0 / period, years)) for years in YEARS]
    assert found == pytest.approx(TABLE[period], abs=0.005)


def test_limits() -> None:
    """Never, every year, and not known."""
    assert float(encounter_frac(0.0, 25)) == 0.0
    assert float(encounter_frac(1.0, 25)) == pytest.approx(1.0)
    assert math.isnan(float(encounter_frac(math.nan, 25)))
