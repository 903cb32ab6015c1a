"""How firm the ranks are: the choice again under low and high loss, flood and reliability."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

from pipeline.core.settings import Settings
from pipeline.programme.choosing import COMPETE, Decided, Ground, decide, ranks_of
from pipeline.programme.costs import CostBook
from pipeline.programme.flood_shift import shifted_floods, shifted_sources
from pipeline.programme.losses import site_losses
from pipeline.programme.openings import by_building
from pipeline.programme.packages import Case, packages_of
from pipeline.programme.structure import wall_water

Row = dict[str, Any]
CENTRAL: Final = "as planned"


def rank_case_rows(
    tables: Mapping[str, Any],
    ground: Ground,
    packages: list[Row],
    decided: Decided,
    *,
    cases: list[Case],
    book: CostBook,
) -> list[Row]:
    """Rows of `rank_cases`: rank, choice and worth of every building that some case chooses.

    Parameters
    ----------
    tables : mapping of DataFrame
        sites, buildings, reach, reach_sources, floods, policies, designs, entries, ends, chambers.
    ground : Ground
    packages : list of dict
        Rows of `packages`.
    decided : Decided
        The choice as planned.
    cases : list of Case
        Buildings as they are judged.
    book : CostBook

    Returns
    -------
    list of dict

    Notes
    -----
    Loss low and high: repair and lost supply times the factors of `value.spread`; without these
    settings there is no such case. Reliability: the low and high figure of the settings. Flood:
    every flood level lower or higher by one standard deviation of its own doubt, all at once; the
    seals are those of the design, so that an opening that only then gets wet stays open.
    """
    every = {CENTRAL: decided}
    for name, mine in _packages_by_case(tables, ground, packages, cases=cases, book=book):
        every[name] = decide(ground, mine)
    ranks = {name: ranks_of(d.chosen, ground) for name, d in every.items()}
    buildings = sorted({b for d in every.values() for b in d.chosen})
    rows = []
    for building in buildings:
        for name, one in every.items():
            found = one.chosen.get(building)
            row: Row = {
                "building_id": building,
                "case": name,
                "is_chosen": found is not None,
                "site_id": next(
                    d.chosen[building].package["site_id"]
                    for d in every.values()
                    if building in d.chosen
                ),
            }
            if found is not None:
                cost = found.package["cost_minor"]
                row |= {
                    "rank": ranks[name][building],
                    "package_id": found.package["package_id"],
                    "pv_avoided_minor": found.pv_minor,
                    "ratio": found.pv_minor / cost if found.pv_minor is not None and cost else None,
                }
            rows.append(row)
    return rows


def _packages_by_case(
    tables: Mapping[str, Any],
    ground: Ground,
    packages: list[Row],
    *,
    cases: list[Case],
    book: CostBook,
) -> list[tuple[str, list[Row]]]:
    spread = ground.settings.value.spread
    out = []
    if spread is not None:
        for name, repair, supply in (
            ("loss low", spread.repair_low, spread.supply_low),
            ("loss high", spread.repair_high, spread.supply_high),
        ):
            out.append((name, _other_loss(tables, ground.settings, packages, repair, supply)))
    for name, by_u in (("flood low", -1.0), ("flood high", 1.0)):
        out.append((name, _other_flood(tables, ground.settings, cases, book, by_u)))
    for name in ("low", "high"):
        out.append((f"reliability {name}", [_other_seal(p, name) for p in packages]))
    return out


def _other_loss(
    tables: Mapping[str, Any],
    settings: Settings,
    packages: list[Row],
    repair: float,
    supply: float,
) -> list[Row]:
    """Packages under another loss: their worth goes with the loss of their building."""
    loss = {
        kind: one.model_copy(
            update={
                "repair": one.repair * repair,
                "per_customer_hour": one.per_customer_hour * supply,
            }
        )
        for kind, one in settings.value.loss.items()
    }
    value = settings.value.model_copy(update={"loss": loss})
    other = site_losses(tables, settings.model_copy(update={"value": value}))
    out = []
    for p in packages:
        then, now = other[str(p["site_id"])].loss_once_minor, p["loss_once_minor"]
        out.append(_times(p, then / now if now else 0.0))
    return out


def _other_seal(package: Row, name: str) -> Row:
    """A package under the low or high reliability."""
    central, other = (
        package["avoided_minor_per_year"],
        package[f"avoided_{name}_minor_per_year"],
    )
    if package["gain"] not in COMPETE or not central:
        return package
    return _times(package, other / central)


def _times(package: Row, factor: float) -> Row:
    worth = package["pv_avoided_minor"]
    return package if worth is None else {**package, "pv_avoided_minor": round(worth * factor)}


def _other_flood(
    tables: Mapping[str, Any],
    settings: Settings,
    cases: list[Case],
    book: CostBook,
    by_u: float,
) -> list[Row]:
    """Packages under shifted flood levels: openings and the water against the walls."""
    openings = by_building({**tables, "reach_sources": shifted_sources(tables, by_u)})
    moved = shifted_floods(tables["floods"][tables["floods"]["place_kind"] == "building"], by_u)
    floods = {str(b): rows for b, rows in moved.groupby("place_id")}
    policies = {str(r["site_id"]): r for r in tables["policies"].to_dict("records")}
    out: list[Row] = []
    for case in cases:
        key, site = str(case.building["building_id"]), str(case.building["site_id"])
        water = wall_water(floods.get(key, moved.iloc[:0]), policies[site], case.limit.level_m)
        limit = dataclasses.replace(case.limit, water=water)
        out += packages_of(
            dataclasses.replace(case, openings=openings[key], limit=limit), settings, book
        )
    return out
