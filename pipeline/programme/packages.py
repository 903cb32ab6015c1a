"""Packages: nested sets of seals per building, what each costs and what it is worth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pipeline.core.annual_loss import after_sealing, expected_annual_loss, present_value
from pipeline.core.settings import Settings, Spread
from pipeline.core.units import down_mm
from pipeline.programme import words
from pipeline.programme.costs import CostBook
from pipeline.programme.dry import Dry, DryChances
from pipeline.programme.losses import SiteLoss, site_losses
from pipeline.programme.onset import (
    SAME_CHANCE,
    BoolArray,
    FloatArray,
    IntArray,
    combined_chance,
    deciding_opening,
    ladder,
    own_chance,
)
from pipeline.programme.openings import Openings
from pipeline.programme.structure import HOLD_WORDS, Limit, limit_level, wall_water


@dataclass(frozen=True)
class Case:
    """One building as it is judged: row, openings, structural limit, loss, rating, region."""

    building: Mapping[str, Any]
    region: str | None
    openings: Openings
    limit: Limit
    loss: SiteLoss
    rating: Mapping[str, float]
    dry: Dry


@dataclass(frozen=True)
class Onset:
    """Onset of a building in one state: chance, bound, level (m), opening that decides."""

    chance_per_year: float
    bound: str
    level_m: float
    decider: int | None


def cases(
    tables: Mapping[str, Any], settings: Settings, openings: Mapping[str, Openings]
) -> list[Case]:
    """Every building with what its packages are judged by, in order of id."""
    losses = site_losses(tables, settings)
    policies = {str(r["site_id"]): r for r in tables["policies"].to_dict("records")}
    floors = _floors(tables["levels"])
    at_buildings = tables["floods"][tables["floods"]["place_kind"] == "building"]
    floods = {str(b): rows for b, rows in at_buildings.groupby("place_id")}
    none = at_buildings.iloc[:0]
    regions = dict(zip(tables["sites"]["site_id"], tables["sites"]["region"], strict=True))
    heads = dict(zip(tables["designs"]["end_id"], tables["designs"]["design_head_m"], strict=True))
    rarest = {
        str(r["opening_id"]): (r["opening_level_m"], r["rarest_level_m"], r["policy_level_m"])
        for r in tables["reach"].to_dict("records")
    }
    dry = DryChances(tables, settings)
    out = []
    for building in tables["buildings"].sort_values("building_id").to_dict("records"):
        key, site = str(building["building_id"]), str(building["site_id"])
        if site not in policies or site not in losses:
            continue  # a building whose site is refused: it has no policy and is asked for
        level, said = limit_level(building, floors.get(key, float("nan")), settings)
        water = floods.get(key, none)
        against = wall_water(water, policies[site], level)
        region = regions.get(site)
        out.append(
            Case(
                building=building,
                region=None if pd.isna(region) else str(region),
                openings=openings[key],
                limit=Limit(level, said, against),
                loss=losses[site],
                rating=_ratings(openings[key], heads, rarest),
                dry=dry.of(key, openings[key]),
            )
        )
    return out


def _floors(levels: pd.DataFrame) -> dict[str, float]:
    """Level of the lowest floor of each building; the floor mark where no lower one is known."""
    found: dict[str, float] = {}
    for kind in ("floor", "lowest floor"):
        rows = levels[(levels["thing_kind"] == kind) & levels["level_m"].notna()]
        for thing, level in zip(rows["thing_id"], rows["level_m"], strict=True):
            found[str(thing)] = min(float(level), found.get(str(thing), np.inf))
    return found


def _ratings(
    openings: Openings, heads: Mapping[str, Any], reach: Mapping[str, tuple[Any, Any, Any]]
) -> dict[str, float]:
    """Shortfall (m) of each seal's rating level below the rarest modelled water; 0 = none.

    NaN where the seal has no design head: its rating is not known.
    """
    out: dict[str, float] = {}
    for i, opening in enumerate(openings.ids):
        if not openings.is_candidate[i]:
            continue
        own, rarest, policy = reach[opening]
        head = heads.get(opening, np.nan)
        water = np.nanmax([v if not pd.isna(v) else -np.inf for v in (rarest, policy)])
        if pd.isna(head):
            out[opening] = float("nan")
        elif pd.isna(own) or not np.isfinite(water):
            out[opening] = 0.0  # no water level to fall short of: the class says so
        else:
            out[opening] = max(0.0, float(water) - float(own) - float(head))
    return out


def packages_of(case: Case, settings: Settings, book: CostBook) -> list[dict[str, Any]]:
    """Rows of `packages` of one building, one per step."""
    o = case.openings
    # the structural limit is a gate that no seal closes: it ends the ladder as a door does
    sets = ladder(
        _limit_row(o, case.limit), np.append(o.is_candidate, False), np.append(o.is_unknown, False)
    )
    before = _onset(o, np.ones(len(o.ids), dtype=np.bool_))
    rows = []
    closed_before: IntArray = np.array([], dtype=np.int64)
    for step, closed in enumerate(sets, start=1):
        rows.append(
            _row(case, settings, book, step=step, sets=(closed_before, closed), before=before)
        )
        closed_before = closed
        if len(rows) > 1:
            _say_why_higher(rows[-2], rows[-1])
    return rows


def _say_why_higher(smaller: dict[str, Any], larger: dict[str, Any]) -> None:
    """Words where a step with more seals shows a higher chance than the one before it.

    A failed seal counts as if it were the one that decides as found (`after_sealing`): cautious,
    and the more so the more seals there are.
    """
    chances = [row["after_chance_per_year"] for row in (smaller, larger)]
    if None in chances or chances[1] <= chances[0] + SAME_CHANCE:
        return
    why = (
        "any seal that fails counts as the lowest one: with more seals the chance after, which "
        f"holds failing seals, is higher than that of step {smaller['step_no']}"
    )
    larger["assumed"] = "; ".join(w for w in (larger["assumed"], why) if w)


def _onset(o: Openings, is_open: BoolArray) -> Onset:
    chance = combined_chance(o.chance_per_year, is_open)
    decider = deciding_opening(o.chance_per_year, o.level_m, is_open)
    if decider is None:
        return Onset(chance, "", float("nan"), None)
    return Onset(chance, o.bounds[decider], float(o.level_m[decider]), decider)


def _limit_row(o: Openings, limit: Limit) -> FloatArray:
    """Chances of the openings with the structural limit as a last row, mechanisms of both."""
    names = sorted({*o.mechanisms, *limit.water.chance_per_year})
    table = np.zeros((len(o.ids) + 1, len(names)))
    for j, name in enumerate(names):
        if name in o.mechanisms:
            table[:-1, j] = o.chance_per_year[:, o.mechanisms.index(name)]
        table[-1, j] = limit.water.chance_per_year.get(name, 0.0)
    return table


def _with_limit(o: Openings, is_open: BoolArray, limit: Limit) -> float:
    """Chance after sealing where the structural limit is one more gate."""
    return combined_chance(_limit_row(o, limit), np.append(is_open, True))


def _row(
    case: Case,
    settings: Settings,
    book: CostBook,
    *,
    step: int,
    sets: tuple[IntArray, IntArray],
    before: Onset,
) -> dict[str, Any]:
    o = case.openings
    closed = sets[1]
    acting = closed[~o.is_held[closed]]
    is_open = np.ones(len(o.ids), dtype=np.bool_)
    is_open[acting] = False
    after = _onset(o, is_open)
    next_chance = _with_limit(o, is_open, case.limit)
    gain, why = judge(case, settings, before=before, next_per_year=next_chance, is_open=is_open)
    money = _money(case, settings, before.chance_per_year, next_chance, len(acting))
    ends = [o.ids[i] for i in closed]
    cost = book.of(ends)
    claimed = gain in ("benefit", "up to")
    building = case.building
    hold = HOLD_WORDS if case.limit.is_passed_at_policy else None
    assumed = [*case.loss.assumed, *why, *_assumptions(case, closed, cost.without_price)]
    return {
        "package_id": f"{building['building_id']}/{step}",
        "building_id": building["building_id"],
        "site_id": building["site_id"],
        "region": case.region,
        "step_no": step,
        "end_ids": ";".join(ends),
        "ends_count": len(ends),
        "held_count": int(o.is_held[closed].sum()),
        "gate": words.gate(o, np.setdiff1d(closed, sets[0])),
        "next_gate": words.next_gate(o, after, case.limit, next_chance),
        "before_level_m": before.level_m,
        "after_level_m": _after_level(after, case.limit, next_chance),
        "before_chance_per_year": before.chance_per_year if before.decider is not None else None,
        "before_bound": before.bound,
        "after_chance_per_year": money["after_chance"] if before.decider is not None else None,
        "after_bound": after.bound,
        "limit_level_m": case.limit.level_m,
        "hold": hold,
        "gain": gain,
        "loss_once_minor": case.loss.loss_once_minor,
        # no known chance is no loss of nothing: it is not known
        "loss_before_minor_per_year": money["before"] if before.decider is not None else None,
        "loss_after_minor_per_year": money["after"] if before.decider is not None else None,
        "avoided_low_minor_per_year": money["low"] if claimed else None,
        "avoided_minor_per_year": money["central"] if claimed else None,
        "avoided_high_minor_per_year": money["high"] if claimed else None,
        "pv_avoided_minor": money["pv"] if claimed else None,
        "material_minor": cost.material_minor,
        "labour_minor": cost.labour_minor,
        "site_cost_minor": cost.site_cost_minor,
        "cost_minor": cost.cost_minor,
        **_cost_range(cost.cost_minor, settings.value.spread),
        "crew_hours_h": cost.crew_hours_h,
        "crew_days": cost.crew_days,
        "ratio": money["pv"] / cost.cost_minor if claimed and cost.cost_minor else None,
        "customers_count": case.loss.customers_count,
        **case.dry.after(~is_open, settings.value.reliability.central),
        "assumed": "; ".join(dict.fromkeys(assumed)) or None,
    }


def _cost_range(cost_minor: int, spread: Spread | None) -> dict[str, int | None]:
    """Low and high cost; not known where the settings state no spread."""
    low, high = (None, None) if spread is None else (spread.cost_low, spread.cost_high)
    return {
        "cost_low_minor": None if low is None else round(cost_minor * low),
        "cost_high_minor": None if high is None else round(cost_minor * high),
    }


def _after_level(after: Onset, limit: Limit, next_chance: float) -> float:
    """Onset level after the package: the next opening's, or the structural limit where it decides."""
    if next_chance > after.chance_per_year + SAME_CHANCE and limit.is_known:
        return limit.level_m
    return after.level_m


