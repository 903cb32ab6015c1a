"""From typed rows to hand-over tables: derived columns, unlisted ways, checks, counts."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.cells import cell_name
from pipeline.core.findings import Cell, Finding
from pipeline.core.settings import Settings
from pipeline.core.survey import TABLE_OF_SHEET
from pipeline.intake.checks import run_checks
from pipeline.intake.context import Checked, Context
from pipeline.intake.delivery import Delivered
from pipeline.intake.rows import Row, TypedSheet
from pipeline.tables import REGISTRY, Table, Tables, blank

_SHEET_OF_TABLE: Final = {table: sheet for sheet, table in TABLE_OF_SHEET.items()}
_ONE_IN: Final = re.compile(r"^1\s*(?:in|/|:)\s*([\d.,]+)", re.IGNORECASE)
_PERCENT: Final = re.compile(r"^([\d.,]+)\s*%")
_PAST: Final = re.compile(r"^past\s*:?\s*(.+)$", re.IGNORECASE)
_METRES_IN: Final = re.compile(r"yes\s*:?\s*([\d.,]+)\s*m?", re.IGNORECASE)


_PARENTS: Final = frozenset({"place_id", "building_id", "site_id"})


def _number(text: str) -> float | None:
    """A number with point or comma; None when the text is none."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def derived(rows: dict[str, list[Row]]) -> None:
    """Fill what a row means beyond its cells: building and site of an end, region of a chamber."""
    sites = {r.key: r.values for r in rows["sites"]}
    buildings = {r.key: r.values for r in rows["buildings"]}
    chambers = {r.key: r.values for r in rows["chambers"]}
    entries = {r.key: r.values for r in rows["entries"]}
    for row in rows["chambers"]:
        site = str(row.values.get("site_id") or "")
        street = site.split("-", 1)[1] if site.upper().startswith("STREET-") else None
        row.values["region"] = street or sites.get(site, {}).get("region")
    for row in rows["ducts"]:
        place = str(row.values.get("place_id") or "")
        entry, chamber = entries.get(place), chambers.get(place)
        building = str(entry.get("building_id") or "") if entry else ""
        row.values["building_id"] = building or None
        own_site = buildings.get(building, {}).get("site_id") if entry else None
        row.values["site_id"] = own_site or (chamber or {}).get("site_id")
        if row.values.get("place_kind") is None and (entry or chamber):
            row.values["place_kind"] = "entry" if entry else "chamber"
        row.values["is_unlisted"] = False
    for row in rows["flood_levels"]:
        _event(row)
    _unlisted(rows)


def _event(row: Row) -> None:
    """Chance a year from '1 %', '1 in 100', or the date of a past flood."""
    text = str(row.values.get("event") or "").strip()
    row.values["aep_per_year"] = None
    if found := _ONE_IN.match(text):
        years = _number(found.group(1).replace(",", ""))
        row.values["aep_per_year"] = 1.0 / years if years else None
    elif found := _PERCENT.match(text):
        percent = _number(found.group(1))
        row.values["aep_per_year"] = percent / 100.0 if percent is not None else None
    elif found := _PAST.match(text):
        row.values["past_date"] = found.group(1).strip()
    elif re.fullmatch(r"[\d.]+", text):
        # a cell formatted as per cent holds the fraction itself
        row.values["aep_per_year"] = _number(text)
    aep = row.values["aep_per_year"]
    if aep is not None and not 0 < aep < 1:
        row.values["aep_per_year"] = None
    raw = row.raws.get("freeboard_in", "")
    if found := _METRES_IN.match(raw):
        row.values["freeboard_in_m"] = _number(found.group(1))
        row.values["freeboard_in"] = "yes"
    raw = row.raws.get("climate", "")
    if ":" in raw and raw.casefold().startswith("included"):
        row.values["climate"] = "included"
        row.values["climate_name"] = raw.split(":", 1)[1].strip()
    applies = str(row.values.get("applies_to") or "")
    if pair := re.fullmatch(r"\s*([\d.]+)\s*,\s*([\d.]+)\s*", applies):
        row.values["x_m"], row.values["y_m"] = (float(v) for v in pair.groups())


