"""The choice against brute force on small random programmes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pipeline.programme import choice as room
from pipeline.programme.choice import Floor, Options, choose, fits, greedy


def _random(rng: np.random.Generator) -> tuple[Options, np.ndarray, np.ndarray]:
    buildings, years = int(rng.integers(1, 6)), int(rng.integers(1, 3))
    rows = []
    for b in range(buildings):
        cost = 0
        value = 0
        for _ in range(int(rng.integers(1, 3))):
            cost += int(rng.integers(1, 500_000))
            value += int(rng.integers(0, 9_000_000))
            days = cost / 100_000 * float(rng.uniform(0.5, 2.0))
            rows += [(b, y, value - 1_000 * y, cost, days) for y in range(years)]
    table = np.array(rows)
    options = Options(
        group=table[:, 0].astype(np.int64),
        year=table[:, 1].astype(np.int64),
        value=np.maximum(table[:, 2], 0).astype(np.int64),
        cost=table[:, 3].astype(np.int64),
        days=table[:, 4],
    )
    share = rng.uniform(0.2, 0.8)
    money = np.full(years, int(options.cost.sum() * share / years / 2), dtype=np.int64)
    return options, money, np.full(years, float(options.days.sum() * share / years / 2))


def _brute_force(options: Options, money: np.ndarray, days: np.ndarray) -> int:
    """Every way to take at most one option per building, by plain enumeration."""
    by_building = [
        [None, *np.flatnonzero(options.group == b).tolist()] for b in sorted(set(options.group))
    ]
    best = 0
    for pick in itertools.product(*by_building):
        rows = np.array([p for p in pick if p is not None], dtype=np.int64)
        if fits(options, rows, money, days):
            best = max(best, int(options.value[rows].sum()))
    return best


@pytest.mark.parametrize("seed", range(200))
def test_choice_equals_brute_force_and_is_never_below_the_plain_list(seed: int) -> None:
    """The plan keeps the budgets, has the best value there is, and proves it."""
    options, money, days = _random(np.random.default_rng(seed))
    plan = choose(options, money, days)
    assert fits(options, plan.taken, money, days)
    best = _brute_force(options, money, days)
    assert plan.value == best
    assert plan.bound >= best
    assert plan.bound - best <= 1  # float of the bound: at most one minor unit
    assert plan.value >= int(options.value[greedy(options, money, days)].sum())


def test_plain_list_can_be_worse() -> None:
    """A case that a list by ratio gets wrong: one small good package blocks one large one.

    By hand: money 10; A costs 6 for 7 (ratio 1.17), B and C cost 5 for 5.5 each (1.10). The list
    takes A alone: 7. Best is B and C: 11.
    """
    options = Options(
        group=np.array([0, 1, 2]),
        year=np.zeros(3, dtype=np.int64),
        value=np.array([70, 55, 55]),
        cost=np.array([60, 50, 50]),
        days=np.zeros(3),
    )
    plan = choose(options, np.array([100]), np.array([1.0]))
    assert (plan.value, plan.greedy_value, plan.bound) == (110, 70, 110)
    assert plan.taken.tolist() == [1, 2]


def test_bound_of_a_large_programme_is_not_passed() -> None:
    """With 600 buildings of three steps the proven gap is small and the plan keeps its budget."""
    rng = np.random.default_rng(7)
    group = np.repeat(np.arange(600), 3)
    cost = np.cumsum(rng.integers(100_000, 900_000, (600, 3)), axis=1).ravel()
    value = np.cumsum(rng.integers(0, 9_000_000, (600, 3)), axis=1).ravel()
    options = Options(group, np.zeros(1800, dtype=np.int64), value, cost, cost / 300_000.0)
    money = np.array([int(cost.sum() * 0.15)])
    days = np.array([float(cost.sum()) / 300_000.0])
    plan = choose(options, money, days)
    assert fits(options, plan.taken, money, days)
    assert 0 <= plan.bound - plan.value <= plan.bound * 1e-3
    assert plan.value >= plan.greedy_value


def _best_under_floors(
    options: Options, money: np.ndarray, days: np.ndarray, floors: list[Floor]
) -> tuple[int, ...]:
    """Counts of the floors in their order, each up to what is wanted, then value: the best of all."""
    by_building = [
        [None, *np.flatnonzero(options.group == b).tolist()] for b in sorted(set(options.group))
    ]
    best = (-1,) * (len(floors) + 1)
    for pick in itertools.product(*by_building):
        rows = np.array([p for p in pick if p is not None], dtype=np.int64)
        if fits(options, rows, money, days):
            counts = [min(f.count, int(f.is_marked[rows].sum())) for f in floors]
            best = max(best, (*counts, int(options.value[rows].sum())))
    return best


@pytest.mark.parametrize("seed", range(60))
def test_what_is_settled_comes_before_value(seed: int) -> None:
    """Sites to be done first, then the least number, then value: as by enumeration of all plans."""
    rng = np.random.default_rng(1_000 + seed)
    options, money, days = _random(rng)
    must = np.isin(options.group, rng.choice(5, 2, replace=False))
    floors = [Floor(np.ones(len(options), dtype=bool), int(rng.integers(1, 4)))]
    if must.any():
        floors.insert(0, Floor(must, len(set(options.group[must].tolist()))))
    plan = choose(options, money, days, floors)
    assert fits(options, plan.taken, money, days)
    counts = [min(f.count, int(f.is_marked[plan.taken].sum())) for f in floors]
    assert (*counts, plan.value) == _best_under_floors(options, money, days, floors)


@pytest.mark.parametrize("seed", range(40))
def test_rounded_choice_keeps_budgets_and_tells_a_true_bound(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The way of large problems on small ones: within budgets, never below the plain list, and the
    best plan by enumeration lies between value and bound."""
    monkeypatch.setattr(room, "EXACT_UP_TO", 0)
    options, money, days = _random(np.random.default_rng(2_000 + seed))
    plan = choose(options, money, days)
    assert fits(options, plan.taken, money, days)
    assert plan.greedy_value <= plan.value <= _brute_force(options, money, days) <= plan.bound + 1
