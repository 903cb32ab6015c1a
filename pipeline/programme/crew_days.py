"""Crew days: the chosen packages' ends in walking order, cut into days of one crew per region."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.buying import CREWS, Buying
from pipeline.core.materials import Materials
from pipeline.core.settings import Settings
from pipeline.programme.fixes import ready_on
from pipeline.programme.openings import NO_BENEFIT_HOLDS
from pipeline.programme.route import Job, Pace, Stint, plan_days

Row = dict[str, Any]
_FACES: Final = ("A", "B", "C", "D", "floor", "roof")
_LAST: Final = 10_000
_NO_WARNING: Final = ("groundwater", "seen water")  # nobody warns of these: look on the day
ANY_FLOOD: Final = "no work while any flood warning stands here; clear the site when one comes"
# a closed season can be long, but a calendar without any open day is the buyer's mistake
_MAX_LOOK_DAYS: Final = 3660


def crew_day_rows(
    tables: Mapping[str, Any],
    settings: Settings,
    *,
    packages: list[Row],
    choices: list[Row],
    materials: Materials,
    buying: Buying,
) -> list[Row]:
    """Rows of `crew_days`: by region, day and site.

    Parameters
    ----------
    tables : mapping of DataFrame
        sites, ends, entries, designs.
    settings : Settings
        Crews.
    packages, choices : list of dict
        What was chosen.
    materials : Materials
        Days of cure.
    buying : Buying
        Depots and closed days.

    Returns
    -------
    list of dict

    Notes
    -----
    Ends held for order or design are not planned: they wait for a release. Closed months, closed
    days and weekends are left out; a site begins when its permit can be there, and no building
    before its budget year: a site whose buildings have several years is visited in each. The choice
    counts no travel, so that work can still fall behind its year: the day says so. No forecast is read: each day says under which warnings nobody works there.
    """
    designs = {str(d["end_id"]): d for d in tables["designs"].to_dict("records")}
    walk = walking_order(tables)
    sites = {str(s["site_id"]): s for s in tables["sites"].to_dict("records")}
    by_id = {p["package_id"]: p for p in packages}
    chosen = [c for c in choices if c["is_chosen"]]
    jobs: dict[str, dict[tuple[str, int], Job]] = {}
    years: dict[str, int] = {}
    for choice in sorted(chosen, key=lambda c: str(c["building_id"])):
        site = sites[str(choice["site_id"])]
        ends = str(by_id[choice["package_id"]]["end_ids"]).split(";")
        planned = [e for e in ends if _is_planned(designs.get(e))]
        year = years[str(choice["building_id"])] = int(choice["year"])
        job = jobs.setdefault(str(choice["region"]), {}).setdefault(
            (str(choice["site_id"]), year),
            Job(str(choice["site_id"]), _place(site), _ready(site, year, settings), [], year),
        )
        job.ends += [(e, _hours(designs[e])) for e in planned]
    for region_jobs in jobs.values():
        for job in region_jobs.values():
            job.ends.sort(key=lambda e: walk.get(e[0], (_LAST,)))
    notes = _Notes(designs, by_id, chosen, materials=materials, stops=stop_words(tables))
    rows: list[Row] = []
    for region in sorted(jobs):
        rows += _region_rows(
            region, list(jobs[region].values()), settings, buying, notes=notes, years=years
        )
    return rows


def stop_words(tables: Mapping[str, Any]) -> dict[str, str]:
    """Under which flood warnings nobody works at a site, by site.

    Every mechanism that can get to an opening of the site, and any flood where one of its openings
    is not known. No forecast is read: the crew lead looks on the day.
    """
    site_of = dict(zip(tables["reach"]["opening_id"], tables["reach"]["site_id"], strict=True))
    out: dict[str, set[str]] = {}
    sources = tables["reach_sources"]
    for opening, mechanism, chance in zip(
        sources["opening_id"], sources["mechanism"], sources["chance_per_year"], strict=True
    ):
        if pd.isna(chance) or chance > 0.0:
            unknown = pd.isna(chance) or pd.isna(mechanism)
            out.setdefault(str(site_of[opening]), set()).add("" if unknown else str(mechanism))
    said = {}
    for site, kinds in out.items():
        names = ", ".join(sorted(kinds - {"", *_NO_WARNING}))
        said[site] = (
            ANY_FLOOD
            if "" in kinds or not names
            else f"no work while a flood warning stands here ({names}); clear the site when one comes"
        )
    return said


def walking_order(tables: Mapping[str, Any]) -> dict[str, tuple[Any, ...]]:
    """Sort key of every end: building, entry, face A to D, row from the top, column, id."""
    out: dict[str, tuple[Any, ...]] = {}
    entries = {str(e["entry_id"]): e for e in tables["entries"].to_dict("records")}
    for end in tables["ends"].to_dict("records"):
        entry = entries.get(str(end["place_id"]), {})
        building = entry.get("building_id", end.get("building_id"))
        face = end["face"] if not pd.isna(end["face"]) else entry.get("face")
        out[str(end["end_id"])] = (
            0,
            str(building),
            str(end["place_id"]),
            _FACES.index(face) if face in _FACES else len(_FACES),
            _LAST if pd.isna(end["row_no"]) else int(end["row_no"]),
            _LAST if pd.isna(end["col_no"]) else int(end["col_no"]),
            str(end["end_id"]),
        )
    for key, entry in entries.items():
        face = entry["face"]
        place = _FACES.index(face) if face in _FACES else len(_FACES)
        out.setdefault(key, (0, str(entry["building_id"]), key, place, 0, 0, key))
    return out


def _is_planned(design: Row | None) -> bool:
    return (
        design is not None
        and bool(design["is_designed"])
        and design["hold_reach"] not in NO_BENEFIT_HOLDS
        and not _is_made(design)
    )


def _is_made(design: Row | None) -> bool:
    """Sealed already by record: no day is planned for it."""
    made = None if design is None else design.get("is_made")
    return not pd.isna(made) and bool(made)


def _hours(design: Row) -> float:
    return 0.0 if pd.isna(design["hours_h"]) else float(design["hours_h"])


def _place(site: Row) -> tuple[float, float] | None:
    if pd.isna(site["x_m"]) or pd.isna(site["y_m"]):
        return None
    return float(site["x_m"]), float(site["y_m"])


def _ready(site: Row, year: Any, settings: Settings) -> dt.date:
    return max(ready_on(site, settings), dt.date(int(year), 1, 1))


def works_on(settings: Settings, buying: Buying) -> Callable[[dt.date], bool]:
    """Whether crews may work on a day: weekdays, seasons, closed days."""
    closed = frozenset(settings.crews.closed_months)
    return lambda day: day.month not in closed and buying.calendar.is_open(day, CREWS)


def opener(settings: Settings, buying: Buying) -> Callable[[dt.date], dt.date]:
    """The given day if crews may work on it, else the next."""
    may_work = works_on(settings, buying)

    def next_open(day: dt.date) -> dt.date:
        for _ in range(_MAX_LOOK_DAYS):
            if may_work(day):
                return day
            day += dt.timedelta(days=1)
        return day

    return next_open


def _region_rows(
    region: str,
    jobs: list[Job],
    settings: Settings,
    buying: Buying,
    *,
    notes: _Notes,
    years: Mapping[str, int],
) -> list[Row]:
    crews = settings.crews
    depot = buying.depots.get(region)
    stints = plan_days(
        jobs,
        base_m=None if depot is None else (depot.x_m, depot.y_m),
        pace=Pace(
            crews.hours_per_day, crews.setup_hours, crews.travel_km_per_hour, crews.travel_factor
        ),
        first_day=max(crews.first_day, settings.planning_date),
        next_open=opener(settings, buying),
    )
    places = {j.site_id: j.place_m for j in jobs}
    rows = []
    for s in stints:
        buildings = list(dict.fromkeys(notes.building_of[e] for e in s.end_ids))
        note = notes.of(s, has_place=places[s.site_id] is not None)
        late = [b for b in buildings if s.date.year > years[b]]
        if late:
            note.append(
                f"after budget year {min(years[b] for b in late)}: too few days in it "
                f"(the choice counts no travel): {', '.join(late)}"
            )
        rows.append(
            {
                "region": region,
                "day_no": s.day_no,
                "work_date": s.date.isoformat(),
                "site_id": s.site_id,
                "building_ids": ";".join(buildings),
                "end_ids": ";".join(s.end_ids),
                "ends_count": len(s.end_ids),
                "hours_h": s.hours_h,
                "travel_km": s.travel_km,
                "note": "; ".join(note) or None,
                "stop_words": notes.stops.get(s.site_id, ANY_FLOOD),
            }
        )
    return rows


class _Notes:
    """Words for the crew on a day at a site."""

    def __init__(
        self,
        designs: Mapping[str, Row],
        by_id: Mapping[str, Row],
        chosen: list[Row],
        *,
        materials: Materials,
        stops: Mapping[str, str],
    ) -> None:
        self.stops = stops
        self._designs, self._cure_days = designs, materials.sealant.cure_days
        self.building_of: dict[str, str] = {}
        self._waiting: dict[str, list[str]] = {}
        for choice in chosen:
            for end in str(by_id[choice["package_id"]]["end_ids"]).split(";"):
                self.building_of[end] = str(choice["building_id"])
                if not _is_planned(designs.get(end)) and not _is_made(designs.get(end)):
                    self._waiting.setdefault(str(choice["site_id"]), []).append(end)

    def of(self, stint: Stint, *, has_place: bool) -> list[str]:
        """The words in order: holds of the day, what waits, cure, travel, length of the day."""
        out = []
        for end in stint.end_ids:
            design = self._designs[end]
            if design["hold_reach"] == contract.HOLD_WORK:
                why = design["hold_words"] if not pd.isna(design["hold_words"]) else "see sheet"
                out.append(f"{end}: do not start before the release ({why})")
        if stint.is_last:
            waiting = self._waiting.get(stint.site_id, [])
            if waiting:
                out.append(f"not in this plan, held until released: {', '.join(sorted(waiting))}")
            days = [self._cure(e) for e in stint.end_ids]
            ready = stint.date + dt.timedelta(days=max(days, default=0))
            out.append(f"ready for water on {ready.isoformat()}")
        if not has_place:
            out.append("site without position: travel not counted")
        if stint.is_over_day:
            out.append("longer than one working day")
        return out

    def _cure(self, end: str) -> int:
        days = self._designs[end]["cure_days"]
        return int(-(-(self._cure_days if pd.isna(days) else float(days)) // 1))