def _unlisted(rows: dict[str, list[Row]]) -> None:
    """Ways that were counted but have no row stay open: a row of their own for each."""
    listed: dict[str, int] = {}
    for row in rows["ducts"]:
        name = str(row.values.get("place_id") or "")
        listed[name] = listed.get(name, 0) + 1
    buildings = {r.key: r.values for r in rows["buildings"]}
    for sheet, kind in (("entries", "entry"), ("chambers", "chamber")):
        for place in rows[sheet]:
            seen = place.values.get("ways_seen_count")
            for i in range(int(seen or 0) - listed.get(place.key, 0)):
                rows["ducts"].append(_unlisted_row(place, kind, i + 1, buildings))


def _unlisted_row(place: Row, kind: str, number: int, buildings: dict[str, dict[str, Any]]) -> Row:
    building = place.values.get("building_id") if kind == "entry" else None
    site = (
        buildings.get(str(building), {}).get("site_id")
        if kind == "entry"
        else place.values.get("site_id")
    )
    values = {
        "end_id": f"{place.key}/unlisted-{number}",
        "place_kind": kind,
        "place_id": place.key,
        "face": place.values.get("face"),
        "seen": "counted only",
        "is_unlisted": True,
        "building_id": building,
        "site_id": site,
    }
    return Row(place.file, place.sheet_name, "ducts", place.row, values, {})


def frames_of(rows: dict[str, list[Row]]) -> dict[str, pd.DataFrame]:
    """Typed frames by table name; index labels follow the rows."""
    return {name: frame_of(REGISTRY[name], rows[sheet]) for sheet, name in TABLE_OF_SHEET.items()}


def frame_of(spec: Table, rows: list[Row]) -> pd.DataFrame:
    """The rows of one sheet as a typed frame; index labels follow the rows."""
    known: set[str] = set().union(*(r.values.keys() for r in rows))
    columns: dict[str, list[Any]] = {
        n: [r.values.get(n) for r in rows] for n in spec.names if n in known
    }
    own = {
        "file": [r.file for r in rows],
        "sheet": [r.sheet_name for r in rows],
        "row": [r.row for r in rows],
        **_marks(rows),
    }
    frame = pd.DataFrame({**own, **columns}, columns=list(spec.names))
    for col in spec.columns:
        if col.kind == "real":
            frame[col.name] = pd.to_numeric(frame[col.name])
        elif col.kind == "whole":
            frame[col.name] = frame[col.name].astype("Int64")
        elif col.kind == "flag":
            frame[col.name] = frame[col.name].astype("boolean")
    return frame


def _marks(rows: list[Row]) -> dict[str, list[str | None]]:
    """State of each row, and the values of it that are refused or in question."""
    return {
        "row_state": [r.state for r in rows],
        "stopped": [";".join(r.stopped) or None for r in rows],
        "doubted": [";".join(c for c in r.doubted if c not in r.stopped) or None for r in rows],
    }


def _take_marks(frame: pd.DataFrame, rows: list[Row]) -> None:
    """Write what the checks did to the rows into the frame that they looked at."""
    for name, values in _marks(rows).items():
        frame[name] = pd.Series(values, index=frame.index, dtype="str")
    blanked: dict[str, list[int]] = {}
    for i, row in enumerate(rows):
        for column in row.stopped:
            blanked.setdefault(column, []).append(i)
    for column in blanked.keys() & set(frame.columns) - _PARENTS:
        frame.loc[blanked[column], column] = None


