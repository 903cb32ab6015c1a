"""Calendar files of the crews: one .ics per region, one entry per day and site."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd
from icalendar import Calendar, Event

from pipeline.core.settings import Settings
from pipeline.publish.orders import file_name
from pipeline.tables import Tables


def write_crew_calendars(
    folder: Path, tables: Tables, settings: Settings, *, run_id: str
) -> list[Path]:
    """Write `crew_days_REGION.ics` of every region that has crew days.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    tables : Tables
        crew_days, sites.
    settings : Settings
    run_id : str
        Stands in every entry.

    Returns
    -------
    list of Path

    Notes
    -----
    Entries take the whole day, because no start time is planned; the hours stand in the text. The
    time stamp is the planning date, so that the same inputs give the same bytes; the identifier
    stays the same from run to run for the same day and site, so that a later file replaces it.

    References
    ----------
    RFC 5545, Internet Calendaring and Scheduling (iCalendar).
    """
    folder.mkdir(parents=True, exist_ok=True)
    sites = {str(s["site_id"]): s for s in tables["sites"].to_dict("records")}
    out = []
    for region, days in tables["crew_days"].groupby("region", sort=True):
        calendar = Calendar()
        calendar.add("prodid", "-//stanch//crew days//EN")
        calendar.add("version", "2.0")
        calendar.add("x-wr-calname", f"{settings.programme.name}, {region}: crew days")
        for row in days.to_dict("records"):
            calendar.add_component(_event(row, sites, settings, run_id))
        path = folder / f"crew_days_{file_name(str(region))}.ics"
        path.write_bytes(calendar.to_ical(sorted=True))
        out.append(path)
    return out


def _event(
    row: dict[str, Any], sites: dict[str, dict[str, Any]], settings: Settings, run_id: str
) -> Event:
    site = sites[str(row["site_id"])]
    name = "" if pd.isna(site["site_name"]) else f" {site['site_name']}"
    day = dt.date.fromisoformat(str(row["work_date"]))
    ends = int(row["ends_count"])
    event = Event()
    event.add(
        "uid", f"{file_name(str(row['site_id']))}.{row['work_date']}@{settings.programme.id}.stanch"
    )
    event.add("dtstamp", dt.datetime.combine(settings.planning_date, dt.time(), dt.UTC))
    event.add("dtstart", day)
    event.add("dtend", day + dt.timedelta(days=1))
    event.add("summary", f"{row['site_id']}{name}: {ends} end{'' if ends == 1 else 's'} to seal")
    event.add("location", f"{row['site_id']}{name}")
    event.add("categories", [str(row["region"])])
    event.add("transp", "OPAQUE")
    lines = [
        f"Crew day {row['day_no']} of {row['region']}, {row['hours_h']:.1f} h with set-up and way "
        f"({row['travel_km']:.0f} km).",
        f"Buildings: {str(row['building_ids']).replace(';', ', ')}",
        f"Ends in walking order: {str(row['end_ids']).replace(';', ', ')}",
        f"STOP: {row['stop_words']}.",
    ]
    if not pd.isna(row["note"]):
        lines.append(f"Note: {row['note']}")
    lines.append(f"Run {run_id}. Local codes, permits and the owner's rules decide.")
    event.add("description", "\n".join(lines))
    return event
