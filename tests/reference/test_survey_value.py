"""What another survey is worth, against worked cases, quadrature and plain re-classing."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from pipeline.core import contract
from pipeline.programme.survey_value import Line, chance_of_above, shifted_classes

K = 1.645


def chance(level: float, u: float, water: float, water_u: float, freeboard: float = 0.0) -> float:
    """Chance of `above` by a survey good to 30 mm."""
    line = Line(water + freeboard, water, water_u, freeboard)
    return float(chance_of_above(level, u, line, new_u_m=0.03, k=K))


@pytest.mark.parametrize(
    ("level", "u", "expected"),
    # W = 20.62 m, u_W = 0.10 m, survey 0.03 m, by hand with the normal table:
    # (-0.07 - 1.645 x 0.10440) / 0.15716 = -1.538 -> 6 %; (0.28 - 0.17174) / 0.15716 = 0.689 -> 75.5 %
    [(20.55, 0.16, 0.06), (20.90, 0.16, 0.755), (20.55, 0.03, 0.0)],
)
def test_worked_cases(level: float, u: float, expected: float) -> None:
    """A survey no better than the old one gives nothing new."""
    assert chance(level, u, 20.62, 0.10) == pytest.approx(expected, abs=0.005)


def test_by_quadrature_over_the_new_level() -> None:
    """The chance that N(E, u^2 - u_new^2) clears both lines, by scipy's quadrature of the density."""
    level, u, water, water_u, freeboard = 20.80, 0.12, 20.40, 0.10, 0.15
    needed = max(water + freeboard + K * 0.03, water + K * float(np.hypot(0.03, water_u)))
    spread = float(np.sqrt(u**2 - 0.03**2))
    expected, _ = quad(lambda e: norm.pdf(e, level, spread), needed, level + 12 * spread)
    assert chance(level, u, water, water_u, freeboard) == pytest.approx(expected, abs=1e-9)


def test_a_freeboard_that_covers_the_water_needs_one_line_only() -> None:
    """F = 0.30 m covers 1.645 x 0.10 m: only F + k u_new counts (normal table)."""
    expected = norm.cdf((20.95 - (20.92 + K * 0.03)) / np.sqrt(0.12**2 - 0.03**2))
    assert chance(20.95, 0.12, 20.62, 0.10, 0.30) == pytest.approx(float(expected), abs=1e-12)


def test_unknown_doubt_of_the_water_clears_nothing() -> None:
    """Less knowledge never dries anything."""
    assert chance(25.0, 0.16, 20.0, float("nan"), 0.30) == 0.0


def classes(
    margin: list[float], limit: list[float], now: list[str], shift: float, *, may: bool = True
) -> list[str]:
    """Classes after a shift, one way to each opening."""
    count = len(now)
    found = shifted_classes(
        np.arange(count), np.array(margin), np.array(limit), now=np.array(now, dtype=object),
        may_clear=np.full(count, may), shift_mm=shift,
    )  # fmt: skip
    return [str(c) for c in found]


def test_a_shift_changes_what_its_margin_says() -> None:
    """Margin 60, doubt 40 mm: 20 mm lower it is close (40 = 40, equal is wet), 100 mm lower below."""
    now = [contract.ABOVE]
    assert classes([60.0], [40.0], now, -19.0) == [contract.ABOVE]
    assert classes([60.0], [40.0], now, -20.0) == [contract.CLOSE]
    assert classes([60.0], [40.0], now, -99.0) == [contract.CLOSE]
    assert classes([60.0], [40.0], now, -100.0) == [contract.BELOW]
    assert classes([-60.0], [40.0], [contract.BELOW], 100.0) == [contract.CLOSE]
    assert classes([-60.0], [40.0], [contract.BELOW], 101.0) == [contract.ABOVE]


def test_what_its_level_does_not_hold_no_shift_frees() -> None:
    """Close for another reason than its margin; without pedigree; without level; open at any water."""
    close, high = contract.CLOSE, 200.0
    assert classes([300.0], [40.0], [close], high) == [close]
    assert classes([float("nan")], [0.0], [close], high) == [close]
    assert classes([10.0], [40.0], [close], high, may=False) == [close]
    assert classes([500.0], [40.0], [contract.NO_LEVEL], high) == [contract.NO_LEVEL]
    assert classes([-np.inf], [0.0], [contract.BELOW], high) == [contract.BELOW]


def test_lower_never_dries_and_higher_never_wets() -> None:
    """1,000 random openings: the order of classes follows the order of shifts."""
    rng = np.random.default_rng(8)
    rank = {contract.BELOW: 0, contract.CLOSE: 1, contract.ABOVE: 2}
    margin = rng.normal(0.0, 150.0, 1000)
    limit = rng.uniform(5.0, 80.0, 1000)
    now = classes(list(margin), list(limit), [contract.ABOVE] * 1000, -1e-3)
    before = [0] * 1000
    for shift in (-200.0, -100.0, -50.0, 50.0, 100.0, 200.0):
        after = [rank[c] for c in classes(list(margin), list(limit), now, shift)]
        assert all(a >= b for a, b in zip(after, before, strict=True))
        before = after
