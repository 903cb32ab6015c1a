"""What a blank takes from above: the spelling of an id, the visit of a row."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from pipeline.core.findings import make
from pipeline.core.survey import TABLE_OF_SHEET, key_of, of_sheet
from pipeline.intake.rows import Row, TypedSheet

_VISITED: Final = ("buildings", "chambers", "entries", "ducts", "level_points")


def delivery_of(file: str) -> str:
    """What was sent together: a workbook, or a folder of CSV files."""
    return file.split("/", maxsplit=1)[0]


def one_spelling(sheets: list[TypedSheet]) -> None:
    """Ids that differ only in letter case between files, or from the thing they point to, are one.

    Within a file two spellings stay apart: there they may be two things, and are asked.
    """
    first: dict[str, dict[str, str]] = {sheet: {} for sheet in TABLE_OF_SHEET}
    for sheet in sheets:
        known = dict(first[sheet.sheet])
        for row in sheet.rows:
            _respell(sheet, row, key_of(sheet.sheet), known)
        for row in sheet.rows:
            first[sheet.sheet].setdefault(row.key.casefold(), row.key)
    exact = {name: {r.key for s in sheets if s.sheet == name for r in s.rows} for name in first}
    for sheet in sheets:
        for column in of_sheet(sheet.sheet):
            if column.parent and not column.is_key:
                parents = tuple(first) if column.parent == "any" else column.parent.split("|")
                named = set().union(*(exact.get(p, set()) for p in parents))
                known = {k: v for p in reversed(parents) for k, v in first.get(p, {}).items()}
                for row in sheet.rows:
                    if row.values.get(column.house_name) not in named:
                        _respell(sheet, row, column.house_name, known)


def _respell(sheet: TypedSheet, row: Row, name: str, known: Mapping[str, str]) -> None:
    typed = row.values.get(name)
    meant = known.get(str(typed).casefold()) if typed else None
    if meant is None or meant == typed:
        return
    row.values[name] = meant
    sheet.findings.append(
        make("file-20", sheet.cell(name, row.row), fill={"raw": typed, "value": meant},
             as_read=str(typed), key=f"{row.sheet}/{row.key}")
    )  # fmt: skip


def inherit(rows: dict[str, list[Row]]) -> None:
    """Give each row that names no visit the latest one of its site in the delivery."""
    latest: dict[tuple[str, str], Row] = {}
    for row in rows["visits"]:
        at = (delivery_of(row.file), str(row.values.get("site_id") or ""))
        before = latest.get(at)
        if before is None or _day(row) >= _day(before):
            latest[at] = row
    site_of = _sites(rows)
    for sheet in _VISITED:
        for row in rows[sheet]:
            if row.values.get("visit_id") is not None or "visit_id" in row.stopped:
                continue
            visit = latest.get((delivery_of(row.file), site_of.get((sheet, row.key), "")))
            if visit is not None:
                row.values["visit_id"] = visit.key


def _day(row: Row) -> str:
    return str(row.values.get("visit_date") or "")


def _sites(rows: dict[str, list[Row]]) -> dict[tuple[str, str], str]:
    """Site of each thing, by sheet and id."""
    out: dict[tuple[str, str], str] = {}
    for sheet in ("buildings", "chambers", "level_points"):
        out |= {(sheet, r.key): str(r.values.get("site_id") or "") for r in rows[sheet]}
    for row in rows["entries"]:
        building = str(row.values.get("building_id") or "")
        out["entries", row.key] = out.get(("buildings", building), "")
    for row in rows["ducts"]:
        place = str(row.values.get("place_id") or "")
        out["ducts", row.key] = out.get(("entries", place)) or out.get(("chambers", place), "")
    return out
