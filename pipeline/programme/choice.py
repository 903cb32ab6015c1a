"""Which packages to take: at most one per building, within money and crew-days of each year.

Pure: a multiple-choice knapsack with several budgets, solved by HiGHS, beside the plain list by
ratio. The better of the two is taken, and what is proven is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array, vstack

from pipeline.core.quiet import quiet_solver

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

EXACT_UP_TO: Final = 30_000  # options; above that the relaxed problem only gives the bound
NODE_LIMIT: Final = 50_000  # a count, not a time, so that the same inputs give the same plan
_FIT: Final = 1e-9  # crew-days are fractions: float noise may not push a plan over its budget


@dataclass(frozen=True)
class Options:
    """Options of one region, one row each: building, budget year, value, cost, crew-days.

    `group` and `year` number buildings and years from 0; `value` and `cost` are minor units.
    """

    group: IntArray
    year: IntArray
    value: IntArray
    cost: IntArray
    days: FloatArray

    def __len__(self) -> int:
        """Number of options."""
        return len(self.group)


@dataclass(frozen=True)
class Plan:
    """Options taken, their value, the bound that no plan can pass, and how it was made."""

    taken: IntArray
    value: int
    bound: int
    greedy_taken: IntArray
    greedy_value: int
    method: str


def greedy(options: Options, money: IntArray, days: FloatArray) -> IntArray:
    """The plain list: options by value over cost, each taken if its building and budget are free.

    Parameters
    ----------
    options : Options
    money : array (years,) of int
        Money of each year (minor units).
    days : array (years,) of float
        Crew-days of each year.

    Returns
    -------
    array of int
        Row numbers taken, rising.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(options.cost > 0, options.value / options.cost, np.inf)
    order = np.lexsort((options.year, np.arange(len(options)), -ratio))
    left_money, left_days = money.copy(), days.astype(np.float64).copy()
    done: set[int] = set()
    taken = []
    for row in order:
        group, year = int(options.group[row]), int(options.year[row])
        fits = options.cost[row] <= left_money[year] and options.days[row] <= left_days[year] + _FIT
        if group in done or options.value[row] <= 0 or not fits:
            continue
        done.add(group)
        left_money[year] -= options.cost[row]
        left_days[year] -= options.days[row]
        taken.append(int(row))
    return np.array(sorted(taken), dtype=np.int64)


def choose(options: Options, money: IntArray, days: FloatArray) -> Plan:
    """Best plan under the budgets, never below the plain list, with a proven bound.

    Parameters
    ----------
    options : Options
    money : array (years,) of int
        Money of each year (minor units).
    days : array (years,) of float
        Crew-days of each year.

    Returns
    -------
    Plan

    Notes
    -----
    Up to `EXACT_UP_TO` options the mixed-integer problem is solved to a gap of zero or to
    `NODE_LIMIT` nodes; above, the bound is that of the relaxed problem and the plan is the plain
    list. Answers of the solver are rounded and checked against the budgets before they are used.
    """
    plain = greedy(options, money, days)
    plain_value = int(options.value[plain].sum())
    if len(options) == 0 or options.value.max() <= 0:
        return Plan(plain, plain_value, plain_value, plain, plain_value, "nothing to choose from")
    exact = len(options) <= EXACT_UP_TO
    found, bound = _solve(options, money, days, exact=exact)
    if found is not None and int(options.value[found].sum()) >= plain_value:
        taken, method = found, "exact choice"
    else:
        taken, method = plain, "list by ratio"
    value = int(options.value[taken].sum())
    # values are whole minor units, so the bound of any plan is a whole number too
    top = max(value, int(np.floor(bound + 1e-6 * max(1.0, abs(bound) * 1e-3))))
    return Plan(taken, value, top, plain, plain_value, method)


def fits(options: Options, taken: IntArray, money: IntArray, days: FloatArray) -> bool:
    """Whether a plan keeps every budget and takes no building twice."""
    if len(set(options.group[taken].tolist())) != len(taken):
        return False
    spent = np.bincount(options.year[taken], weights=options.cost[taken], minlength=len(money))
    worked = np.bincount(options.year[taken], weights=options.days[taken], minlength=len(money))
    return bool((spent <= money).all() and (worked <= days + _FIT).all())


def _solve(
    options: Options, money: IntArray, days: FloatArray, *, exact: bool
) -> tuple[IntArray | None, float]:
    count, years = len(options), len(money)
    columns = np.arange(count)
    one_each = csr_array((np.ones(count), (options.group, columns)))
    # scaled to about 1, because the solver's tolerances are absolute
    unit = float(max(1, int(options.cost.max())))
    spend = csr_array((options.cost / unit, (options.year, columns)), shape=(years, count))
    work = csr_array((options.days, (options.year, columns)), shape=(years, count))
    matrix = vstack([one_each, spend, work]).tocsr()
    upper = np.concatenate([np.ones(one_each.shape[0]), money / unit, days + _FIT])
    scale = float(options.value.max())
    goal = -options.value / scale
    if not exact:
        relaxed = linprog(goal, A_ub=matrix, b_ub=upper, bounds=(0.0, 1.0), method="highs")
        return None, float(-relaxed.fun * scale) if relaxed.success else float("inf")
    with quiet_solver():
        answer = milp(
            goal,
            integrality=np.ones(count),
            bounds=Bounds(0.0, 1.0),
            constraints=LinearConstraint(matrix, -np.inf, upper),
            options={"mip_rel_gap": 0.0, "node_limit": NODE_LIMIT, "presolve": True},
        )
    bound = -float(answer.mip_dual_bound) * scale
    if answer.x is None:
        return None, bound
    taken = np.flatnonzero(answer.x > 0.5).astype(np.int64)
    taken = taken[options.value[taken] > 0]
    return (taken if fits(options, taken, money, days) else None), bound