def judge(
    case: Case, settings: Settings, *, before: Onset, next_per_year: float, is_open: BoolArray
) -> tuple[str, list[str]]:
    """Kind of gain of a package, and the words that belong to it.

    Parameters
    ----------
    case : Case
    settings : Settings
        `value.unknown_doors`: what to say where openings of unknown chance stay open.
    before : Onset
        As found.
    next_per_year : float
        Chance of the next gate, structural limit included.
    is_open : array of bool
        Openings that stand open after the package, held ends among them.

    Returns
    -------
    gain, words
    """
    o, limit = case.openings, case.limit
    falls = next_per_year < before.chance_per_year - SAME_CHANCE
    limit_first = (
        limit.is_passed_at_policy
        and before.decider is not None
        and down_mm(limit.level_m) <= down_mm(before.level_m)
    )
    without_limit = combined_chance(o.chance_per_year, is_open)
    if limit_first or (not falls and without_limit < before.chance_per_year - SAME_CHANCE):
        return "structural hold", [
            f"structural limit at or below the onset as found ({limit.words})"
        ]
    unknown = _left_unknown(case, is_open)
    if falls:
        unsure = _unsure(o, before)
        if unknown:
            return settings.value.unknown_doors, [*unknown, *unsure]
        return ("up to", unsure) if unsure else ("benefit", [])
    return _without_fall(o, before, is_open, unknown)


