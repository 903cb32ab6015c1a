"""How close to the best the choice comes, and how long it takes, against a plain list by ratio.

Run: python -m tests.benchmarks.bench_choice. Budgets for half of what the largest packages cost;
three nested packages a building in each of two years, the second and third with less gain for
their cost. Seeded.
"""

from __future__ import annotations

import time

import numpy as np

from pipeline.programme.choice import EXACT_UP_TO, Options, choose, fits

STEPS, YEARS = 3, 2
SIZES = ((10_000, 1e-4), (100_000, 1e-3))  # options, gap that is asked for


def town(options_count: int, seed: int) -> tuple[Options, np.ndarray, np.ndarray]:
    """Buildings with nested packages, and budgets of two years."""
    rng = np.random.default_rng(seed)
    buildings = options_count // (STEPS * YEARS)
    first_cost = rng.integers(120_000, 900_000, buildings)
    first_value = rng.lognormal(14.5, 1.2, buildings)
    cost, value, days, group, year = [], [], [], [], []
    for step in range(STEPS):
        step_cost = (first_cost * (1.0 + 0.6 * step)).astype(np.int64)
        step_value = first_value * (1.0 + rng.uniform(0.1, 0.5, buildings) * step)
        for late in range(YEARS):
            cost.append(step_cost)
            value.append((step_value / 1.035**late).astype(np.int64))
            days.append(step_cost / 400_000.0)
            group.append(np.arange(buildings))
            year.append(np.full(buildings, late))
    options = Options(*(np.concatenate(x) for x in (group, year, value, cost, days)))
    share = 0.25 * float((first_cost * (1.0 + 0.6 * (STEPS - 1))).sum())
    money = np.array([share, share], dtype=np.int64)
    return options, money, money / 400_000.0 * 1.1


def main() -> None:
    """Print one line for each size."""
    for count, asked in SIZES:
        options, money, days = town(count, seed=count)
        start = time.perf_counter()
        plan = choose(options, money, days)
        seconds = time.perf_counter() - start
        gap = (plan.bound - plan.value) / plan.bound
        lost = (plan.value - plan.greedy_value) / plan.value
        kept = fits(options, plan.taken, money, days)
        how = "exact" if len(options) <= EXACT_UP_TO else "rounded"
        print(
            f"{len(options):>7,} options ({how}): {seconds:6.1f} s, gap {gap:.5%} "
            f"(asked {asked:.2%}: {'met' if gap <= asked else 'NOT MET'}), budgets kept: {kept}, "
            f"the plain list by ratio is {lost:.2%} worse"
        )


if __name__ == "__main__":
    main()
