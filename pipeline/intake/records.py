"""Records that come back: read with the survey's own reader, one table per sheet, every row counted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pandas as pd

from pipeline.core.answers import Answers
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.findings import table as findings_table
from pipeline.core.settings import Settings
from pipeline.core.survey import RECORD_SHEETS, key_of
from pipeline.intake.about import habits_of, read_about, with_known_datum
from pipeline.intake.assemble import counts_of, frame_of
from pipeline.intake.forms import sheets_of_export
from pipeline.intake.headings import OWN_SHEETS, find_head, normal, sheet_of
from pipeline.intake.readers import read_file
from pipeline.intake.record_checks import Known, check_records
from pipeline.intake.rows import Row, TypedSheet, say_comments, say_marks, type_sheet
from pipeline.intake.sheets import RawSheet
from pipeline.intake.whole import changes, say_blanks, say_doubles
from pipeline.tables import REGISTRY, Tables, blank

_ALIASES: Final = {
    "install records": "installs", "install": "installs", "installations": "installs",
    "inspection": "inspections", "looks": "inspections", "release": "releases",
    "releases of holds": "releases", "changes": "cable_changes", "cables added": "cable_changes",
    "orders": "orders_placed", "kits": "kits_packed", "packed": "kits_packed",
}  # fmt: skip
_LEAST_NAMES: Final = 3
_NO_ANSWERS: Final = Answers()


@dataclass
class _Read:
    """Typed record sheets, findings of whole files, names of the files."""

    sheets: list[TypedSheet] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    files: list[str] = field(default_factory=list)


def with_records(tables: Tables, settings: Settings) -> Tables:
    """The tables of a survey with those of the records that the settings name.

    Parameters
    ----------
    tables : Tables
        What intake made of the survey.
    settings : Settings

    Returns
    -------
    Tables
        The same with the record tables, `sealed_ends`, and findings, counts, columns and changes
        of both.

    Notes
    -----
    Answers are never laid into a record: a hold is lifted by a release and by nothing else.
    """
    taken = set(tables["counts"]["file"]) | set(tables["abouts"]["file"])
    read = _read_files((*settings.surveys.records, *settings.surveys.releases), settings, taken)
    say_doubles(read.sheets)
    _name_the_nameless(read.sheets)
    say_blanks(read.sheets, {})
    rows, superseded = _newest(read.sheets)
    for row in (r for of_sheet in rows.values() for r in of_sheet):
        for column in row.stopped:
            row.values[column] = None
    by_place = {(s.file, s.name): s for s in read.sheets}

    def cell(row: Row, column: str) -> Cell:
        return by_place[row.file, row.sheet_name].cell(column, row.row)

    checked, sealed = check_records(rows, cell, Known.of(tables), settings)
    out = dict(tables)
    for name in RECORD_SHEETS:
        out[name] = frame_of(REGISTRY[name], rows[name]) if rows[name] else blank(name)
    columns = list(blank("sealed_ends"))
    out["sealed_ends"] = pd.DataFrame(sealed, columns=columns) if sealed else blank("sealed_ends")
    said = [*read.findings, *(f for s in read.sheets for f in s.findings), *checked]
    return out | _beside(tables, read, said, superseded)


def _beside(
    tables: Tables, read: _Read, said: list[Finding], superseded: list[tuple[Row, Row]]
) -> Tables:
    """Findings, counts, columns and changes of the survey, with those of the records behind."""
    new: Tables = {}
    if said:
        new["findings"] = findings_table(dict.fromkeys(said))
    if read.sheets:
        new["counts"] = counts_of(read.sheets, pd.DataFrame())
        new["columns"] = _columns(read.sheets)
    if superseded:
        new["changes"] = pd.DataFrame(changes(superseded), columns=list(blank("changes")))
    return {
        name: pd.concat([p for p in (tables[name], frame) if len(p)], ignore_index=True)
        for name, frame in new.items()
    }


def _read_files(paths: Iterable[Path], settings: Settings, taken: set[str]) -> _Read:
    out = _Read()
    for path in paths:
        delivery = read_file(path)
        file = delivery.file
        if file in taken or file in out.files:
            file = f"{path.parent.name}/{path.name}"
        out.files.append(file)
        out.findings += delivery.findings
        raws = [s for raw in delivery.sheets for s in sheets_of_export(raw)]
        for raw in raws:
            raw.file = raw.file if raw.file != delivery.file else file
        before = len(out.sheets)
        _type_file(raws, settings, out)
        if len(out.sheets) == before and not delivery.findings:
            fill = {"file": file, "found": ", ".join(r.name for r in raws) or "no sheet"}
            out.findings.append(make("record-19", Cell(file=file), fill=fill, key=f"file/{file}"))
    return out


def _type_file(raws: list[RawSheet], settings: Settings, out: _Read) -> None:
    about: dict[str, str] = {}
    for raw in raws:
        if sheet_of(raw.name) == "about":
            about, found = read_about(raw, _NO_ANSWERS)
            out.findings += found
    about = with_known_datum(about, settings)
    for raw in raws:
        sheet = _sheet_of(raw)
        if not sheet:
            continue
        habits = habits_of(about, settings, decimal_comma=raw.decimal_comma)
        typed = type_sheet(raw, sheet, habits, settings.surveys.aliases, _NO_ANSWERS)
        say_comments(raw, typed)
        say_marks(raw, typed)
        out.sheets.append(typed)


def _sheet_of(raw: RawSheet) -> str:
    """The record sheet that a sheet is: by its name, else by its headings; '' for none."""
    name = normal(raw.name)
    if name in OWN_SHEETS or sheet_of(raw.name):
        return ""
    for sheet in RECORD_SHEETS:
        if name == normal(sheet):
            return sheet
    if name in _ALIASES:
        return _ALIASES[name]
    found = {}
    for sheet in RECORD_SHEETS:
        head = find_head(sheet, raw.cells, {})
        if head is not None and any(c.is_key for c in head.columns.values()):
            found[sheet] = len(head.columns)
    best = max(found, key=lambda s: found[s], default="")
    return best if best and found[best] >= _LEAST_NAMES else ""


def _name_the_nameless(sheets: list[TypedSheet]) -> None:
    """A record without an id of its own is known by its place in the file."""
    for sheet in sheets:
        key = key_of(sheet.sheet)
        for row in sheet.rows:
            if not row.key:
                row.values[key] = f"{row.file}!{row.sheet_name}!{row.row}"


def _newest(
    sheets: list[TypedSheet],
) -> tuple[dict[str, list[Row]], list[tuple[Row, Row]]]:
    """One row per sheet and id: the later file wins; the older rows stay in the record."""
    found: dict[str, dict[str, Row]] = {sheet: {} for sheet in RECORD_SHEETS}
    older: list[tuple[str, Row]] = []
    for sheet in sheets:
        for row in sheet.rows:
            before = found[sheet.sheet].get(row.key)
            if before is not None:
                older.append((sheet.sheet, before))
            found[sheet.sheet][row.key] = row
    superseded = [(row, found[sheet][row.key]) for sheet, row in older]
    return {sheet: list(rows.values()) for sheet, rows in found.items()}, superseded


def _columns(sheets: list[TypedSheet]) -> pd.DataFrame:
    rows: list[dict[str, Any]] = [
        {
            "file": s.file,
            "sheet": s.name,
            "table": s.sheet,
            "house_name": name,
            "heading": s.headings[name],
            "letter": at,
        }
        for s in sheets
        for name, at in s.letters.items()
    ]
    frame = pd.DataFrame(rows, columns=list(REGISTRY["columns"].names))
    return frame.drop_duplicates(["file", "sheet", "house_name"])


__all__ = ["with_records"]