def _unsure(o: Openings, before: Onset) -> list[str]:
    """Words where the chance as found rests on what is not known: the benefit is at most so much."""
    sure = combined_chance(o.sure_per_year, np.ones(len(o.ids), dtype=np.bool_))
    if sure >= before.chance_per_year - SAME_CHANCE:
        return []
    return [
        f"the chance as found rests on what is not known ({words.one_in(sure)} is sure): "
        "the benefit is at most so much"
    ]


def _without_fall(
    o: Openings, before: Onset, is_open: BoolArray, unknown: list[str]
) -> tuple[str, list[str]]:
    """Gain of a package that does not lower the known chance."""
    if is_open.all():  # every end of the package waits for a release
        return ("not known" if before.decider is None and o.is_unknown.any() else "nothing"), []
    if (o.is_unknown & ~is_open).any():
        return "benefit unknown", ["openings of unknown chance are closed", *unknown]
    if before.decider is None and unknown:
        return "benefit unknown", unknown
    return "nothing", []


def _left_unknown(case: Case, is_open: BoolArray) -> list[str]:
    """What of unknown chance stays open after the package, in words."""
    o = case.openings
    said = []
    left = o.is_unknown & is_open
    if left.any():
        said.append("chance unknown and left open: " + ", ".join(np.array(o.ids)[left]))
    if o.unsurveyed:
        said.append("not surveyed: " + ", ".join(o.unsurveyed))
    if not case.limit.is_known:
        said.append(case.limit.words)
    elif not case.limit.is_water_known:
        said.append("water against the building not modelled")
    unrated = [i for i, short in case.rating.items() if short > 0 and not is_open[o.ids.index(i)]]
    if unrated:
        said.append("rated below the rarest modelled water: " + ", ".join(sorted(unrated)))
    return said


