"""The choice as tables: one row per building with its reason, one row per region and year."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core.annual_loss import discount_factors
from pipeline.core.money import minor
from pipeline.core.settings import Settings
from pipeline.programme.choice import Options, Plan, choose, greedy
from pipeline.programme.openings import Openings
from pipeline.programme.reasons import Reasons

COMPETE: Final = ("benefit", "up to")
UNKNOWN: Final = "benefit unknown"
Row = dict[str, Any]
_FIT: Final = 1e-9


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


def choose_packages(
    tables: Mapping[str, Any],
    settings: Settings,
    packages: list[Row],
    openings: Mapping[str, Openings],
) -> tuple[list[Row], list[Row]]:
    """Rows of `choices` and of `plans`.

    Parameters
    ----------
    tables : mapping of DataFrame
        sites, buildings.
    settings : Settings
        Budgets, first crew day, discount schedule.
    packages : list of dict
        Rows of `packages`.
    openings : mapping
        Openings by building, for the reasons of those left out.

    Returns
    -------
    choices, plans

    Notes
    -----
    Packages with a benefit compete by present value; then those whose benefit is unknown take
    what is left, by chance times customers. A package done a year later is worth one year's
    discount less. A site whose permit comes too late for a year is not on offer in it.
    """
    sites = {str(s["site_id"]): s for s in tables["sites"].to_dict("records")}
    purses = _purses(settings)
    chosen: dict[str, Chosen] = {}
    plans: list[Row] = []
    for region in sorted(purses):
        mine = [p for p in packages if p["region"] == region]
        purse = purses[region]
        allowed = {
            s: _allowed_years(sites[s], purse, settings) for s in {p["site_id"] for p in mine}
        }
        plan, options = _compete(mine, purse, allowed, settings)
        _take(chosen, plan, options, purse)
        for package, place in _unknown_ones(mine, chosen, purse, allowed):
            chosen[str(package["building_id"])] = Chosen(package, purse.years[place], None)
        plans += _plan_rows(region, purse, plan, options, mine=mine, chosen=chosen)
    reasons = Reasons(settings, sites, openings, purses)
    return _choice_rows(tables, packages, chosen, sites=sites, reasons=reasons), plans


def _purses(settings: Settings) -> dict[str, Purse]:
    currency = settings.programme.currency
    by_region: dict[str, list[tuple[int, int, float]]] = {}
    for b in settings.budget:
        by_region.setdefault(b.region, []).append(
            (b.year, minor(b.money, currency), float(b.crew_days))
        )
    return {
        region: Purse(
            [y for y, _, _ in sorted(rows)],
            np.array([m for _, m, _ in sorted(rows)], dtype=np.int64),
            np.array([d for _, _, d in sorted(rows)], dtype=np.float64),
        )
        for region, rows in by_region.items()
    }


def ready_on(site: Mapping[str, Any], settings: Settings) -> dt.date:
    """First day on which work at a site may begin: first crew day, planning date + permit."""
    lead = site["permit_lead_days"]
    days = 0 if pd.isna(lead) else int(lead)
    return max(settings.crews.first_day, settings.planning_date + dt.timedelta(days=days))


def _allowed_years(site: Mapping[str, Any], purse: Purse, settings: Settings) -> list[int]:
    first = ready_on(site, settings).year
    return [place for place, year in enumerate(purse.years) if year >= first]


def _compete(
    mine: list[Row], purse: Purse, allowed: Mapping[str, list[int]], settings: Settings
) -> tuple[Plan, list[tuple[Row, int, int]]]:
    """The plan of a region and its options as (package, place of the year, value)."""
    offers = [p for p in mine if p["gain"] in COMPETE and (p["pv_avoided_minor"] or 0) > 0]
    offers.sort(key=lambda p: (str(p["site_id"]), str(p["building_id"]), int(p["step_no"])))
    steps = tuple((s.from_year, s.rate_frac) for s in settings.value.discount.steps)
    late = max(purse.years) - min(purse.years)
    factors = np.concatenate([[1.0], discount_factors(late, steps)])
    options = [
        (p, place, round(p["pv_avoided_minor"] * factors[purse.years[place] - purse.years[0]]))
        for p in offers
        for place in allowed[p["site_id"]]
    ]
    return choose(_arrays(options), purse.money, purse.days), options


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
        chosen[str(package["building_id"])] = Chosen(package, purse.years[place], value)


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
    method = plan.method
    if len(purse.years) > 1:
        method += f", years together (plain list of all years: {plan.greedy_value} minor units)"
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
                "method": method,
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
    sites: Mapping[str, Row],
    reasons: Reasons,
) -> list[Row]:
    ladders: dict[str, list[Row]] = {}
    for p in packages:
        ladders.setdefault(str(p["building_id"]), []).append(p)
    ranks = {b: n for n, b in enumerate(sorted(chosen, key=lambda b: _rank_key(b, chosen[b])), 1)}
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
                "reason": reasons.chosen(package, len(ladders[key]), ratio),
                "left_out_reason": None,
            }
        )
    return rows


def _rank_key(building: str, found: Chosen) -> tuple[Any, ...]:
    """Known benefit by ratio, then unknown benefit by weight; ties by site, then building."""
    package = found.package
    site = str(package["site_id"])
    if found.pv_minor is None:
        return (1, -unknown_weight(package), site, building)
    return (0, -found.pv_minor / max(1, package["cost_minor"]), site, building)