def apply_checks(
    rows: dict[str, list[Row]],
    delivered: Delivered,
    settings: Settings | None,
    layers: Mapping[str, Any],
    superseded: list[tuple[Row, Row]],
) -> tuple[dict[str, pd.DataFrame], list[Finding]]:
    """Run the checks over the typed survey; STOPs blank their values, rows change state."""
    frames = frames_of(rows)
    by_place = {(s.file, s.name): s for s in delivered.sheets}

    def row_of(table: str, index: int) -> Row:
        return rows[_SHEET_OF_TABLE[table]][index]

    def cell(table: str, index: int, column: str) -> Cell:
        row = row_of(table, index)
        sheet = by_place.get((row.file, row.sheet_name))
        if sheet is None:
            return Cell(file=row.file, sheet=row.sheet_name, row=row.row, column=column)
        letter = sheet.letters.get(column, "")
        return Cell(file=row.file, sheet=row.sheet_name, row=row.row, column=column,
                    cell=cell_name(letter, row.row) if letter else "")  # fmt: skip

    def raw(table: str, index: int, column: str) -> str:
        return row_of(table, index).raws.get(column, "")

    before = [old for old, _ in superseded if old.sheet == "chambers"]
    older = {"older_chambers": frame_of(REGISTRY["chambers"], before)}
    context = Context({**frames, **older}, layers, settings, cell, raw, delivered.abouts,
                      tuple(delivered.photos))  # fmt: skip
    findings = []
    for checked in run_checks(context):
        said = checked.finding
        if delivered.answers.keeps(said.key, said.column, said.code):
            findings.append(replace(said, weight=contract.NOTE))
            continue
        findings.append(said)
        if not checked.table or checked.index < 0:
            continue
        row = row_of(checked.table, checked.index)
        _mark(row, checked)
        if checked.columns and said.weight == contract.ASK:
            delivered.answers.doubt(f"{row.sheet}/{row.key}", said.column, said.code)
    _blank_stopped(rows)
    for name, frame in frames.items():
        _take_marks(frame, rows[_SHEET_OF_TABLE[name]])
    # a finding that several rows share comes once for each of them
    return frames, list(dict.fromkeys(findings))


def _mark(row: Row, checked: Checked) -> None:
    """Give a row the state of a finding, and name the values that are refused or in question."""
    row.worsen(checked.finding.weight)
    kept = row.stopped if checked.finding.weight == contract.STOP else row.doubted
    kept += [c for c in checked.columns if c not in kept]


def _blank_stopped(rows: dict[str, list[Row]]) -> None:
    """Take refused values out of use.

    The name of a parent that is not there is no value to be used, but the hole stays where it said
    it is.
    """
    for row in (r for sheet_rows in rows.values() for r in sheet_rows):
        for column in row.stopped:
            if column not in _PARENTS:
                row.values[column] = None


def tables_of(
    frames: dict[str, pd.DataFrame], sheets: list[TypedSheet], points: pd.DataFrame
) -> Tables:
    """All survey tables with columns, counts and GPS points."""
    out: Tables = dict(frames)
    out["columns"] = pd.DataFrame(
        [
            {
                "file": s.file,
                "sheet": s.name,
                "table": TABLE_OF_SHEET[s.sheet],
                "house_name": name,
                "heading": s.headings[name],
                "letter": at,
            }
            for s in sheets
            for name, at in s.letters.items()
        ],
        columns=list(REGISTRY["columns"].names),
    ).drop_duplicates(["file", "sheet", "house_name"])
    out["counts"] = counts_of(sheets, points)
    out["gps_points"] = points if len(points) else blank("gps_points")
    return out


def abouts_table(abouts: Mapping[str, Mapping[str, str]]) -> pd.DataFrame:
    """What the about sheet of each file declares, one row per declaration."""
    return pd.DataFrame(
        [
            {"file": file, "house_name": name, "value": value}
            for file, about in sorted(abouts.items())
            for name, value in sorted(about.items())
        ],
        columns=list(REGISTRY["abouts"].names),
    )


def counts_of(sheets: list[TypedSheet], points: pd.DataFrame) -> pd.DataFrame:
    """Rows in = used + asked + refused, per sheet and file, and per layer of points."""
    rows = [
        {
            "file": s.file,
            "sheet": s.name,
            # a row that stands twice, letter by letter, is counted and used once
            "rows_count": len(s.rows) + s.copies,
            **{
                f"{state}_count": sum(1 for r in s.rows if r.state == state)
                + (s.copies if state == contract.USED else 0)
                for state in contract.ROW_STATES
            },
            "skipped_count": s.skipped,
        }
        for s in sheets
    ]
    if len(points):
        for (file, layer), group in points.groupby(["file", "layer"], sort=True):
            states = group["row_state"].value_counts()
            rows.append(
                {
                    "file": file,
                    "sheet": layer,
                    "rows_count": len(group),
                    **{f"{s}_count": int(states.get(s, 0)) for s in contract.ROW_STATES},
                    "skipped_count": 0,
                }
            )
    return pd.DataFrame(rows, columns=list(REGISTRY["counts"].names))
