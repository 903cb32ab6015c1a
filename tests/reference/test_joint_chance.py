"""Chance that a building stays dry, against closed forms and numerical integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from pipeline.programme.joint_chance import DRAWS, Ways, chance_dry, draw_wet

LIMIT = 1.645  # one-sided 5 %: normal table, any statistics text


def ways(
    count: int, *, own_m: float, shared_m: float, margin_m: float, water_u_m: float = 0.0
) -> Ways:
    """Openings that all stand the same margin above still water."""
    return Ways(
        opening=np.arange(count), control_m=np.full(count, margin_m),
        own_u_m=np.full(count, own_m), shared_u_m=np.full((count, 1), shared_m),
        water_m=np.zeros(count), water_u_m=np.full(count, water_u_m),
        water=np.zeros(count, dtype=np.int64),
    )  # fmt: skip


def any_wet(w: Ways, seed: int = 1, draws: int = 40_000) -> tuple[float, float]:
    """Chance that at least one opening is wet, and its standard error."""
    count = len(w.control_m)
    dry, error = chance_dry(draw_wet(w, count, seed=seed, draws=draws), np.zeros(count))
    return 1.0 - dry, error


def by_integration(count: int, own_m: float, shared_m: float, margin_m: float) -> float:
    """Chance that at least one of `count` like openings is wet, by quadrature over the shared error."""

    def dry(z: float) -> float:
        return float(norm.pdf(z) * norm.cdf((margin_m + shared_m * z) / own_m) ** count)

    return 1.0 - float(quad(dry, -9.0, 9.0, limit=400)[0])


def test_twelve_at_the_limit_with_errors_of_their_own() -> None:
    """12 openings each at the 95 % limit, own errors: 46 % for the building (1 - 0.95^12)."""
    chance, error = any_wet(ways(12, own_m=0.03, shared_m=0.0, margin_m=LIMIT * 0.03))
    assert chance == pytest.approx(1.0 - norm.cdf(LIMIT) ** 12, abs=3 * error)
    assert round(chance, 2) == pytest.approx(0.46, abs=0.01)


def test_twelve_at_the_limit_with_a_shared_error() -> None:
    """Shared 0.03 and own 0.01 m: 12 % for the building; the integral is scipy's quadrature."""
    margin = LIMIT * float(np.hypot(0.03, 0.01))
    chance, error = any_wet(ways(12, own_m=0.01, shared_m=0.03, margin_m=margin))
    expected = by_integration(12, 0.01, 0.03, margin)
    assert chance == pytest.approx(expected, abs=3 * error)
    assert round(expected, 2) == 0.12


@pytest.mark.parametrize("margin_m", [-0.02, 0.0, 0.03, 0.06])
@pytest.mark.parametrize("count", [1, 3, 12])
def test_wholly_shared_error_is_one_opening(count: int, margin_m: float) -> None:
    """One error for all: the building is as one opening, Phi(-margin / u) (normal table)."""
    chance, error = any_wet(ways(count, own_m=0.0, shared_m=0.04, margin_m=margin_m), seed=count)
    assert chance == pytest.approx(norm.cdf(-margin_m / 0.04), abs=3 * error + 1e-12)


@pytest.mark.parametrize("margin_m", [0.0, 0.03, 0.06])
@pytest.mark.parametrize("count", [2, 5])
def test_errors_of_their_own_multiply(count: int, margin_m: float) -> None:
    """Independent errors: the product of the single chances."""
    chance, error = any_wet(ways(count, own_m=0.04, shared_m=0.0, margin_m=margin_m), seed=count)
    assert chance == pytest.approx(1.0 - norm.cdf(margin_m / 0.04) ** count, abs=3 * error + 1e-12)


def test_the_error_of_the_water_is_shared() -> None:
    """Ways from one source meet one water: with exact levels the building is as one opening."""
    w = ways(6, own_m=0.0, shared_m=0.0, margin_m=0.1, water_u_m=0.15)
    chance, error = any_wet(w)
    assert chance == pytest.approx(norm.cdf(-0.1 / 0.15), abs=3 * error)


def test_seals_that_hold_by_chance() -> None:
    """All openings under water for certain: dry only while every seal holds, r^n."""
    w = ways(4, own_m=0.0, shared_m=0.0, margin_m=-1.0)
    dry, error = chance_dry(draw_wet(w, 4, seed=1, draws=DRAWS), np.full(4, 0.97))
    assert dry == pytest.approx(0.97**4, abs=1e-12)
    assert error == pytest.approx(0.0, abs=1e-12)


def test_equal_is_wet_and_a_dry_source_wets_nothing() -> None:
    """One strictness rule; a source that stays dry (NaN) lets nothing in."""
    w = Ways(
        opening=np.array([0, 1, 2]), control_m=np.array([1.0, 1.0, -np.inf]), own_u_m=np.zeros(3),
        shared_u_m=np.zeros((3, 0)), water_m=np.array([1.0, np.nan, np.nan]),
        water_u_m=np.array([0.0, np.nan, 0.1]), water=np.array([0, 1, 1]),
    )  # fmt: skip
    assert draw_wet(w, 3, seed=1, draws=10).all(axis=0).tolist() == [True, False, False]
