"""The question list: who gets which line, in which order, and text that stays text."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from pipeline.core.findings import Cell, Finding, make, table
from pipeline.publish.questions import write_questions
from pipeline.tables import Tables, blank

HEADS = ["Place", "File", "Sheet", "Cell", "Weight", "As read", "Question",
         "Assumed until answered", "Answer", "By whom", "Date", "How to mend", "Code", "Key",
         "Column"]  # fmt: skip


def _finding(code: str, place: str, row: int, **more: Any) -> Finding:
    where = Cell(file=more.pop("file", "walk.xlsx"), sheet="ducts", row=row, column="bore_mm",
                 cell=f"H{row}")  # fmt: skip
    return make(code, where, key=f"ducts/D{row}", place_id=place, fill={"row": row}, **more)


def _tables(*findings: Finding) -> Tables:
    places = {"C1": 0.0, "C2": 300.0, "C3": 100.0}
    chambers = pd.DataFrame(
        [{"chamber_id": c, "site_id": "S1", "x_m": x, "y_m": 0.0} for c, x in places.items()]
    )
    counts = pd.DataFrame(
        [
            {"file": "walk.xlsx", "sheet": "ducts", "rows_count": 430, "used_count": 412,
             "asked_count": 14, "refused_count": 4, "skipped_count": 9},
            {"file": "other.xlsx", "sheet": "ducts", "rows_count": 7, "used_count": 7,
             "asked_count": 0, "refused_count": 0, "skipped_count": 0},
        ]
    )  # fmt: skip
    sites = pd.DataFrame([{"site_id": "S1", "x_m": -50.0, "y_m": 0.0}])
    return {
        "findings": table(findings),
        "counts": counts,
        "sites": sites,
        "chambers": chambers,
        "buildings": blank("buildings"),
        "entries": blank("entries"),
        "ends": blank("ends"),
        "cables": blank("cables"),
    }


def _rows(path: Path, sheet: str) -> list[dict[str, Any]]:
    lines = [list(r) for r in openpyxl.load_workbook(path)[sheet].iter_rows(values_only=True)]
    at = next(i for i, line in enumerate(lines) if line[0] == "Place")
    assert lines[at] == HEADS
    return [dict(zip(HEADS, line, strict=True)) for line in lines[at + 1 :]]


def test_walking_order_and_weights(tmp_path: Path) -> None:
    """From the site to the nearest chamber and on; in a place STOP before ASK; notes stay out."""
    path = tmp_path / "questions.xlsx"
    findings = [
        _finding("duct-01", "C2", 9),
        _finding("duct-01", "C1", 8),
        _finding("duct-15", "C1", 12),
        _finding("duct-01", "C3", 7),
        _finding("duct-28", "C1", 3),
        make("file-18", Cell(file="walk.xlsx"), key="file/walk.xlsx", fill={"why": "x"}),
    ]
    write_questions(path, _tables(*findings), "1a2b3c4d")
    rows = _rows(path, "surveyor - walk.xlsx")
    assert [(r["Place"], r["Code"]) for r in rows] == [
        (None, "file-18"),
        ("C1", "duct-15"),
        ("C1", "duct-01"),
        ("C3", "duct-01"),
        ("C2", "duct-01"),
    ]
    assert rows[2]["Cell"] == "H8"
    assert rows[2]["Key"] == "ducts/D8"
    assert rows[2]["Column"] == "bore_mm"
    assert rows[2]["Answer"] is None


def test_one_sheet_for_each_sender_and_answerer(tmp_path: Path) -> None:
    """Contract: one sheet per sender and answerer, with the counts of that sender on top."""
    path = tmp_path / "questions.xlsx"
    findings = [
        _finding("duct-01", "C1", 2),
        _finding("duct-30", "C1", 3),
        _finding("duct-01", "C1", 4, file="other.xlsx"),
    ]
    write_questions(path, _tables(*findings), "1a2b3c4d")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == [
        "surveyor - other.xlsx",
        "engineer - walk.xlsx",
        "surveyor - walk.xlsx",
    ]
    head = str(book["surveyor - walk.xlsx"]["A2"].value)
    assert head.startswith("430 rows: 412 used, 14 used with an assumption")
    assert "4 " in head
    assert str(book["surveyor - other.xlsx"]["A2"].value).startswith("7 rows: 7 used")


@pytest.mark.parametrize("typed", ["=1+2", "+cmd", "@x", "-3", "http://example.invalid/"])
def test_what_was_typed_is_never_a_formula(tmp_path: Path, typed: str) -> None:
    """OWASP CSV injection: a value as typed comes back as the same text, not as a formula."""
    path = tmp_path / "questions.xlsx"
    write_questions(path, _tables(_finding("duct-02", "C1", 2, as_read=typed)), "1a2b3c4d")
    sheet = openpyxl.load_workbook(path)["surveyor - walk.xlsx"]
    cell = next(c for row in sheet.iter_rows() for c in row if c.value == typed)
    assert cell.data_type == "s"
    assert cell.hyperlink is None


def test_two_writes_are_the_same_bytes(tmp_path: Path) -> None:
    """Contract: same inputs, same bytes."""
    tables = _tables(_finding("duct-01", "C1", 2), _finding("duct-04", "C2", 3))
    one, other = tmp_path / "one.xlsx", tmp_path / "other.xlsx"
    write_questions(one, tables, "1a2b3c4d")
    write_questions(other, tables, "1a2b3c4d")
    assert one.read_bytes() == other.read_bytes()


def test_paper_is_set_up(tmp_path: Path) -> None:
    """A4 landscape, fitted to one page wide, heads frozen and repeated."""
    path = tmp_path / "questions.xlsx"
    write_questions(path, _tables(_finding("duct-01", "C1", 2)), "1a2b3c4d")
    sheet = openpyxl.load_workbook(path)["surveyor - walk.xlsx"]
    assert sheet.page_setup.orientation == "landscape"
    assert str(sheet.page_setup.paperSize) == "9"
    fit = sheet.sheet_properties.pageSetUpPr
    assert fit is not None
    assert fit.fitToPage
    assert sheet.freeze_panes == "B5"


def test_nothing_to_ask(tmp_path: Path) -> None:
    """A clean survey gives a list that says so, with its counts."""
    path = tmp_path / "questions.xlsx"
    write_questions(path, _tables(), "1a2b3c4d")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["Questions"]
    assert str(book["Questions"]["A2"].value).startswith("437 rows: 419 used")


def test_a_very_long_message_is_still_written(tmp_path: Path) -> None:
    """A cell holds 32,767 characters (a limit of the file format); a longer text is cut, not lost."""
    path = tmp_path / "questions.xlsx"
    long = make("duct-21", Cell(file="walk.xlsx", sheet="ducts", row=2), place_id="C1",
                fill={"end": "D-00001, " * 5000})  # fmt: skip
    write_questions(path, _tables(long), "1a2b3c4d")
    (row,) = _rows(path, "surveyor - walk.xlsx")
    assert str(row["Question"]).startswith("We do not know where end D-00001")


def test_a_line_of_the_reading_knows_its_place(tmp_path: Path) -> None:
    """A fault of a cell of a duct or cable row stands at the place of that duct."""
    from pipeline.publish.questions import _places

    tables: Tables = {
        "ends": pd.DataFrame({"end_id": ["D-1"], "place_id": ["E-1"]}),
        "cables": pd.DataFrame({"cable_id": ["K-1"], "end_id": ["D-1"]}),
    }
    asked = pd.DataFrame(
        {"place_id": [None, None, None, None, "CH-9"],
         "key": ["ducts/D-1 ; ducts/D-2", "cables/K-1", "chambers/CH-1", "visits/V", "ducts/D-1"]}
    )  # fmt: skip
    assert _places(tables, asked) == ["E-1", "E-1", "CH-1", None, "CH-9"]
