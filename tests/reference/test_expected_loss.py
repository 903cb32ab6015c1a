"""Expected annual loss and present value against published tables and hand calculations."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.core.annual_loss import (
    Tail,
    after_sealing,
    building_annual_loss,
    discount_factors,
    expected_annual_loss,
    present_value,
    table_annual_loss,
)
from pipeline.core.curves import chance_of_level
from pipeline.core.units import FloatArray

# Chow, Maidment and Mays, Applied Hydrology (1988), table 13.2.1 (from memory of the table; every
# increment and the total were reproduced by hand): return period in years, damage in dollars.
CHOW_YEARS = np.array([1, 2, 5, 10, 15, 20, 25, 50, 100, 200])
CHOW_DAMAGE = np.array([0, 20, 60, 140, 177, 213, 250, 300, 400, 500]) * 1000.0
CHOW_INCREMENTS = [5000, 12000, 10000, 5283, 3250, 2315, 5500, 3500, 2250]

# Published example of a research project on flood cost-benefit: event damages in euro at return
# periods 5, 10, 25, 50, 100, 200 years; the annual figures beside them are worked by hand.
PROJECT_YEARS = np.array([5, 10, 25, 50, 100, 200])
PROJECT = {
    "house 1": ([1000, 1500, 25000, 30000, 32000, 34000], 1945.00),
    "house 2": ([0, 0, 1000, 1500, 5000, 10000], 125.00),
    "shop 1": ([3000, 5000, 15000, 25000, 50000, 55000], 2037.50),
    "shop 2": ([0, 1500, 5000, 12000, 17500, 22000], 686.25),
    "factory 1": ([0, 0, 0, 30000, 150000, 250000], 2200.00),
}
LADDER_M = [20.10, 20.35, 20.62, 20.74, 21.05]
LADDER_AEP = [0.10, 0.033, 0.01, 0.005, 0.001]
GREEN_BOOK = ((1, 0.035), (31, 0.03), (76, 0.025), (126, 0.02), (201, 0.015), (301, 0.01))


def test_textbook_table_total() -> None:
    """The textbook's total of 49 098 dollars a year, and 2 500 more with a flat tail."""
    no_tail = table_annual_loss(1 / CHOW_YEARS, CHOW_DAMAGE, tail="none")
    assert float(no_tail) == pytest.approx(49098.33, abs=0.5)
    assert float(table_annual_loss(1 / CHOW_YEARS, CHOW_DAMAGE, tail="flat")) == pytest.approx(
        49098.33 + 2500, abs=0.5
    )


def test_textbook_table_increments() -> None:
    """Each printed increment is the gain of one more event."""
    totals = [
        float(table_annual_loss(1 / CHOW_YEARS[: n + 1], CHOW_DAMAGE[: n + 1], tail="none"))
        for n in range(10)
    ]
    assert np.diff(totals) == pytest.approx(CHOW_INCREMENTS, abs=0.5)


@pytest.mark.parametrize("name", sorted(PROJECT))
def test_project_sites(name: str) -> None:
    """Each site of the published example, trapezoids without a tail."""
    damage, expected = PROJECT[name]
    got = expected_annual_loss(1 / PROJECT_YEARS, damage, tail="none")
    assert got == pytest.approx(expected, abs=0.005)


def test_sum_of_sites_is_loss_of_sum() -> None:
    """The total of the example (6 993.75; 8 848.75 with a flat tail), as one batch and as a sum."""
    damage = np.array([d for d, _ in PROJECT.values()], float)
    each = table_annual_loss(1 / PROJECT_YEARS, damage, tail="none")
    assert each.shape == (5,)
    assert each.sum() == pytest.approx(6993.75, abs=0.005)
    whole = table_annual_loss(1 / PROJECT_YEARS, damage.sum(axis=0), tail="flat")
    assert float(whole) == pytest.approx(8848.75, abs=0.005)


