"""Exports of the phone form: one table of all records, taken apart into the sheets they belong to."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any, Final

from pipeline.core.survey import FORM_KIND, FORM_POSITION, FORM_SHEETS, RECORD_SHEETS
from pipeline.intake.headings import LOOKED_AT, normal
from pipeline.intake.sheets import RawSheet

_KIND: Final = normal(FORM_KIND)
# form apps put the name of the group in front, with a sign of their own between
_GROUP: Final = re.compile(r"^(?:.*[/.:])?(?P<rest>[^/.:]+)$")
_PARTS: Final = {"latitude": 0, "longitude": 1}


def is_form_export(raw: RawSheet) -> bool:
    """Whether a table is an export of the phone form."""
    return _head_row(raw) is not None


def _head_row(raw: RawSheet) -> int | None:
    for r, row in enumerate(raw.cells[:LOOKED_AT]):
        if any(isinstance(v, str) and normal(_plain(v)) == _KIND for v in row):
            return r
    return None


def _plain(heading: str) -> str:
    found = _GROUP.match(heading.strip())
    return found["rest"] if found else heading


def sheets_of_export(raw: RawSheet) -> list[RawSheet]:
    """The records of an export, one sheet for each kind; rows keep their number in the file."""
    top = _head_row(raw)
    if top is None:
        return [raw]
    head = [_plain(v) if isinstance(v, str) else "" for v in raw.cells[top]]
    kind_at = next(i for i, h in enumerate(head) if normal(h) == _KIND)
    out = []
    for sheet in (*FORM_SHEETS, *RECORD_SHEETS):
        rows = [
            row if r > top and _kind(row, kind_at) == sheet else []
            for r, row in enumerate(raw.cells)
        ]
        if not any(rows):
            continue
        names, at = _own_columns(head, sheet)
        cells = [[_cell(row, i) for i in range(len(head))] for row in rows]
        cells[top] = list(names)
        _spread_position(cells, at, top)
        out.append(RawSheet(raw.file, sheet, cells, decimal_comma=raw.decimal_comma))
    return out


def _kind(row: list[Any], at: int) -> str:
    return str(row[at]).strip() if at < len(row) and row[at] is not None else ""


def _cell(row: list[Any], i: int) -> Any:
    return row[i] if i < len(row) else None


def _own_columns(head: list[str], sheet: str) -> tuple[list[Any], dict[str, int]]:
    """Headings of one sheet's columns (others blank), and where its position stands."""
    start = normal(f"{sheet}_")
    names: list[Any] = []
    at: dict[str, int] = {}
    for i, heading in enumerate(head):
        plain = normal(heading)
        # a group's name and the sheet's own may both stand in front: chambers-chambers_depth_m
        while plain.startswith(f"{start} {start} "):
            plain = plain[len(start) + 1 :]
        own = plain[len(start) + 1 :] if plain.startswith(f"{start} ") else ""
        if own.startswith(FORM_POSITION):
            at[own.removeprefix(FORM_POSITION).strip() or "all"] = i
            own = ""
        names.append(own.replace(" ", "_") or None)
    return names, at


def _spread_position(cells: list[list[Any]], at: dict[str, int], top: int) -> None:
    """Latitude and longitude out of 'lat lon altitude accuracy', or of columns of their own."""
    if not at or not any(len(row) > i and row[i] for row in cells[top + 1 :] for i in at.values()):
        return
    for r, row in enumerate(cells):
        if r == top:
            row += ["lat", "lon"]
            continue
        parts = str(row[at["all"]] or "").split() if "all" in at else []
        both = [_number(parts[i]) if len(parts) > i else None for i in (0, 1)]
        for name, i in _PARTS.items():
            if name in at and both[i] is None:
                both[i] = row[at[name]]
        row.extend(both)


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def read_geojson(path: Path, file: str) -> RawSheet | None:
    """Records of a GeoJSON file as one table; None where it holds no features.

    Raises
    ------
    ValueError
        When the file is no JSON.
    """
    data = json.loads(path.read_text("utf-8-sig"))
    features = data.get("features") if isinstance(data, dict) else None
    if not isinstance(features, list):
        return None
    records: list[dict[str, Any]] = []
    for feature in features:
        own = feature.get("properties") if isinstance(feature, dict) else None
        record = {str(k): _flat(v) for k, v in (own or {}).items()}
        shape = feature.get("geometry") if isinstance(feature, dict) else None
        if isinstance(shape, dict) and shape.get("type") == "Point":
            place = shape.get("coordinates") or [None, None]
            kind = next((str(v) for k, v in record.items() if normal(_plain(k)) == _KIND), "")
            name = f"{kind}_{FORM_POSITION}" if kind else "lat_lon"
            record.setdefault(name, f"{place[1]} {place[0]}")
        records.append(record)
    heads = list(dict.fromkeys(k for r in records for k in r))
    cells: list[list[Any]] = [list(heads), *([r.get(h) for h in heads] for r in records)]
    return RawSheet(file, path.stem, cells)


def _flat(value: Any) -> Any:
    if isinstance(value, (list, dict)):
        return json.dumps(value, ensure_ascii=False)
    return None if value == "" else value
