"""The choice as tables: one row per building with its reason, one row per region and year."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from pipeline.core.annual_loss import discount_factors
from pipeline.core.money import minor, words
from pipeline.core.settings import Settings
from pipeline.programme.choice import Floor, Options, Plan, choose, greedy
from pipeline.programme.fixes import Fixes, ready_on
from pipeline.programme.openings import Openings
from pipeline.programme.reasons import Reasons

COMPETE: Final = ("benefit", "up to")
UNKNOWN: Final = "benefit unknown"
Row = dict[str, Any]
_FIT: Final = 1e-9
_CENT: Final = 1e-6  # float noise of a part of the money


@dataclass
class Purse:
    """Budgets of one region by year (minor units, crew-days) and what is left of them."""

    years: list[int]
    money: np.ndarray
    days: np.ndarray
    left_money: np.ndarray = field(init=False)
    left_days: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        """Nothing is spent yet."""
        self.left_money, self.left_days = self.money.copy(), self.days.copy()

    def room(self, cost_minor: int, days: float, allowed: list[int]) -> int | None:
        """First year (its place) that a package fits into; None = none."""
        for place in allowed:
            if cost_minor <= self.left_money[place] and days <= self.left_days[place] + _FIT:
                return place
        return None

    def spend(self, place: int, cost_minor: int, days: float) -> None:
        """Take a package out of a year."""
        self.left_money[place] -= cost_minor
        self.left_days[place] -= days


@dataclass(frozen=True)
class Chosen:
    """One package in the programme: its row, year, and present value seen from the first year."""

    package: Row
    year: int
    pv_minor: int | None


@dataclass
class Decided:
    """The choice of all regions: by building, with what is left of the budgets, and the plans."""

    chosen: dict[str, Chosen]
    purses: dict[str, Purse]
    plans: list[Row]

    def value_minor(self, region: str | None = None) -> int:
        """Present value of the loss avoided by what was chosen, of a region or of all."""
        return sum(
            c.pv_minor or 0
            for c in self.chosen.values()
            if region is None or c.package["region"] == region
        )

    def cost_minor(self, region: str | None = None) -> int:
        """Cost of what was chosen, of a region or of all."""
        return sum(
            int(c.package["cost_minor"])
            for c in self.chosen.values()
            if region is None or c.package["region"] == region
        )


@dataclass(frozen=True)
class Ground:
    """What every choice stands on: sites by id, settings, what is settled."""

    sites: Mapping[str, Row]
    settings: Settings
    fixes: Fixes
    made: frozenset[str] = frozenset()
    """Ends that are sealed by record and wait for acceptance."""

    def is_made(self, package: Row) -> bool:
        """Whether nothing of a package is left to do: every end of it is sealed by record."""
        ends = [e for e in str(package["end_ids"] or "").split(";") if e]
        return bool(ends) and self.made.issuperset(ends)


def decide(
    ground: Ground,
    packages: list[Row],
    *,
    money_frac: float = 1.0,
    regions: Collection[str] | None = None,
) -> Decided:
    """The choice among packages.

    Parameters
    ----------
    ground : Ground
    packages : list of dict
        Rows of `packages`.
    money_frac : float
        Part of the money of every budget that there is; crew-days stay as they are.
    regions : collection of str, optional
        Only these.

    Returns
    -------
    Decided

    Notes
    -----
    Packages with a benefit compete by present value, what is settled before all; then those whose
    benefit is unknown take what is left, by chance times customers. A package done a year later is
    worth one year's discount less. A site whose permit comes too late for a year, or that is
    settled to begin later, is not on offer in it.
    """
    purses = _purses(ground.settings, money_frac)
    out = Decided({}, {r: p for r, p in purses.items() if regions is None or r in regions}, [])
    for region in sorted(out.purses):
        mine = [
            p
            for p in packages
            if p["region"] == region and not ground.fixes.is_left(str(p["site_id"]))
        ]
        purse = out.purses[region]
        allowed = {
            s: _allowed_years(ground.sites[s], purse, ground.settings)
            for s in {p["site_id"] for p in mine}
        }
        plan, options = _compete(mine, purse, allowed, ground)
        _take(out.chosen, plan, options, purse)
        for package, place in _unknown_ones(mine, out.chosen, purse, allowed):
            out.chosen[str(package["building_id"])] = Chosen(package, purse.years[place], None)
        told = replace(plan, method=_method(plan, purse, ground.settings.programme.currency))
        out.plans += _plan_rows(region, purse, told, options, mine=mine, chosen=out.chosen)
    return out


def choose_packages(
    tables: Mapping[str, Any],
    ground: Ground,
    packages: list[Row],
    openings: Mapping[str, Openings],
) -> tuple[list[Row], Decided]:
    """Rows of `choices`, and the choice.

    Parameters
    ----------
    tables : mapping of DataFrame
        buildings.
    ground : Ground
        Budgets, first crew day, discount schedule, what is settled.
    packages : list of dict
        Rows of `packages`.
    openings : mapping
        Openings by building, for the reasons of those left out.

    Returns
    -------
    choices, decided
    """
    decided = decide(ground, packages)
    reasons = Reasons(ground.settings, ground.sites, openings, decided.purses, ground.fixes)
    rows = _choice_rows(tables, packages, decided.chosen, ground=ground, reasons=reasons)
    return rows, decided


def _purses(settings: Settings, money_frac: float) -> dict[str, Purse]:
    currency = settings.programme.currency
    by_region: dict[str, list[tuple[int, int, float]]] = {}
    for b in settings.budget:
        by_region.setdefault(b.region, []).append(
            (b.year, minor(b.money, currency), float(b.crew_days))
        )
    return {
        region: Purse(
            [y for y, _, _ in sorted(rows)],
            np.array([math.floor(m * money_frac + _CENT) for _, m, _ in sorted(rows)], np.int64),
            np.array([d for _, _, d in sorted(rows)], dtype=np.float64),
        )
        for region, rows in by_region.items()
    }


def _allowed_years(site: Mapping[str, Any], purse: Purse, settings: Settings) -> list[int]:
    first = ready_on(site, settings).year
    return [place for place, year in enumerate(purse.years) if year >= first]


def _compete(
    mine: list[Row], purse: Purse, allowed: Mapping[str, list[int]], ground: Ground
) -> tuple[Plan, list[tuple[Row, int, int]]]:
    """The plan of a region and its options as (package, place of the year, value)."""
    settings, fixes = ground.settings, ground.fixes
    offers = [
        p
        for p in mine
        if (p["gain"] in COMPETE and (p["pv_avoided_minor"] or 0) > 0)
        or (p["gain"] == UNKNOWN and fixes.must(str(p["site_id"])))
    ]
    offers.sort(key=lambda p: (str(p["site_id"]), str(p["building_id"]), int(p["step_no"])))
    steps = tuple((s.from_year, s.rate_frac) for s in settings.value.discount.steps)
    late = max(purse.years) - min(purse.years)
    factors = np.concatenate([[1.0], discount_factors(late, steps)])
    options = [
        (
            p,
            place,
            round((p["pv_avoided_minor"] or 0) * factors[purse.years[place] - purse.years[0]]),
        )
        for p in offers
        for place in allowed[p["site_id"]]
    ]
    floors = _floors(options, fixes, str(mine[0]["region"]) if mine else "")
    return choose(_arrays(options), purse.money, purse.days, floors), options


def _floors(options: list[tuple[Row, int, int]], fixes: Fixes, region: str) -> list[Floor]:
    """What is settled to be done, then the region's least number of buildings."""
    must = np.array([fixes.must(str(p["site_id"])) for p, _, _ in options], dtype=np.bool_)
    out = []
    if must.any():
        buildings = {str(options[i][0]["building_id"]) for i in np.flatnonzero(must)}
        out.append(Floor(must, len(buildings)))
    if options and fixes.least(region):
        out.append(Floor(np.ones(len(options), dtype=np.bool_), fixes.least(region)))
    return out


