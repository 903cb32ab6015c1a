"""Loss once water is inside a building, and customers counted once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline.core.errors import UsageError
from pipeline.core.money import minor
from pipeline.core.settings import Settings


@dataclass(frozen=True)
class SiteLoss:
    """Loss of one building of a site, customers behind the site (None = not given), words."""

    loss_once_minor: int
    customers_count: int | None
    assumed: tuple[str, ...]


def own_customers(sites: pd.DataFrame) -> dict[str, int | None]:
    """Customers of each site that no other site of the programme counts already.

    Parameters
    ----------
    sites : DataFrame
        `customers_count` as normally fed, `fed_from_site_id`.

    Returns
    -------
    dict
        site_id -> customers, None where not given. A site that feeds others keeps what is left
        after theirs, never below zero: each customer counts once, at the site nearest to it.
    """
    given = {
        str(s): None if pd.isna(c) else int(c)
        for s, c in zip(sites["site_id"], sites["customers_count"], strict=True)
    }
    fed: dict[str, int] = {}
    for site, feeder in zip(sites["site_id"], sites["fed_from_site_id"], strict=True):
        count = given[str(site)]
        if not pd.isna(feeder) and str(feeder) != str(site) and count is not None:
            fed[str(feeder)] = fed.get(str(feeder), 0) + count
    return {s: None if c is None else max(0, c - fed.get(s, 0)) for s, c in given.items()}


def site_losses(tables: Mapping[str, Any], settings: Settings) -> dict[str, SiteLoss]:
    """Loss once water is inside a building, by site.

    Parameters
    ----------
    tables : mapping of DataFrame
        sites, buildings.
    settings : Settings
        `value.loss` by site type, the currency.

    Returns
    -------
    dict
        site_id -> SiteLoss.

    Raises
    ------
    UsageError
        When the settings have no loss for a site type of the survey and none for 'other'.

    Notes
    -----
    Repair + customers x hours x value of a customer-hour x share that cannot be switched over.
    Unknown back-feed counts as none. The customers of a site with several buildings are shared
    evenly between them, so that they count once; a building that names no site may be one of them. Unknown customers are left out, and said so: the
    loss is then a lower bound.
    """
    sites = tables["sites"]
    customers = own_customers(sites)
    named = tables["buildings"]["site_id"]
    buildings = named.value_counts()
    homeless = int((~named.isin(sites["site_id"])).sum())
    return {
        str(row["site_id"]): _loss(
            row,
            customers[str(row["site_id"])],
            max(1, int(buildings.get(row["site_id"], 0)) + homeless),
            settings,
        )
        for row in sites.to_dict("records")
    }


def _loss(
    site: Mapping[str, Any], customers: int | None, buildings_count: int, settings: Settings
) -> SiteLoss:
    kind = "other" if pd.isna(site["site_type"]) else str(site["site_type"])
    table = settings.value.loss
    loss = table.get(kind) or table.get("other")
    if loss is None:
        raise UsageError(
            f"There is no loss for site type {kind!r} (site {site['site_id']}).",
            mend=f"Add [value.loss.{kind!r}] or [value.loss.other] to the settings.",
        )
    assumed = []
    backfeed = "unknown" if pd.isna(site["backfeed"]) else str(site["backfeed"])
    if backfeed == "unknown":
        assumed.append("back-feed unknown, taken as none")
    lost = {"full": 0.0, "part": 1.0 - loss.backfeed_part_frac}.get(backfeed, 1.0)
    if customers is None:
        assumed.append("customers not given: only repair is counted")
    elif buildings_count > 1:
        assumed.append(f"customers shared between {buildings_count} buildings of the site")
    feeders = int(not pd.isna(site["customers_count"])) and customers is not None
    if feeders and customers is not None and customers < int(site["customers_count"]):
        assumed.append(
            f"{int(site['customers_count']) - customers:,} customers are counted at sites fed from here"
        )
    supply = (customers or 0) / buildings_count * loss.hours * loss.per_customer_hour * lost
    return SiteLoss(
        loss_once_minor=minor(loss.repair + supply, settings.programme.currency),
        customers_count=customers,
        assumed=tuple(assumed),
    )