def test_logarithmic_damage_has_a_closed_form() -> None:
    """D(T) = a ln(T/T0) gives a/T0 exactly; trapezoids come near it and from known sides."""
    a, first = 100_000.0, 5.0

    def loss(years: FloatArray, tail: Tail) -> float:
        return float(table_annual_loss(1 / years, a * np.log(years / first), tail=tail))

    six = np.array([5, 10, 25, 50, 100, 200], float)
    assert loss(six, "none") == pytest.approx(18605.83, abs=0.01)
    assert loss(six, "flat") == pytest.approx(20450.27, abs=0.01)
    assert loss(np.geomspace(5, 1e6, 51), "none") == pytest.approx(20097.9, abs=0.1)
    assert loss(np.geomspace(5, 1e6, 1001), "none") == pytest.approx(19998.9, abs=0.1)
    assert a / first == 20000.0


def test_lower_end_with_zero_loss() -> None:
    """A triangle down to the chance of zero loss: 0.5 x 1000 x (0.4 - 0.2) = 100 by hand."""
    without = table_annual_loss([0.2, 0.1], [1000, 1500], tail="none")
    with_end = table_annual_loss([0.2, 0.1], [1000, 1500], tail="none", zero_at_per_year=0.4)
    assert float(with_end - without) == pytest.approx(100.0)
    with pytest.raises(ValueError, match="zero loss"):
        table_annual_loss([0.2, 0.1], [1000, 1500], tail="none", zero_at_per_year=0.15)


def test_onset_ladder() -> None:
    """Nested packages avoid 0, 74, 90 and 97 % of the loss (worked ladder, flat loss inside)."""
    onset, _ = chance_of_level(LADDER_M, LADDER_AEP, [20.20, 20.20, 20.50, 20.70, 20.95])
    loss = building_annual_loss(onset, LADDER_AEP, [1.0] * 5)
    assert np.round(100 * (1 - loss / loss[0])).tolist() == [0, 0, 74, 90, 97]
    # a flat loss makes the annual loss the onset chance itself
    assert loss == pytest.approx(onset)


def test_onset_step_by_hand() -> None:
    """Zero above the onset, a step, linear beyond.

    Loss 40 at 10 %, 80 at 2 %, 100 at 1 %. Onset 4 %: loss there 40 + (6/8) x 40 = 70; area
    0.02 x (70 + 80)/2 + 0.01 x (80 + 100)/2 = 1.5 + 0.9; flat tail 0.01 x 100 = 1: 3.4.
    Onset 20 %: 40 between 20 % and 10 %: 0.1 x 40 + 0.08 x 60 + 0.9 + 1 = 10.7.
    """
    chances, losses = [0.1, 0.02, 0.01], [40.0, 80.0, 100.0]
    got = building_annual_loss([0.04, 0.20, 0.005, 0.0, np.nan], chances, losses)
    assert got[:4] == pytest.approx([3.4, 10.7, 0.5, 0.0])
    assert math.isnan(got[4])
    no_tail = building_annual_loss([0.04, 0.005], chances, losses, tail="none")
    assert no_tail == pytest.approx([2.4, 0.0])
    assert expected_annual_loss(chances, losses, tail="flat", onset_aep=0.04) == pytest.approx(3.4)


def test_loss_never_falls_with_the_onset_chance() -> None:
    """A building that gets wet more often never costs less."""
    onset = np.linspace(0.0, 1.0, 501)
    loss = building_annual_loss(onset, [0.1, 0.02, 0.01], [40.0, 80.0, 100.0])
    assert np.all(np.diff(loss) >= 0)


def test_reliability_by_hand() -> None:
    """100 x [0.01 + (0.05 - 0.01) x (1 - 0.9^2)] = 1 + 4 x 0.19 = 1.76; sure seals leave 1."""
    assert after_sealing(100.0, 0.05, 0.01, 0.9, 2) == pytest.approx(1.76)
    assert after_sealing(100.0, 0.05, 0.01, 1.0, 7) == pytest.approx(1.0)
    assert after_sealing(100.0, 0.05, 0.01, 0.0, 1) == pytest.approx(5.0)


