"""Chosen work that the plan of days ends after its budget year: by how many days, building by building.

The choice counts the crew-days of packages without travel, closed months and closed days; the plan
counts them all, and may run on into the next year.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class LastDay:
    """The last planned day of a building, and the days from the end of its budget year to it.

    `past_year_days` is 0 where the work ends within its year.
    """

    date: dt.date
    past_year_days: int


def last_days(choices: pd.DataFrame, crew_days: pd.DataFrame) -> dict[str, LastDay]:
    """The last planned day of every chosen building.

    Parameters
    ----------
    choices, crew_days : DataFrame
        Hand-over tables of these names.

    Returns
    -------
    dict of str to LastDay
        By building; one without any planned day (all held, or all sealed) is not there.

    Notes
    -----
    Days are those of the calendar: work that waits for spring is that much later, although it
    takes the crew few days more.
    """
    last: dict[str, dt.date] = {}
    for joined, date in zip(crew_days["building_ids"], crew_days["work_date"], strict=True):
        for building in [] if pd.isna(joined) else str(joined).split(";"):
            day = dt.date.fromisoformat(str(date))
            last[building] = max(day, last.get(building, day))
    out = {}
    chosen = choices[choices["is_chosen"].astype(bool)]
    for building, year in zip(chosen["building_id"], chosen["year"], strict=True):
        if building in last and not pd.isna(year):
            end = dt.date(int(year), 12, 31)
            day = last[building]
            out[str(building)] = LastDay(day, max(0, (day - end).days))
    return out


def late_lines(choices: pd.DataFrame, crew_days: pd.DataFrame) -> list[str]:
    """What runs past its budget year, in a line for people; nothing where all keeps it."""
    found = last_days(choices, crew_days)
    late = {b: d.past_year_days for b, d in sorted(found.items()) if d.past_year_days}
    if not late:
        return []
    worst = max(late, key=lambda b: (late[b], b))
    many = f"{len(late)} chosen buildings run" if len(late) > 1 else "1 chosen building runs"
    most = f"most of all {worst}, by" if len(late) > 1 else f"{worst}, by"
    return [
        f"{many} past the budget year in the plan of days ({most} {_days(late[worst])}): the choice "
        "counts no travel and no closed days."
    ]


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
