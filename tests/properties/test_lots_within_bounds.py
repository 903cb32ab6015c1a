"""Packs over many months: inside the bounds of a general solver, and equal to the slow way."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_array

from pipeline.core.buying import Break, Price
from pipeline.procurement.lots import Offer, plan_by_states, plan_lots

_DAY = dt.date(2030, 1, 1)
_CASES = 30
_LIMIT_S = 1.0


@dataclass(frozen=True)
class Case:
    """One item, one offer, many months; pieces live for `carry_months` months after their own."""

    needs: tuple[int, ...]
    price: Price
    carry_months: int

    def cost(self) -> int:
        """What our plan costs."""
        return sum(s.cost_minor for s in plan_lots(self.needs, self.offers()))

    def offers(self) -> list[list[Offer]]:
        """The offer in every month, with what it can carry on."""
        months = range(len(self.needs))
        return [
            [Offer(self.price, sum(self.needs[m + 1 : m + 1 + self.carry_months]))] for m in months
        ]


def _price(pack: int, first: int, breaks: list[tuple[int, int]], least: int) -> Price:
    return Price(
        item_id="thing", supplier_id="S1", supplier_item_id="x", pack_count=pack,
        price_minor=first, breaks=tuple(Break(n, p) for n, p in breaks), valid_from=_DAY,
        valid_to=_DAY, minimum_packs_count=least, lead_days=1,
        lead_basis="calendar days from order", shelf_life_days=None, is_hazardous=False,
    )  # fmt: skip


def case(seed: int) -> Case:
    """A plan of 12 to 24 months in which breaks, shelf life and minimum order matter."""
    rng = random.Random(seed)
    months = rng.randint(12, 24)
    needs = tuple(rng.choice([0, rng.randint(1, 12), rng.randint(1, 40)]) for _ in range(months))
    first = rng.randint(500, 1000)
    breaks = [(rng.randint(3, 5), first - rng.randint(20, 60)), (8, first - rng.randint(80, 200))]
    price = _price(rng.choice([6, 10, 12, 24]), first, breaks, rng.randint(2, 4))
    return Case(needs, price, rng.randint(1, 4))


def solver_bounds(one: Case) -> tuple[float, float]:
    """Lower bound and best plan of HiGHS (through scipy) on a formulation of its own.

    Every purchase month has one band of the price list; each piece is tied to the month that
    uses it, at most `carry_months` later. Our programme keeps neither bands nor ages.
    """
    months, size = len(one.needs), one.price.pack_count
    least = one.price.minimum_packs_count
    starts = [1, *(b.packs_count for b in one.price.breaks)]
    prices = [one.price.price_minor, *(b.price_minor for b in one.price.breaks)]
    bands = [(lo, p) for lo, p in zip(starts, prices, strict=True)]
    most = max(sum(one.needs) // size + 2, *starts)
    uses = [(m, k) for m in range(months) for k in range(m, min(months, m + one.carry_months + 1))]
    n_band = months * len(bands)
    wide = 2 * n_band + len(uses)  # packs in a band, band taken, pieces from m used in k
    cost = np.zeros(wide)
    rows: list[tuple[dict[int, float], float, float]] = []
    for m in range(months):
        for b, (lo, price) in enumerate(bands):
            n, z = m * len(bands) + b, n_band + m * len(bands) + b
            high = bands[b + 1][0] - 1 if b + 1 < len(bands) else most
            cost[n] = price
            rows.append(({n: 1.0, z: -float(high)}, -np.inf, 0.0))
            rows.append(({n: 1.0, z: -float(max(lo, least))}, 0.0, np.inf))
        rows.append(({n_band + m * len(bands) + b: 1.0 for b in range(len(bands))}, 0.0, 1.0))
        bought = {m * len(bands) + b: -float(size) for b in range(len(bands))}
        mine = {2 * n_band + i: 1.0 for i, (a, _) in enumerate(uses) if a == m}
        rows.append(({**bought, **mine}, -np.inf, 0.0))
        served = {2 * n_band + i: 1.0 for i, (_, k) in enumerate(uses) if k == m}
        rows.append((served, float(one.needs[m]), np.inf))
    matrix = lil_array((len(rows), wide))
    for r, (terms, _, _) in enumerate(rows):
        for c, v in terms.items():
            matrix[r, c] = v
    found = milp(
        cost,
        constraints=LinearConstraint(
            matrix.tocsr(), [lo for _, lo, _ in rows], [hi for _, _, hi in rows]
        ),
        integrality=np.concatenate([np.ones(2 * n_band), np.zeros(len(uses))]),
        bounds=Bounds(
            0,
            np.concatenate([np.full(n_band, np.inf), np.ones(n_band), np.full(len(uses), np.inf)]),
        ),
        options={"time_limit": _LIMIT_S, "mip_rel_gap": 1e-6},
    )
    best = float(found.fun) if found.x is not None else np.inf
    return float(found.mip_dual_bound), best


@pytest.mark.parametrize(
    "seed", [*range(8), *(pytest.param(s, marks=pytest.mark.slow) for s in range(8, _CASES))]
)
def test_plans_lie_within_the_bounds_of_a_general_solver(seed: int) -> None:
    """Never above the solver's best plan, never under its proven bound (HiGHS through scipy)."""
    one = case(seed)
    lower, best = solver_bounds(one)
    mine = one.cost()
    assert mine <= best * (1 + 1e-9)
    assert mine >= lower * (1 - 1e-6)


def test_breaks_shelf_life_and_minimum_each_bind_in_a_third_of_these_cases() -> None:
    """Without breaks, with endless shelf life, without a minimum the same plans cost otherwise."""
    bound = {"breaks": 0, "shelf life": 0, "minimum": 0}
    for seed in range(_CASES):
        one = case(seed)
        cost = one.cost()
        plain = replace(one.price, breaks=())
        bound["breaks"] += replace(one, price=plain).cost() != cost
        bound["shelf life"] += replace(one, carry_months=len(one.needs)).cost() != cost
        single = replace(one.price, minimum_packs_count=1)
        bound["minimum"] += replace(one, price=single).cost() != cost
    assert min(bound.values()) >= _CASES / 3, bound


def test_whole_arrays_and_single_states_give_plans_of_one_rank() -> None:
    """400 random plans with two offers, months without any, breaks and minimum: equal to the last.

    The ranks agree: pieces that lack, money, pieces bought, pieces carried over month ends.
    """
    rng = random.Random(7)
    lacking = 0
    for _ in range(400):
        months = rng.randint(1, 8)
        needs = [rng.choice([0, rng.randint(1, 20), rng.randint(1, 60)]) for _ in range(months)]
        offers = []
        for m in range(months):
            here = []
            for _ in range(0 if rng.random() < 0.1 else rng.randint(1, 2)):
                breaks = [(rng.randint(5, 6), rng.randint(20, 50)), (7, rng.randint(10, 25))]
                price = _price(rng.choice([1, 2, 6, 12]), rng.randint(50, 100),
                               breaks[: rng.randint(0, 2)], rng.randint(1, 4))  # fmt: skip
                carry = rng.randint(0, months)
                here.append(Offer(price, sum(needs[m + 1 : m + 1 + carry])))
            offers.append(here)
        ranks = []
        for plan in (plan_lots(needs, offers), plan_by_states(needs, offers)):
            ranks.append(
                (sum(s.short_count for s in plan), sum(s.cost_minor for s in plan),
                 sum(s.ordered_count for s in plan), sum(s.carried_on_count for s in plan))
            )  # fmt: skip
        assert ranks[0] == ranks[1]
        lacking += ranks[0][0] > 0
    assert lacking > 10
