"""Which packages to take: at most one per building, within money and crew-days of each year.

Pure: a multiple-choice knapsack with several budgets, solved by HiGHS, beside the plain list by
ratio. The better of the two is taken, and what is proven is told. Floors (buildings that are to be
done, the least number of a region) come before value, each as far as the budgets let it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array, vstack

from pipeline.core.quiet import quiet_solver

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

EXACT_UP_TO: Final = 30_000  # options; above that the relaxed problem is rounded
NODE_LIMIT: Final = 50_000  # a count, not a time, so that the same inputs give the same plan
_WHOLE: Final = 1e-6
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
class Floor:
    """So many of the marked options are wanted, before any value."""

    is_marked: BoolArray
    count: int


@dataclass(frozen=True)
class Plan:
    """Options taken, their value, the bound that no plan can pass, and how it was made."""

    taken: IntArray
    value: int
    bound: int
    greedy_taken: IntArray
    greedy_value: int
    method: str


def greedy(
    options: Options, money: IntArray, days: FloatArray, floors: Sequence[Floor] = ()
) -> IntArray:
    """The plain list: options by value over cost, each taken if its building and budget are free.

    Parameters
    ----------
    options : Options
    money : array (years,) of int
        Money of each year (minor units).
    days : array (years,) of float
        Crew-days of each year.
    floors : sequence of Floor
        The options marked by the first come before the others.

    Returns
    -------
    array of int
        Row numbers taken, rising.
    """
    first = floors[0].is_marked if floors else np.zeros(len(options), dtype=np.bool_)
    order = np.lexsort((options.year, np.arange(len(options)), -_ratio(options), ~first))
    return _fill(options, order, (money.copy(), days.astype(np.float64)), {}, first)


def _ratio(options: Options) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(options.cost > 0, options.value / options.cost, np.inf)


def _fill(
    options: Options,
    order: IntArray,
    left: tuple[IntArray, FloatArray],
    done: dict[int, int],
    is_wanted: BoolArray,
) -> IntArray:
    """Take options in an order as long as they fit; `done` (row by building) and `left` change."""
    group, year = options.group.tolist(), options.year.tolist()
    cost, days, value = options.cost.tolist(), options.days.tolist(), options.value.tolist()
    money, room = left[0].tolist(), left[1].tolist()
    wanted = is_wanted.tolist()
    for row in order.tolist():
        g, y = group[row], year[row]
        if g in done or (value[row] <= 0 and not wanted[row]):
            continue
        if cost[row] <= money[y] and days[row] <= room[y] + _FIT:
            done[g] = row
            money[y] -= cost[row]
            room[y] -= days[row]
    left[0][:], left[1][:] = money, room
    return np.array(sorted(done.values()), dtype=np.int64)


def choose(
    options: Options, money: IntArray, days: FloatArray, floors: Sequence[Floor] = ()
) -> Plan:
    """Best plan under the budgets, never below the plain list, with a proven bound.

    Parameters
    ----------
    options : Options
    money : array (years,) of int
        Money of each year (minor units).
    days : array (years,) of float
        Crew-days of each year.
    floors : sequence of Floor
        What comes before value, most important first; each is kept as far as the budgets and the
        floors before it let it.

    Returns
    -------
    Plan

    Notes
    -----
    Up to `EXACT_UP_TO` options the mixed-integer problem is solved to a gap of zero or to
    `NODE_LIMIT` nodes. Above, the relaxed problem gives the bound; its whole parts are taken (all
    but a few of them are whole), the rest is filled by ratio, and steps are raised where money is
    left. Answers of the solver are rounded and checked against the budgets before they are used.
    The plain list is only a rival where it keeps the floors too.
    """
    plain = greedy(options, money, days, floors)
    plain_value = int(options.value[plain].sum())
    if len(options) == 0 or (options.value.max() <= 0 and not floors):
        return Plan(plain, plain_value, plain_value, plain, plain_value, "nothing to choose from")
    if len(options) <= EXACT_UP_TO:
        kept = _reachable(options, money, days, floors)
        found, bound = _solve(options, options.value, money, days, kept)
        name = "exact choice"
    else:
        kept = [replace(f, count=min(f.count, _count(f, plain))) for f in floors]
        found, bound = _rounded(options, money, days, kept)
        name = "relaxed choice, rounded"
    is_rival = all(_count(f, plain) >= f.count for f in kept)
    if found is not None and (not is_rival or int(options.value[found].sum()) >= plain_value):
        taken, method = found, name
    else:
        taken, method = plain, "list by ratio"
    value = int(options.value[taken].sum())
    # values are whole minor units, so the bound of any plan is a whole number too
    top = value
    if np.isfinite(bound):
        top = max(value, int(np.floor(bound + 1e-6 * max(1.0, abs(bound) * 1e-3))))
    return Plan(taken, value, top, plain, plain_value, method)


def fits(options: Options, taken: IntArray, money: IntArray, days: FloatArray) -> bool:
    """Whether a plan keeps every budget and takes no building twice."""
    if len(set(options.group[taken].tolist())) != len(taken):
        return False
    spent = np.bincount(options.year[taken], weights=options.cost[taken], minlength=len(money))
    worked = np.bincount(options.year[taken], weights=options.days[taken], minlength=len(money))
    return bool((spent <= money).all() and (worked <= days + _FIT).all())


def _count(floor: Floor, taken: IntArray) -> int:
    return int(floor.is_marked[taken].sum())


def _reachable(
    options: Options, money: IntArray, days: FloatArray, floors: Sequence[Floor]
) -> list[Floor]:
    """The floors with the counts that the budgets let them have, one after the other."""
    kept: list[Floor] = []
    for floor in floors:
        most, _ = _solve(options, floor.is_marked.astype(np.int64), money, days, kept)
        if most is None:
            most = greedy(options, money, days, floors)
        kept.append(replace(floor, count=min(floor.count, _count(floor, most))))
    return kept


def _rows(
    options: Options, money: IntArray, days: FloatArray, floors: Sequence[Floor]
) -> tuple[csr_array, FloatArray, FloatArray]:
    """Constraints as matrix, lower and upper limits."""
    count, years = len(options), len(money)
    columns = np.arange(count)
    one_each = csr_array((np.ones(count), (options.group, columns)))
    # scaled to about 1, because the solver's tolerances are absolute
    unit = float(max(1, int(options.cost.max())))
    spend = csr_array((options.cost / unit, (options.year, columns)), shape=(years, count))
    work = csr_array((options.days, (options.year, columns)), shape=(years, count))
    marked = [csr_array(f.is_marked.astype(np.float64)[np.newaxis, :]) for f in floors]
    matrix = vstack([one_each, spend, work, *marked]).tocsr()
    upper = np.concatenate(
        [np.ones(one_each.shape[0]), money / unit, days + _FIT, np.full(len(floors), np.inf)]
    )
    lower = np.full(matrix.shape[0], -np.inf)
    if floors:
        lower[-len(floors) :] = [f.count for f in floors]
    return matrix, lower, upper


def _solve(
    options: Options,
    value: IntArray,
    money: IntArray,
    days: FloatArray,
    floors: Sequence[Floor],
) -> tuple[IntArray | None, float]:
    """Best plan of a value by the mixed-integer problem, and its bound."""
    if value.max() <= 0 and not floors:
        return np.array([], dtype=np.int64), 0.0
    matrix, lower, upper = _rows(options, money, days, floors)
    scale = float(max(1, value.max()))
    with quiet_solver():
        answer = milp(
            -value / scale,
            integrality=np.ones(len(options)),
            bounds=Bounds(0.0, 1.0),
            constraints=LinearConstraint(matrix, lower, upper),
            options={"mip_rel_gap": 0.0, "node_limit": NODE_LIMIT, "presolve": True},
        )
    bound = float("inf") if answer.mip_dual_bound is None else -answer.mip_dual_bound * scale
    if answer.x is None:
        return None, bound
    taken = np.flatnonzero(answer.x > 0.5).astype(np.int64)
    is_marked = np.zeros(len(options), dtype=np.bool_)
    for floor in floors:
        is_marked |= floor.is_marked
    taken = taken[(value[taken] > 0) | is_marked[taken]]
    is_kept = fits(options, taken, money, days) and all(_count(f, taken) >= f.count for f in floors)
    return (taken if is_kept else None), bound


def _rounded(
    options: Options, money: IntArray, days: FloatArray, floors: Sequence[Floor]
) -> tuple[IntArray | None, float]:
    """A plan from the relaxed problem, and its bound."""
    matrix, lower, upper = _rows(options, money, days, floors)
    is_least = np.isfinite(lower)
    matrix = vstack([matrix[~is_least], -matrix[is_least]]).tocsr()
    limit = np.concatenate([upper[~is_least], -lower[is_least]])
    scale = float(max(1, options.value.max()))
    relaxed = linprog(
        -options.value / scale, A_ub=matrix, b_ub=limit, bounds=(0.0, 1.0), method="highs"
    )
    if not relaxed.success:
        return None, float("inf")
    whole = np.flatnonzero(relaxed.x > 1.0 - _WHOLE).astype(np.int64)
    left = money.copy(), days.astype(np.float64)
    done: dict[int, int] = {}
    marked = np.ones(len(options), dtype=np.bool_)
    _fill(options, whole, left, done, marked)
    parts = np.flatnonzero((relaxed.x > _WHOLE) & (relaxed.x <= 1.0 - _WHOLE))
    rest = np.argsort(-_ratio(options), kind="stable")
    nothing = ~marked
    _fill(options, parts[np.argsort(-options.value[parts], kind="stable")], left, done, nothing)
    _fill(options, rest, left, done, nothing)
    _raise_steps(options, left, done)
    taken = np.array(sorted(done.values()), dtype=np.int64)
    is_kept = fits(options, taken, money, days) and all(_count(f, taken) >= f.count for f in floors)
    return (taken if is_kept else None), float(-relaxed.fun * scale)


def _raise_steps(options: Options, left: tuple[IntArray, FloatArray], done: dict[int, int]) -> None:
    """Put a better option of a taken building in its place where money is left, best gain first."""
    now = np.full(int(options.group.max()) + 1, -1, dtype=np.int64)
    for group, row in done.items():
        now[group] = row
    old = now[options.group]
    gain = np.where(old >= 0, options.value - options.value[old], 0)
    for row in np.lexsort((np.arange(len(options)), -gain))[: int((gain > 0).sum())].tolist():
        group, year = int(options.group[row]), int(options.year[row])
        was = done[group]
        gained = options.value[row] - options.value[was]
        money, room = left[0].copy(), left[1].copy()
        money[options.year[was]] += options.cost[was]
        room[options.year[was]] += options.days[was]
        if gained <= 0 or options.cost[row] > money[year] or options.days[row] > room[year] + _FIT:
            continue
        money[year] -= options.cost[row]
        room[year] -= options.days[row]
        left[0][:], left[1][:] = money, room
        done[group] = row