def _arrays(options: list[tuple[Row, int, int]]) -> Options:
    names = {b: n for n, b in enumerate(sorted({str(p["building_id"]) for p, _, _ in options}))}
    return Options(
        group=np.array([names[str(p["building_id"])] for p, _, _ in options], dtype=np.int64),
        year=np.array([place for _, place, _ in options], dtype=np.int64),
        value=np.array([v for _, _, v in options], dtype=np.int64),
        cost=np.array([p["cost_minor"] for p, _, _ in options], dtype=np.int64),
        days=np.array([p["crew_days"] for p, _, _ in options], dtype=np.float64),
    )


def _take(
    chosen: dict[str, Chosen], plan: Plan, options: list[tuple[Row, int, int]], purse: Purse
) -> None:
    for row in plan.taken.tolist():
        package, place, value = options[row]
        purse.spend(place, package["cost_minor"], package["crew_days"])
        known = None if package["pv_avoided_minor"] is None else value
        chosen[str(package["building_id"])] = Chosen(package, purse.years[place], known)


def unknown_weight(package: Mapping[str, Any]) -> float:
    """Chance as found x customers: the order of packages whose benefit is unknown."""
    chance = package["before_chance_per_year"]
    customers = package["customers_count"]
    return (0.0 if chance is None else float(chance)) * float(customers or 0)


def _unknown_ones(
    mine: list[Row],
    chosen: Mapping[str, Chosen],
    purse: Purse,
    allowed: Mapping[str, list[int]],
) -> list[tuple[Row, int]]:
    """Packages of unknown benefit that the money left pays for: of a building the largest."""
    waiting: dict[str, list[Row]] = {}
    for p in mine:
        if p["gain"] == UNKNOWN and str(p["building_id"]) not in chosen:
            waiting.setdefault(str(p["building_id"]), []).append(p)
    order = sorted(
        waiting.values(),
        key=lambda ps: (-unknown_weight(ps[0]), str(ps[0]["site_id"]), str(ps[0]["building_id"])),
    )
    out = []
    for ladder in order:
        for package in sorted(ladder, key=lambda p: -int(p["step_no"])):
            cost, days = package["cost_minor"], package["crew_days"]
            place = purse.room(cost, days, allowed[package["site_id"]])
            if place is not None:
                purse.spend(place, cost, days)
                out.append((package, place))
                break
    return out


