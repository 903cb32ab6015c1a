"""When each site can be worked on: open days by month, season, permit, access."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from pipeline.core.settings import Settings
from pipeline.programme.fixes import ready_on

Row = dict[str, Any]


def site_month_rows(
    tables: Mapping[str, Any],
    settings: Settings,
    days: list[Row],
    is_open: Callable[[dt.date], bool],
) -> list[Row]:
    """Rows of `site_months`: every site and month from the planning date on.

    Parameters
    ----------
    tables : mapping of DataFrame
        sites.
    settings : Settings
        Planning date, budget years, closed months, what is settled.
    days : list of dict
        Rows of `crew_days`.
    is_open : callable
        Whether crews may work on a day: weekdays, seasons, closed days.

    Returns
    -------
    list of dict

    Notes
    -----
    To the end of the last budget year, and further where the plan of days goes further. What a
    site can be reached for (keys, outage, other people's works) is told and not counted.
    """
    first = settings.planning_date.replace(day=1)
    last = max(
        [dt.date(b.year, 12, 1) for b in settings.budget]
        + [dt.date.fromisoformat(str(d["work_date"])) for d in days]
        + [first]
    )
    months = _months(first, last)
    work_days = {m: [d for d in _days(m) if is_open(d)] for m in months}
    planned: dict[tuple[str, str], set[str]] = {}
    for row in days:
        date = str(row["work_date"])
        planned.setdefault((str(row["site_id"]), date[:7]), set()).add(date)
    rows = []
    for site in tables["sites"].sort_values("site_id").to_dict("records"):
        ready = ready_on(site, settings)
        access = _access(site)
        for month in months:
            key = f"{month:%Y-%m}"
            mine = [d for d in work_days[month] if d >= ready]
            rows.append(
                {
                    "site_id": str(site["site_id"]),
                    "month": key,
                    "region": site["region"],
                    "open_days": len(mine),
                    "planned_days": len(planned.get((str(site["site_id"]), key), ())),
                    "state": _state(month, ready, work_days[month], mine, settings),
                    "access": access,
                }
            )
    return rows


def _months(first: dt.date, last: dt.date) -> list[dt.date]:
    out = []
    month = first
    while month <= last:
        out.append(month)
        month = (month + dt.timedelta(days=31)).replace(day=1)
    return out


def _days(month: dt.date) -> list[dt.date]:
    out = []
    day = month
    while day.month == month.month:
        out.append(day)
        day += dt.timedelta(days=1)
    return out


def _state(
    month: dt.date, ready: dt.date, work: list[dt.date], mine: list[dt.date], settings: Settings
) -> str:
    if month.month in settings.crews.closed_months:
        return "closed season"
    if not work:
        return "no working day"
    if not mine:
        return f"not before {ready.isoformat()}"
    return "open" if len(mine) == len(work) else f"open from {ready.isoformat()}"


def _access(site: Mapping[str, Any]) -> str:
    """What stands between a crew and the site, in words."""
    kind, lead = site["permit_kind"], site["permit_lead_days"]
    if pd.isna(kind) and pd.isna(lead):
        permit = "permit: not stated"
    elif str(kind) == "none":
        permit = "no permit"
    else:
        days = "lead time not stated" if pd.isna(lead) else f"{int(lead)} days"
        permit = f"permit {'' if pd.isna(kind) else str(kind)}: {days}".replace(
            "permit :", "permit:"
        )
    outage = "unknown" if pd.isna(site["outage_needed"]) else str(site["outage_needed"])
    said = {
        "no": "no outage",
        "yes": "outage needed: agree the day with the network control",
        "unknown": "outage unknown: the owner's engineer decides",
    }.get(outage, f"outage: {outage}")
    return f"{permit}; {said}"
