"""What is said of a file that is not read: what it is, what is wanted, what to do."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from pathlib import Path

import openpyxl
import pytest

from pipeline.intake import check

SURVEY = "wanted is a survey workbook (.xlsx, .xlsm)"
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600


def said(path: Path) -> str:
    """The only line about a file."""
    (row,) = check([path])["findings"].to_dict("records")
    assert (row["code"], row["weight"], row["file"]) == ("file-26", "STOP", path.name)
    return str(row["message"])


# heads of PDF, SQLite and OLE files: their formats' own first bytes
@pytest.mark.parametrize(
    ("name", "content", "found", "wanted", "hint"),
    [
        ("notes.md", b"# ducts\n", "plain text under a name that ends in .md", SURVEY, ""),
        ("noend", b"\x00\x01", "binary data", SURVEY, ""),
        ("report.pdf", b"%PDF-1.7", "a PDF document", SURVEY, "Ask for the table"),
        ("letter.doc", OLE, "a document of an old binary kind", SURVEY, ""),
        ("points.gpkg", b"SQLite format 3\x00", "a GeoPackage", SURVEY, "[[surveys.gps]]"),
        ("walk.gpx", b'<?xml version="1.0"?><gpx>', "GPS points (GPX)", SURVEY, "[[surveys.gps]]"),
        ("own.toml", b"[programme]\n", "plain text", SURVEY, "--config"),
        ("web.xlsx", b"\n<!DOCTYPE HTML><html>", "a web page", "an Excel workbook", "signed in"),
        ("empty.xlsx", b"", "an empty file", "an Excel workbook", ""),
        ("binary.csv", b"a,b\x00c\n", "binary data", "plain text in columns", ""),
        ("cut.geojson", b'{"features": [', "JSON that is damaged", "GeoJSON", ""),
        ("other.geojson", b'{"a": 1}', "JSON without records", "GeoJSON", ""),
    ],
)
def test_a_wrong_kind_is_told_in_plain_words(
    tmp_path: Path, name: str, content: bytes, found: str, wanted: str, hint: str
) -> None:
    """Found, wanted and the way out stand in one line."""
    (tmp_path / name).write_bytes(content)
    line = said(tmp_path / name)
    assert line.startswith(f"{name} was not read. It is {found}")
    assert wanted in line
    assert hint in line
    assert "{" not in line


PACKED: Mapping[str, tuple[dict[str, str], str, str]] = {
    "surveys.zip": ({"a.xlsx": "", "b.csv": ""}, "a packed folder (zip) of 2 files", "Unpack it"),
    "plain.xlsx": ({"readme.txt": "x"}, "a packed folder (zip) of 1 file;", "Unpack it"),
    "paper.docx": ({"word/document.xml": ""}, "a Word document", "`stanch template`"),
    "paper.xlsx": ({"word/document.xml": ""}, "a Word document", "`stanch template`"),
    "table.ods": ({"mimetype": "application/vnd.oasis.opendocument.spreadsheet"},
                  "an OpenDocument spreadsheet (.ods)", "Save it as .xlsx"),
    "ducts.csv": ({"xl/workbook.xml": ""}, "an Excel workbook", "end .xlsx"),
}  # fmt: skip


@pytest.mark.parametrize("name", PACKED)
def test_packed_files_are_named_by_what_is_in_them(tmp_path: Path, name: str) -> None:
    """A zip, a Word document and a workbook all begin with the same bytes; names of members stay out."""
    parts, found, hint = PACKED[name]
    with zipfile.ZipFile(tmp_path / name, "w") as packed:
        for part, text in parts.items():
            packed.writestr(part, text)
    line = said(tmp_path / name)
    assert f"It is {found}" in line
    assert hint in line
    assert not [p for p in parts if p in line]


def test_a_folder_of_workbooks_says_to_name_them(tmp_path: Path) -> None:
    """Folders are read for CSV files and photos; workbooks in one are not passed over in silence."""
    folder = tmp_path / "books"
    folder.mkdir()
    openpyxl.Workbook().save(folder / "north.xlsx")
    line = said(folder)
    assert "a folder with 1 workbook and no CSV file" in line
    assert "books/*.xlsx" in line


def test_a_damaged_workbook_stays_damaged(tmp_path: Path) -> None:
    """A cut workbook is no packed folder: the line says that it is damaged."""
    (tmp_path / "cut.xlsx").write_bytes(b"PK\x03\x04 and nothing behind")
    (row,) = check([tmp_path / "cut.xlsx"])["findings"].to_dict("records")
    assert (row["code"], "damaged" in row["message"]) == ("file-18", True)
