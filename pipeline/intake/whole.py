"""What can only be said of a whole delivery: ids, doubles, versions, blanks, sheets that are absent."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from pipeline.core import contract
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.record_sheets import SAID_BY_ITSELF
from pipeline.core.survey import TABLE_OF_SHEET, Column, key_of, of_sheet
from pipeline.intake.checks import ASKED_HERE
from pipeline.intake.inherit import delivery_of
from pipeline.intake.rows import Row, TypedSheet

_CORE: Final = ("sites", "chambers", "entries", "ducts")
_SHEETS_NAMED: Final = 30
_ROWS_NAMED: Final = 12
# a blank required cell is no question where one of these is filled instead
_INSTEAD: Final = {
    ("chambers", "cover_point_id"): ("cover_level_m",),
    ("buildings", "floor_point_id"): ("floor_level_m",),
    ("entries", "level_method"): ("invert_level_m",),
    ("entries", "measured_to"): ("invert_level_m", "level_m"),
    ("ducts", "level_method"): ("invert_level_m",),
    ("ducts", "measured_to"): ("invert_level_m",),
    ("ducts", "clear_depth_mm"): ("clear_depth_word",),
    ("chambers", "position_method"): ("_gps",),
    ("sites", "position_method"): ("_gps",),
}
# of an end that was only counted or not reached nothing more is asked
_NEVER: Final = frozenset(
    {("seals_now", "end_id"), ("seals_now", "entry_id"), ("visits", "scope"), *SAID_BY_ITSELF}
)
_COUNTED: Final = ("counted only", "not reached")
_COUNTED_NEEDS: Final = frozenset({"end_id", "place_kind", "place_id", "face", "seen"})


# where a thing stands; a quarrel about anything else takes the value out of use
_STANDS: Final = frozenset(
    {"site_id", "building_id", "place_id", "place_kind", "entry_id", "end_id"}
)


def say_ids(sheets: list[TypedSheet]) -> None:
    """Rows without id get one from their place in the file; numbers among text ids are asked."""
    for sheet in sheets:
        key = key_of(sheet.sheet)
        for row in sheet.rows:
            if row.key:
                continue
            row.values[key] = f"{row.file}!{row.sheet_name}!{row.row}"
            if sheet.sheet == "cables":
                continue  # a survey may count cables without naming them
            row.worsen(contract.STOP)
            where = sheet.cell(key, row.row)
            sheet.findings.append(
                make("id-01", where, fill={"row": row.row, "sheet": sheet.name},
                     key=f"{sheet.sheet}/{row.key}")
            )  # fmt: skip
        _say_numeric(sheet, key)


def _say_numeric(sheet: TypedSheet, key: str) -> None:
    named = [r for r in sheet.rows if r.raws.get(key)]
    numeric = [r for r in named if re.fullmatch(r"\d+(\.0)?", r.raws[key])]
    if not numeric or len(numeric) * 2 >= len(named):
        return
    example = next(r.key for r in named if r not in numeric)
    for row in numeric:
        row.worsen(contract.ASK)
        fill = {"row": row.row, "value": row.key, "example": example}
        sheet.findings.append(
            make("id-03", sheet.cell(key, row.row), fill=fill, as_read=row.raws[key],
                 key=f"{sheet.sheet}/{row.key}")
        )  # fmt: skip


def say_doubles(sheets: list[TypedSheet]) -> None:
    """The same id twice in one file: neither row is dropped, both are kept as things of their own."""
    for sheet in sheets:
        key = key_of(sheet.sheet)
        first: dict[str, Row] = {}
        copies: list[Row] = []
        for row in sheet.rows:
            if row.key not in first:
                first[row.key] = row
                continue
            other = first[row.key]
            what = sorted(k for k in row.values if row.values.get(k) != other.values.get(k))
            if not what:
                copies.append(row)
                continue
            _say_double(sheet, key, other, row, what)
        for row in copies:
            sheet.rows.remove(row)
            sheet.copies += 1


def _say_double(sheet: TypedSheet, key: str, one: Row, other: Row, what: list[str]) -> None:
    name = one.key
    number = 2 + sum(1 for r in sheet.rows if r.key.startswith(f"{name}#"))
    other.values[key] = f"{name}#{number}"
    for row in (one, other):
        row.worsen(contract.STOP)
        # each of the two keeps its place, so that both count as openings there; which of two
        # values is true is not known: neither is used, so that none clears (or lends a level)
        row.stopped += [c for c in what if c not in _STANDS and c != key and c not in row.stopped]
    fill = {"id": name, "rows": f"{one.row} and {other.row}", "what": ", ".join(what[:4]),
            "thing": sheet.sheet.rstrip("s")}  # fmt: skip
    sheet.findings.append(
        make("id-02", sheet.cell(key, other.row), fill=fill, as_read=name,
             key=f"{sheet.sheet}/{name}")
    )  # fmt: skip


@dataclass
class Versions:
    """One row per sheet and id, and the older rows that each stands for."""

    rows: dict[str, list[Row]]
    findings: list[Finding]
    superseded: list[tuple[Row, Row]] = field(default_factory=list)
    """(older row, the row that stands for it)"""


def newest(sheets: list[TypedSheet]) -> Versions:
    """One row per sheet and id: the later visit wins, else the later file; changes are noted."""
    out: dict[str, dict[str, Row]] = {sheet: {} for sheet in TABLE_OF_SHEET}
    findings: list[Finding] = []
    again: dict[tuple[str, str, str], list[int]] = {}
    fresh: dict[tuple[str, str], int] = {}
    older: list[tuple[str, Row]] = []
    seen_on = _Dates(sheets)
    for sheet in sheets:
        for row in sheet.rows:
            before = out[sheet.sheet].get(row.key)
            if before is not None:
                tally = again.setdefault((sheet.file, sheet.name, before.file), [0, 0])
                tally[0 if before.values == row.values else 1] += 1
                if seen_on.is_older(row, before):
                    older.append((sheet.sheet, row))
                    continue
                older.append((sheet.sheet, before))
            else:
                fresh[sheet.file, sheet.name] = fresh.get((sheet.file, sheet.name), 0) + 1
            out[sheet.sheet][row.key] = row
    for (file, name, earlier), (same, changed) in sorted(again.items()):
        fill = {"n": same, "date": earlier, "m": changed, "k": fresh.get((file, name), 0)}
        findings.append(make("file-17", Cell(file=file, sheet=name), fill=fill, key=f"file/{file}"))
    superseded = [(row, out[sheet][row.key]) for sheet, row in older]
    rows = {sheet: list(found.values()) for sheet, found in out.items()}
    return Versions(rows, findings, superseded)


def changes(superseded: list[tuple[Row, Row]]) -> list[dict[str, Any]]:
    """What changed between the versions of a row, one record per column (table `changes`)."""
    out = []
    for old, new in superseded:
        record: dict[str, Any] = {
            "key": f"{old.sheet}/{old.key}", "old_file": old.file, "old_row": str(old.row),
            "new_file": new.file, "new_row": str(new.row),
        }  # fmt: skip
        names = [n for n in (*old.raws, *new.raws) if old.raws.get(n, "") != new.raws.get(n, "")]
        # a row that was sent again as it was stays in the record too
        for name in dict.fromkeys(names or [""]):
            out.append(
                record | {"column": name or None, "old": old.raws.get(name) or None,
                          "new": new.raws.get(name) or None}
            )  # fmt: skip
    return out


class _Dates:
    """When a row was seen: by its visit, else by the latest visit of its site in the delivery."""

    def __init__(self, sheets: list[TypedSheet]) -> None:
        self._visit: dict[tuple[str, str], str] = {}
        self._latest: dict[str, str] = {}
        for sheet in sheets:
            for row in sheet.rows if sheet.sheet == "visits" else ():
                day = str(row.values.get("visit_date") or "")
                self._visit[delivery_of(row.file), row.key] = day
                for place in (str(row.values.get("site_id") or ""), ""):
                    at = f"{delivery_of(row.file)}|{place}"
                    self._latest[at] = max(day, self._latest.get(at, ""))

    def _of(self, row: Row) -> str:
        delivery = delivery_of(row.file)
        named = self._visit.get((delivery, str(row.values.get("visit_id") or "")), "")
        site = self._latest.get(f"{delivery}|{row.values.get('site_id') or ''}", "")
        return named or site or self._latest.get(f"{delivery}|", "")

    def is_older(self, row: Row, other: Row) -> bool:
        """Whether a row was seen before another, where both days are known."""
        one, two = self._of(row), self._of(other)
        return bool(one and two and one < two)


def say_blanks(sheets: list[TypedSheet], abouts: Mapping[str, Mapping[str, str]]) -> None:
    """Wanted cells that are blank: one question per sheet and column, the rows named."""
    for sheet in sheets:
        own_keys = [f"{sheet.sheet}/{r.key}" for r in sheet.rows]
        for column in of_sheet(sheet.sheet):
            if column.need != "R" or column.is_key or (sheet.sheet, column.house_name) in _NEVER:
                continue
            name = column.house_name
            if name == "datum" and abouts.get(sheet.file, {}).get("vertical_datum"):
                continue  # the first sheet says it for all rows that do not
            empty = [i for i, r in enumerate(sheet.rows) if r.values.get(name) is None]
            blank = [i for i in empty if _is_asked(sheet.sheet, name, sheet.rows[i])]
            if blank:
                rows, keys = [sheet.rows[i] for i in blank], [own_keys[i] for i in blank]
                _say_blank(sheet, column, rows, keys)


def _is_asked(sheet: str, name: str, row: Row) -> bool:
    if name in row.stopped or row.raws.get(name):
        return False  # filled, or asked already as what it is
    for other in _INSTEAD.get((sheet, name), ()):
        if row.values.get(other) is not None:
            return False
    if name in row.raws and (sheet, name) in ASKED_HERE:
        return False
    counted = sheet == "ducts" and row.values.get("seen") in _COUNTED
    return not counted or name in _COUNTED_NEEDS


def _say_blank(sheet: TypedSheet, column: Column, blank: list[Row], keys: list[str]) -> None:
    name = column.house_name
    for row in blank:
        row.worsen(contract.ASK)
    rows = "all" if len(blank) == len(sheet.rows) else _some([r.row for r in blank])
    assumed = column.assumed or "not known, the side that lets water in"
    fill = {"col": column.heading, "n": len(blank), "sheet": sheet.name, "rows": rows,
            "assumed": assumed}  # fmt: skip
    where = sheet.cell(name, blank[0].row)
    sheet.findings.append(
        make(
            "file-24",
            where,
            fill=fill,
            assumed=assumed,
            key=keys[0],
            also_keys=dict.fromkeys(keys[1:]),
        )
    )


def say_missing_sheets(
    sheets: list[TypedSheet], files: list[str], names: list[str]
) -> list[Finding]:
    """Which of the four core sheets are absent from the whole delivery.

    Parameters
    ----------
    sheets : list of TypedSheet
    files : list of str
        Files that could be opened; where there are none, the line of each refused file is enough.
    names : list of str
        Sheets of these files, known to us or not.

    Returns
    -------
    list of Finding
    """
    if not files:
        return []
    present = {s.sheet for s in sheets}
    absent = [s for s in _CORE if s not in present]
    found = _named(names) or "none"
    if len(absent) == len(_CORE):
        fill = {"sheet": ", ".join(_CORE), "found": found}
        return [make("file-01", Cell(file=files[0]), fill=fill, weight=contract.STOP, key="file/")]
    return [
        make("file-01", Cell(file=files[0], sheet=s),
             fill={"sheet": s, "found": found}, key=f"{s}/")
        for s in absent
    ]  # fmt: skip


def _named(names: list[str]) -> str:
    shown = sorted(set(names))
    rest = len(shown) - _SHEETS_NAMED
    return ", ".join(shown[:_SHEETS_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def _some(rows: list[Any]) -> str:
    shown = ", ".join(str(r) for r in rows[:_ROWS_NAMED])
    return shown + (f" and {len(rows) - _ROWS_NAMED} more" if len(rows) > _ROWS_NAMED else "")