# HM Treasury, Green Book supplementary guidance: discounting (February 2026), annex A, table A.1,
# 3.5 %, years 0 to 30 as printed
PRINTED = (
    "1.0000 0.9662 0.9335 0.9019 0.8714 0.8420 0.8135 0.7860 0.7594 0.7337 0.7089 0.6849 0.6618 "
    "0.6394 0.6178 0.5969 0.5767 0.5572 0.5384 0.5202 0.5026 0.4856 0.4692 0.4533 0.4380 0.4231 "
    "0.4088 0.3950 0.3817 0.3687 0.3563"
)


def test_printed_discount_factors() -> None:
    """Thirty printed factors of the national table, to half a unit of the last figure."""
    printed = [float(f) for f in PRINTED.split()]
    assert discount_factors(30, GREEN_BOOK) == pytest.approx(printed[1:], abs=5e-5)
    # sum of the printed table, years 0 to 20 and 0 to 26, quoted beside it
    assert 1 + discount_factors(20, GREEN_BOOK).sum() == pytest.approx(15.212, abs=5e-4)
    assert 1 + discount_factors(26, GREEN_BOOK).sum() == pytest.approx(17.890, abs=5e-4)


def test_factors_at_the_kinks() -> None:
    """Year 31 = year 30 / 1.03 and year 76 = year 75 / 1.025 (rule of the guidance), and beyond."""
    factor = dict(enumerate(discount_factors(126, GREEN_BOOK), start=1))
    assert factor[31] == pytest.approx(factor[30] / 1.03, rel=1e-12)
    assert factor[76] == pytest.approx(factor[75] / 1.025, rel=1e-12)
    # worked by hand from the rates
    by_hand = {31: 0.3459, 50: 0.1973, 75: 0.0942, 76: 0.0919, 100: 0.0508, 125: 0.0274}
    assert {y: round(factor[y], 4) for y in by_hand} == by_hand


def test_health_rate_factors() -> None:
    """Table A.2 of the guidance, 1.5 %: years 10, 20, 26 and 30."""
    factor = discount_factors(30, ((1, 0.015),))
    assert factor[[9, 19, 25, 29]] == pytest.approx([0.8617, 0.7425, 0.6790, 0.6398], abs=5e-5)


@pytest.mark.parametrize(
    ("rate", "annuities"),
    [
        # annuity 10, 20, 30, 50 years at year end, worked from 1 / (1 + i)^t
        (0.07, [7.0236, 10.5940, 12.4090, 13.8007]),
        (0.031, [8.4868, 14.7409, 19.3495, 25.2483]),
        (0.03, [8.5302, 14.8775, 19.6004, 25.7298]),
        (0.02, [8.9826, 16.3514, 22.3965, 31.4236]),
    ],
)
def test_annuities(rate: float, annuities: list[float]) -> None:
    """Present value of one a year against the closed form of an annuity and four printed figures."""
    got = [present_value(1.0, years, ((1, rate),)) for years in (10, 20, 30, 50)]
    assert got == pytest.approx(annuities, abs=5e-5)
    assert got[2] == pytest.approx((1 - (1 + rate) ** -30) / rate, rel=1e-12)


def test_mitigation_plan_of_a_city() -> None:
    """A published plan: 6 312 a year before, 112 after, cost 20 000, 30 years at 7 %: ratio 3.847."""
    value = present_value(6312.0 - 112.0, 30, ((1, 0.07),))
    assert value == pytest.approx(76936, abs=0.5)
    assert value / 20000 == pytest.approx(3.847, abs=5e-4)


def test_wrong_calls_are_refused() -> None:
    """Chances out of range or double, an empty schedule and two steps in a year are refused."""
    with pytest.raises(ValueError, match="above 0"):
        table_annual_loss([0.0, 0.1], [1, 2], tail="none")
    with pytest.raises(ValueError, match="only once"):
        table_annual_loss([0.1, 0.1], [1, 2], tail="none")
    with pytest.raises(ValueError, match="between 0 and 1"):
        building_annual_loss(1.2, [0.1], [1.0])
    with pytest.raises(ValueError, match="schedule"):
        discount_factors(3, ())
    with pytest.raises(ValueError, match="schedule"):
        discount_factors(3, ((1, 0.03), (1, 0.04)))
