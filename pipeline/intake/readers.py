"""Opening survey files: workbooks, CSV files and folders of CSV files.

A file is first looked at by its first bytes. What cannot be opened gives one finding; the other
files are read.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from pathlib import Path
from typing import Any, Final

from python_calamine import CalamineWorkbook, SheetTypeEnum

from pipeline.core.findings import Cell, Finding, make
from pipeline.core.photo_files import PHOTO_ENDINGS, photo_paths, read_photo
from pipeline.intake import kinds
from pipeline.intake.forms import read_geojson
from pipeline.intake.sheets import Delivery, RawSheet
from pipeline.intake.surroundings import add_surroundings

_ZIP: Final = b"PK\x03\x04"
_OLE: Final = b"\xd0\xcf\x11\xe0"
_OLD_PAPERS: Final = (".doc", ".dot", ".msg", ".ppt", ".mpp", ".vsd")
_UTF16: Final = (b"\xff\xfe", b"\xfe\xff")
_ENCODINGS: Final = ("utf-8-sig", "cp1252")
# a workbook that unpacks to more than this, or a hundred times its size, is not read
_LARGEST_BYTES: Final = 400_000_000
_LARGEST_RATIO: Final = 300
_WIDEST: Final = 400
# a column of three letters together with a row as far down as this is a stray cell
_FAR_ROW: Final = 100_000
_FAR_COLUMN: Final = re.compile(rb'r="[A-Z]{3}\d')
_LAST_ROW: Final = re.compile(rb'<row [^>]*?\br="(\d+)"')
csv.field_size_limit(10_000_000)  # a long note is no fault


def read_file(path: Path) -> Delivery:
    """Read a survey file or a folder of CSV files."""
    if path.is_dir():
        return _folder(path)
    try:
        head = path.open("rb").read(8)
    except OSError as fault:
        return _refused(path.name, "file-18", {"file": path.name, "why": str(fault.strerror)})
    suffix = path.suffix.lower()
    if head.startswith(_OLE) and suffix not in _OLD_PAPERS:
        why = "it is protected by a password or in the old binary form"
        return _refused(path.name, "file-18", {"file": path.name, "why": why})
    if suffix in (".csv", ".txt", ".tsv"):
        if head.startswith(_ZIP):
            return _not_inside(path, kinds.CSV)
        return _csv_delivery(path)
    if suffix in (".xlsx", ".xlsm"):
        if not head.startswith(_ZIP):
            return _not_inside(path, kinds.WORKBOOK)
        return _workbook(path)
    if suffix in (".geojson", ".json"):
        return _geojson(path)
    if suffix in PHOTO_ENDINGS:
        return Delivery(path.name, photos=[read_photo(path)])
    return _not_inside(path, kinds.SURVEY)


def _geojson(path: Path) -> Delivery:
    try:
        sheet = read_geojson(path, path.name)
    except (ValueError, OSError, RecursionError):
        found = kinds.found_in(path)
        cut = "JSON that is damaged or cut off" if found == kinds.JSON else found
        return _not_inside(path, kinds.GEOJSON, cut)
    if sheet is None:
        return _not_inside(path, kinds.GEOJSON, "JSON without records of a form")
    return Delivery(path.name, [sheet])


def _refused(file: str, code: str, fill: dict[str, Any]) -> Delivery:
    return Delivery(file, [], [make(code, Cell(file=file), fill=fill, key=f"file/{file}")])


def _not_inside(path: Path, wanted: str, found: str = "") -> Delivery:
    fill = kinds.facts(path, wanted) | ({"found": found} if found else {})
    return _refused(path.name, "file-26", fill)


def _folder(path: Path) -> Delivery:
    out = Delivery(path.name)
    for file in sorted(path.glob("*.csv")):
        part = _csv_delivery(file, shown=f"{path.name}/{file.name}")
        out.sheets += part.sheets
        out.findings += part.findings
    out.photos = [read_photo(f) for f in photo_paths([path])]
    if not out.sheets and not out.photos and not out.findings:
        out.findings += _nothing_in(path)
    return out


def _nothing_in(path: Path) -> list[Finding]:
    """A folder that is read as CSV files and photos, and holds neither."""
    count = sum(f.suffix.lower() in (".xlsx", ".xlsm") for f in path.iterdir())
    books = "1 workbook" if count == 1 else f"{count} workbooks"
    found, hint = "a folder that holds no file that can be read", ""
    if count:
        found = f"a folder with {books} and no CSV file or photo"
        hint = f" Name each workbook: {path.name}/*.xlsx."
    fill = {"file": path.name, "found": found, "wanted": "a folder of CSV files or photos",
            "hint": hint}  # fmt: skip
    return [make("file-26", Cell(file=path.name), fill=fill, key=f"file/{path.name}")]


def _csv_delivery(path: Path, *, shown: str = "") -> Delivery:
    file = shown or path.name
    raw = path.read_bytes()
    if b"\x00" in raw[:4096] and not raw.startswith(_UTF16):
        return _refused(file, "file-26", kinds.facts(path, kinds.CSV) | {"file": file})
    text = _decoded(raw)
    separator = _separator(text)
    rows: list[list[Any]] = [
        [cell if cell != "" else None for cell in row] for row in _rows(text, separator)
    ]
    sheet = RawSheet(file, path.stem, rows, decimal_comma=separator == ";")
    return Delivery(file, [sheet])


def _rows(text: str, separator: str) -> list[list[str]]:
    """Rows of a CSV text; a quotation mark that is never closed must not swallow the rest."""
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error:
        plain = csv.reader(
            io.StringIO(text, newline=""), delimiter=separator, quoting=csv.QUOTE_NONE
        )
        return [[cell.strip('"') for cell in row] for row in plain]


def _decoded(raw: bytes) -> str:
    if raw.startswith(_UTF16):
        return raw.decode("utf-16", errors="replace")
    for encoding in _ENCODINGS:
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError:
            continue
    return raw.decode("latin-1")


def _separator(text: str) -> str:
    """The separator that most of the first lines agree on."""
    lines = [line for line in text.splitlines()[:30] if line.strip()]
    return max(
        ",;\t|",
        key=lambda s: (sum(1 for line in lines if s in line), sum(line.count(s) for line in lines)),
    )


def _workbook(path: Path) -> Delivery:
    file = path.name
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(info.file_size for info in packed.infolist())
        if size > _LARGEST_BYTES or size > _LARGEST_RATIO * max(path.stat().st_size, 1_000):
            why = (
                f"it unpacks to {size / 1e6:,.0f} MB, more than a survey holds (empty rows that "
                "are formatted?)"
            )
            return _refused(file, "file-18", {"file": file, "why": why})
        values = CalamineWorkbook.from_path(str(path))
        names = [s.name for s in values.sheets_metadata if s.typ == SheetTypeEnum.WorkSheet]
        if _is_far_flung(path):
            why = "cells stand a hundred thousand rows or columns away from the table"
            return _refused(file, "file-18", {"file": file, "why": why})
        sheets = {n: RawSheet(file, n, _cells(values, n)) for n in names}
        with zipfile.ZipFile(path) as packed:
            known = add_surroundings(packed, sheets)
    except Exception as fault:  # noqa: BLE001 - any damage of a user's file is one clear line
        why = "it is damaged or cut off"
        del fault
        if kinds.is_other_packed(path):
            return _not_inside(path, kinds.WORKBOOK)
        return _refused(file, "file-18", {"file": file, "why": why})
    # a sheet that is a chart holds no cells
    return Delivery(file, [sheets[n] for n in names if n in known])


def _cells(book: CalamineWorkbook, name: str) -> list[list[Any]]:
    rows = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
    return [[None if v == "" else v for v in row[:_WIDEST]] for row in rows]


def _is_far_flung(path: Path) -> bool:
    """Whether a sheet holds cells so far apart that the table between them would not fit."""
    with zipfile.ZipFile(path) as packed:
        for part in packed.namelist():
            if not part.startswith("xl/worksheets/") or not part.endswith(".xml"):
                continue
            page = packed.read(part)
            last = _LAST_ROW.search(page, max(0, page.rfind(b"<row ")))
            if last and int(last[1]) > _FAR_ROW and _FAR_COLUMN.search(page):
                return True
    return False