def _method(plan: Plan, purse: Purse, currency: str) -> str:
    """How a region's plan was found; over several years with what the plain list would avoid."""
    if len(purse.years) == 1:
        return plan.method
    plain = words(plan.greedy_value, currency)
    return f"{plan.method}, years together (plain list of all years: {plain})"


def _plan_rows(
    region: str,
    purse: Purse,
    plan: Plan,
    options: list[tuple[Row, int, int]],
    *,
    mine: list[Row],
    chosen: Mapping[str, Chosen],
) -> list[Row]:
    """Rows of `plans` of a region.

    The problem is solved for the region over all its years. Each row is told with the other
    years' choice as it is: the plain list is that of this year among the buildings left to it,
    and no choice of this year can pass this year's value + what the region lacks to its bound.
    """
    slack = plan.bound - plan.value
    gains = [p for p in mine if p["gain"] in (*COMPETE, UNKNOWN)]
    largest = {str(p["building_id"]): p for p in sorted(gains, key=lambda p: int(p["step_no"]))}
    rows = []
    for place, year in enumerate(purse.years):
        value = sum(options[r][2] for r in plan.taken.tolist() if options[r][1] == place)
        plain = _plain_value(purse, plan, options, place)
        spent = [
            c.package for c in chosen.values() if c.year == year and c.package["region"] == region
        ]
        bound = value + slack
        rows.append(
            {
                "region": region,
                "year": year,
                "budget_minor": int(purse.money[place]),
                "spent_minor": sum(p["cost_minor"] for p in spent),
                "budget_crew_days": float(purse.days[place]),
                "spent_crew_days": float(sum(p["crew_days"] for p in spent)),
                "pv_avoided_minor": value,
                "pv_greedy_minor": plain,
                "bound_minor": bound,
                "gap_frac": slack / bound if bound else 0.0,
                "packages_count": len(mine),
                "packages_cost_minor": sum(p["cost_minor"] for p in largest.values()),
                "method": plan.method,
            }
        )
    return rows


def _plain_value(purse: Purse, plan: Plan, options: list[tuple[Row, int, int]], place: int) -> int:
    """Value of the plain list of one year among buildings that no other year has taken."""
    elsewhere = {
        str(options[r][0]["building_id"]) for r in plan.taken.tolist() if options[r][1] != place
    }
    mine = [o for o in options if o[1] == place and str(o[0]["building_id"]) not in elsewhere]
    arrays = _arrays(mine)
    return int(arrays.value[greedy(arrays, purse.money, purse.days)].sum())


def _choice_rows(
    tables: Mapping[str, Any],
    packages: list[Row],
    chosen: Mapping[str, Chosen],
    *,
    ground: Ground,
    reasons: Reasons,
) -> list[Row]:
    ladders: dict[str, list[Row]] = {}
    for p in packages:
        ladders.setdefault(str(p["building_id"]), []).append(p)
    ranks = ranks_of(chosen, ground)
    sites = ground.sites
    rows = []
    for building in tables["buildings"].sort_values("building_id").to_dict("records"):
        key, site = str(building["building_id"]), str(building["site_id"])
        region = sites[site]["region"] if site in sites else None
        base = {"building_id": key, "site_id": site, "region": region}
        found = chosen.get(key)
        if found is None:
            reason = reasons.left_out(key, site, region, ladders.get(key, []))
            rows.append({**base, "is_chosen": False, "reason": reason, "left_out_reason": reason})
            continue
        package = found.package
        ratio = (
            found.pv_minor / package["cost_minor"]
            if found.pv_minor is not None and package["cost_minor"]
            else None
        )
        rows.append(
            {
                **base,
                "rank": ranks[key],
                "is_chosen": True,
                "package_id": package["package_id"],
                "year": found.year,
                "cost_minor": package["cost_minor"],
                "crew_days": package["crew_days"],
                "pv_avoided_minor": found.pv_minor,
                "ratio": ratio,
                "reason": reasons.chosen(
                    package, len(ladders[key]), ratio, is_made=ground.is_made(package)
                ),
                "left_out_reason": None,
            }
        )
    return rows


def ranks_of(chosen: Mapping[str, Chosen], ground: Ground) -> dict[str, int]:
    """Rank of every chosen building, from 1: work that is still to be done before what is sealed."""
    order = sorted(
        chosen, key=lambda b: (ground.is_made(chosen[b].package), *_rank_key(b, chosen[b]))
    )
    return {b: n for n, b in enumerate(order, 1)}


def _rank_key(building: str, found: Chosen) -> tuple[Any, ...]:
    """Known benefit by ratio, then unknown benefit by weight; ties by site, then building."""
    package = found.package
    site = str(package["site_id"])
    if found.pv_minor is None:
        return (1, -unknown_weight(package), site, building)
    return (0, -found.pv_minor / max(1, package["cost_minor"]), site, building)