def _assumptions(case: Case, closed: IntArray, without_price: tuple[str, ...]) -> list[str]:
    o = case.openings
    out = []
    if o.is_unknown.any():
        count = int(o.is_unknown.sum())
        out.append(
            f"{count} {'opening' if count == 1 else 'openings'} of unknown chance: the chance as "
            "found may be higher"
        )
    held = closed[o.is_held[closed]]
    if held.size:
        released = np.ones(len(o.ids), dtype=np.bool_)
        released[closed] = False
        then = words.one_in(_with_limit(o, released, case.limit))
        names = ", ".join(o.ids[i] for i in held)
        out.append(f"{words.HELD_REASON} ({then} with all seals then): {names}")
    if case.limit.is_passed_at_policy:
        out.append(f"benefit counted up to {case.limit.level_m:.3f} ({case.limit.words})")
    if without_price:
        out.append("no list price, not in the cost: " + ", ".join(without_price))
    return out


def _money(
    case: Case, settings: Settings, before: float, next_chance: float, seals_count: int
) -> dict[str, Any]:
    """Annual losses and present value (minor units) over the range of reliability."""
    value = settings.value
    rarest = min((s.aep for s in settings.flood.source if s.aep is not None), default=1.0)
    once = float(case.loss.loss_once_minor)

    def a_year(chance: float) -> float:
        return expected_annual_loss([rarest], [once], tail=value.tail, onset_aep=chance)

    left = min(before, next_chance)
    after = {
        # with a loss of one, what stays is the chance itself
        name: after_sealing(1.0, before, left, getattr(value.reliability, name), seals_count)
        for name in ("low", "central", "high")
    }
    found = a_year(before)
    avoided = {name: max(0.0, found - a_year(chance)) for name, chance in after.items()}
    steps = tuple((s.from_year, s.rate_frac) for s in value.discount.steps)
    return {
        "after_chance": after["central"],
        "before": round(found),
        "after": round(a_year(after["central"])),
        **{name: round(v) for name, v in avoided.items()},
        "pv": round(present_value(avoided["central"], value.life_years, steps)),
    }


def largest_own_chance(openings: Openings) -> float:
    """Highest known chance of any opening of a building; 0 where none is known."""
    own = own_chance(openings.chance_per_year) if openings.ids else np.array([])
    known = own[~np.isnan(own)]
    return float(known.max()) if known.size else 0.0
