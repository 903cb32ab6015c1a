"""Everything the survey and the earlier stages know about one end, gathered once."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd

from pipeline.core.settings import Settings
from pipeline.tables import Tables

Row = dict[str, Any]

_PIPE_WORDS: Final = ("cut-out trench", "slot", "open trough")


@dataclass(frozen=True)
class Facts:
    """One end (or one entry without ends, which is then given in the form of an end)."""

    end_id: str
    end: Row
    entry: Row = field(default_factory=dict)
    chamber: Row = field(default_factory=dict)
    building: Row = field(default_factory=dict)
    site: Row = field(default_factory=dict)
    reach: Row = field(default_factory=dict)
    sources: tuple[Row, ...] = ()
    cables: tuple[Row, ...] = ()
    seals: tuple[Row, ...] = ()
    children: tuple[Row, ...] = ()
    far_chamber: Row = field(default_factory=dict)
    far_end: Row = field(default_factory=dict)
    is_bare_entry: bool = False
    sealed: Row = field(default_factory=dict)
    releases: tuple[Row, ...] = ()

    @property
    def place_id(self) -> str:
        """Chamber or entry that the end is in."""
        return text(self.end, "place_id") or self.end_id

    @property
    def is_chamber_end(self) -> bool:
        """True for a mouth in a chamber."""
        return text(self.end, "place_kind") == "chamber"

    @property
    def wall(self) -> tuple[str, str]:
        """Place and face: ends with the same are one wall."""
        return self.place_id, text(self.end, "face")

    @property
    def stopped(self) -> frozenset[str]:
        """House names of the columns whose value a STOP took out of use."""
        return frozenset(text(self.end, "stopped").split(";")) - {""}

    @property
    def region(self) -> str:
        """Region of the site, or of the chamber where there is no site."""
        return text(self.site, "region") or text(self.chamber, "region")


def text(row: Row, name: str) -> str:
    """A text value; '' where blank."""
    value = row.get(name)
    return "" if value is None or value is pd.NA or pd.isna(value) else str(value)


def number(row: Row, name: str) -> float:
    """A number; NaN where blank."""
    value = row.get(name)
    return float("nan") if value is None or value is pd.NA or pd.isna(value) else float(value)


def nearest(name: str, *rows: Row) -> str:
    """The first value that is given, nearest row first; '' where none is."""
    return next((v for v in (text(r, name) for r in rows) if v), "")


def records(tables: Tables, name: str) -> list[Row]:
    """Rows of a table as dicts; [] where the table is absent or empty."""
    frame = tables.get(name)
    return [] if frame is None or frame.empty else list(frame.to_dict("records"))


def _by(rows: list[Row], name: str) -> dict[str, Row]:
    return {text(r, name): r for r in rows if text(r, name)}


def _groups(rows: list[Row], name: str) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if text(row, name):
            out[text(row, name)].append(row)
    return out


def gather(tables: Tables, settings: Settings) -> list[Facts]:
    """Facts of every row of `ends` and of every entry without ends, sorted by id.

    Parameters
    ----------
    tables : Tables
        Survey tables, `reach` and `reach_sources`.
    settings : Settings

    Returns
    -------
    list of Facts
    """
    del settings
    ends = records(tables, "ends")
    entries = _by(records(tables, "entries"), "entry_id")
    look = _Look(tables, entries, _by(ends, "end_id"))
    with_ends = {text(e, "place_id") for e in ends}
    out = [look.facts(end, is_bare_entry=False) for end in ends]
    out += [
        look.facts(_as_end(entry), is_bare_entry=True)
        for entry_id, entry in entries.items()
        if entry_id not in with_ends
    ]
    return sorted(out, key=lambda f: f.end_id)


def _as_end(entry: Row) -> Row:
    """An entry without ends in the form of an end: a rectangle of its width and height."""
    has_size = number(entry, "width_mm") > 0.0 and number(entry, "height_mm") > 0.0
    return {
        "end_id": text(entry, "entry_id"),
        "place_kind": "entry",
        "place_id": text(entry, "entry_id"),
        "face": text(entry, "face"),
        "shape": "rectangular" if has_size else "not seen",
        "bore_mm": number(entry, "width_mm"),
        "bore_b_mm": number(entry, "height_mm"),
        "bore_method": "rule",
        "material": "concrete" if text(entry, "kind") in _PIPE_WORDS else "unknown",
        "contents": "" if has_size else "not seen",
        "seen": "not reached" if text(entry, "seen_from") in ("not seen", "drawing only") else "",
        "far_place_id": text(entry, "leads_to"),
        "building_id": text(entry, "building_id"),
        **{k: entry.get(k) for k in ("file", "sheet", "row", "stopped", "row_state")},
    }


class Releases:
    """Releases in force by what they name: an end, else a building, else a site."""

    def __init__(self, rows: list[Row]) -> None:
        self._by: dict[tuple[str, str], list[Row]] = defaultdict(list)
        for row in sorted(rows, key=lambda r: text(r, "release_id")):
            if text(row, "is_in_force") != "True":
                continue
            narrowest = next(n for n in ("end_id", "building_id", "site_id") if text(row, n))
            self._by[narrowest, text(row, narrowest)].append(row)

    def of(self, end_id: str, building_id: str, site_id: str) -> tuple[Row, ...]:
        """Releases that hold for an end, the narrowest first."""
        named = (("end_id", end_id), ("building_id", building_id), ("site_id", site_id))
        return tuple(r for name, value in named if value for r in self._by.get((name, value), ()))


class _Look:
    """Look-up of rows by id."""

    def __init__(self, tables: Tables, entries: dict[str, Row], ends: dict[str, Row]) -> None:
        self.entries, self.ends = entries, ends
        self.chambers = _by(records(tables, "chambers"), "chamber_id")
        self.buildings = _by(records(tables, "buildings"), "building_id")
        self.sites = _by(records(tables, "sites"), "site_id")
        self.reach = _by(records(tables, "reach"), "opening_id")
        self.sources = _groups(records(tables, "reach_sources"), "opening_id")
        self.cables = _groups(records(tables, "cables"), "end_id")
        self.children = _groups(list(ends.values()), "parent_end_id")
        self.sealed = _by(records(tables, "sealed_ends"), "end_id")
        self.releases = Releases(records(tables, "releases"))
        seals = records(tables, "seals")
        self.seals = _groups(seals, "end_id")
        for entry_id, rows in _groups(seals, "entry_id").items():
            self.seals[entry_id] += [r for r in rows if not text(r, "end_id")]

    def facts(self, end: Row, *, is_bare_entry: bool) -> Facts:
        end_id, place = text(end, "end_id"), text(end, "place_id")
        entry = self.entries.get(place, {})
        chamber = self.chambers.get(place, {})
        building = self.buildings.get(text(end, "building_id") or text(entry, "building_id"), {})
        site_id = nearest("site_id", end, building, chamber)
        return Facts(
            end_id=end_id,
            end=end,
            entry=entry,
            chamber=chamber,
            building=building,
            site=self.sites.get(site_id, {"site_id": site_id}),
            reach=self.reach.get(end_id, {}),
            sources=tuple(self.sources.get(end_id, ())),
            cables=tuple(sorted(self.cables.get(end_id, ()), key=lambda r: text(r, "cable_id"))),
            seals=tuple(sorted(self.seals.get(end_id, ()), key=lambda r: text(r, "seal_id"))),
            children=tuple(sorted(self.children.get(end_id, ()), key=lambda r: text(r, "end_id"))),
            far_chamber=self.chambers.get(text(end, "far_place_id"), {}),
            far_end=self.ends.get(text(end, "far_end_id"), {}),
            is_bare_entry=is_bare_entry,
            sealed=self.sealed.get(end_id, {}),
            releases=self.releases.of(end_id, text(building, "building_id"), site_id),
        )
