"""What a run knows of one end, looked up by its id."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pipeline.core.record_sheets import given, ids_in
from pipeline.core.settings import Settings
from pipeline.tables import Tables

Row = dict[str, Any]
_UNSEEN: Final = ("not seen", "drawing only")


class Evidence:
    """Rows of a run by end, building and site; an absent one is an empty row."""

    def __init__(self, tables: Tables, settings: Settings) -> None:
        self.planned = settings.planning_date.isoformat()
        self._ends = _by(tables["ends"], "end_id")
        self._entries = _by(tables["entries"], "entry_id")
        self._visits = _by(tables["visits"], "visit_id")
        self._sites = _latest_visits(tables["visits"])
        self._reach = _by(tables["reach"], "opening_id")
        own = tables["levels"]
        own = own[own["thing_kind"].isin(("duct end", "entry")) & own["level_m"].notna()]
        self._levelled = set(own["thing_id"])
        self._sealed = _by(tables["sealed_ends"], "end_id")
        self._orders = _first_of(tables["orders_placed"], "order_date")
        self._kits = _first_of(tables["kits_packed"], "packed_date")
        self._choices = _by(tables["choices"], "building_id")
        packages = tables["packages"]
        packages = packages[packages["cost_minor"].notna()]
        self._priced: dict[str, str] = {}
        for name, ends in zip(packages["package_id"], packages["end_ids"], strict=True):
            for end in [] if pd.isna(ends) else ids_in(str(ends)):
                self._priced.setdefault(end, str(name))
        self._chosen = _chosen_ends(tables)
        self._days = _work_days(tables["crew_days"])
        self._order_by = _order_dates(tables["order_lines"])

    def end(self, end_id: str) -> Row:
        """Row of the end, or of the entry without ends."""
        return self._ends.get(end_id) or self._entries.get(end_id, {})

    def visit(self, end_id: str) -> tuple[str, str]:
        """Day and name of the visit that saw it; blanks where none is known."""
        row = self.end(end_id)
        visit = self._visits.get(given(row, "visit_id"), {})
        if not visit:
            reach = self._reach.get(end_id, {})
            visit = self._sites.get(given(row, "site_id") or given(reach, "site_id"), {})
        return given(visit, "visit_date"), given(visit, "surveyor")

    def how_seen(self, end_id: str) -> str:
        """How it was seen, in the survey's words."""
        row = self.end(end_id)
        if bool(row.get("is_unlisted") or False):
            return "counted on the wall and not listed"
        return given(row, "seen") or given(row, "seen_from")

    def is_counted(self, end_id: str) -> bool:
        """Seen at its place; a way that was only drawn or not reached is known and not counted."""
        row = self.end(end_id)
        return given(row, "seen") != "not reached" and given(row, "seen_from") not in _UNSEEN

    def is_measured(self, end_id: str) -> bool:
        """Its inside size was measured and stands."""
        row = self.end(end_id)
        size = row.get("bore_mm", row.get("width_mm"))
        has_size = size is not None and not pd.isna(size) and size > 0
        return self.is_counted(end_id) and has_size and given(row, "seen") != "counted only"

    def has_level(self, end_id: str) -> bool:
        """It has a level of its own, or that of its entry."""
        level = self._reach.get(end_id, {}).get("opening_level_m")
        return end_id in self._levelled or (level is not None and not pd.isna(level))

    def level_class(self, end_id: str) -> str:
        """Its class."""
        return given(self._reach.get(end_id, {}), "level_class")

    def reason(self, end_id: str) -> str:
        """The reason of its class."""
        return given(self._reach.get(end_id, {}), "reason")

    def package(self, end_id: str) -> str:
        """The smallest priced package that holds it."""
        return self._priced.get(end_id, "")

    def choice(self, building_id: str) -> Row:
        """What was chosen for a building."""
        return self._choices.get(building_id, {})

    def is_chosen(self, end_id: str) -> bool:
        """It lies in the package that was chosen."""
        return end_id in self._chosen

    def order(self, end_id: str) -> Row:
        """The first order that buys for it."""
        return self._orders.get(end_id, {})

    def kit(self, end_id: str) -> Row:
        """The first kit packed for it."""
        return self._kits.get(end_id, {})

    def sealed(self, end_id: str) -> Row:
        """What its records come to."""
        return self._sealed.get(end_id, {})

    def work_day(self, end_id: str) -> str:
        """Planned day of work."""
        return self._days.get(end_id, "")

    def order_by(self, site_id: str) -> str:
        """The earliest latest order date among the lines of a site."""
        return self._order_by.get(site_id, "")


def _by(frame: Any, name: str) -> dict[str, Row]:
    return {str(r[name]): r for r in frame.to_dict("records")}


def _latest_visits(visits: Any) -> dict[str, Row]:
    out: dict[str, Row] = {}
    rows = visits.to_dict("records")
    for row in sorted(rows, key=lambda r: (given(r, "visit_date"), given(r, "visit_id"))):
        out[given(row, "site_id")] = row
    return out


def _first_of(frame: Any, day: str) -> dict[str, Row]:
    out: dict[str, Row] = {}
    rows = [r for r in frame.to_dict("records") if bool(r["is_used"])]
    for row in sorted(rows, key=lambda r: given(r, day)):
        for end in ids_in(given(row, "end_ids")):
            out.setdefault(end, row)
    return out


def _chosen_ends(tables: Tables) -> set[str]:
    choices, packages = tables["choices"], tables["packages"]
    names = set(choices.loc[choices["is_chosen"].astype(bool), "package_id"])
    ends = packages.loc[packages["package_id"].isin(names), "end_ids"].dropna()
    return {end for listed in ends for end in ids_in(str(listed))}


def _work_days(days: Any) -> dict[str, str]:
    out: dict[str, str] = {}
    for ends, day in zip(days["end_ids"], days["work_date"], strict=True):
        for end in [] if pd.isna(ends) else ids_in(str(ends)):
            out.setdefault(end, str(day))
    return out


def _order_dates(lines: Any) -> dict[str, str]:
    out: dict[str, str] = {}
    bought = lines[lines["packs_count"].fillna(0) > 0]
    for sites, day in zip(bought["site_ids"], bought["order_latest"], strict=True):
        if pd.isna(sites) or pd.isna(day):
            continue
        for site in ids_in(str(sites)):
            out[site] = min(str(day), out.get(site, str(day)))
    return out
