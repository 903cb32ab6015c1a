"""Workbook and certificates of the records: text stays text, same bytes, many ends on more pages."""

from __future__ import annotations

import hashlib
import time
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pypdf
import pytest

from pipeline.core import settings_file
from pipeline.core.settings import Settings
from pipeline.publish.certificates import write_certificates
from pipeline.publish.records_book import write_records
from pipeline.tables import Tables, blank, hand_over

ROOT = Path(__file__).parents[3]
HOSTILE = (
    "<script>alert(1)</script>", "=1+1", "</para><b>", "${7*7}", "{{7*7}}", "&amp; & <", "'; DROP",
    "\u202eevil", "emoji \U0001f525", "x" * 400, "a\nb", '"quoted"', "<img src='/etc/passwd'/>",
    "@cmd", "+2", "-3",
)  # fmt: skip
NAMES = (
    "states", "inspections", "sealed_ends", "lot_uses", "as_built", "inspection_sample", "sites",
)  # fmt: skip


@pytest.fixture(scope="module")
def settings() -> Settings:
    """Settings of the example."""
    return settings_file.load(ROOT / "configs" / "example.toml")


def tables_with(said: str, count: int = 1, building: str = "B1") -> Tables:
    """A building with accepted ends whose every free text is `said`."""
    ends = [f"D{i:03d}" for i in range(count)]
    seal: dict[str, Any] = {
        "install_id": said, "sealed_on": "2026-01-10", "sealed_by": said, "least_mm": 20.0,
        "need_mm": 20.0, "measured_count": 4, "lot": said, "expires_on": "2026-12-31",
        "inspection_id": said, "inspected_on": "2026-01-20", "inspected_by": said,
        "inspect_level": "gauge", "result": "accepted", "next_due_on": "2028-01-20",
        "accepted_on": "2026-01-20", "accepted_by": said, "is_accepted": True, "is_closed": True,
        "is_made": True, "is_changed": False, "is_overdue": False, "is_snag_open": False,
        "is_time_doubtful": False,
    }  # fmt: skip
    rows: dict[str, list[dict[str, Any]]] = {
        "sealed_ends": [{**seal, "end_id": e} for e in ends],
        "states": [
            {"end_id": e, "state": "accepted", "state_no": 12, "building_id": building,
             "move_reason": said, "stuck_reason": said, "moved_by": said, "region": "North"}
            for e in ends
        ],
        "as_built": [
            {"building_id": building, "site_id": "S1", "region": said, "package_ends_count": count,
             "accepted_count": count, "accepted_ids": ";".join(ends), "is_complete": True,
             "found_level_m": 10.0, "found_chance_per_year": 0.05, "built_level_m": 11.0,
             "built_chance_per_year": 0.01, "next_gate": said, "words": said}
        ],
        "lot_uses": [
            {"lot": said, "end_id": e, "install_id": said, "is_expired": False, "is_latest": True}
            for e in ends
        ],
    }  # fmt: skip
    frames = {n: pd.DataFrame(rows[n]) if n in rows else blank(n) for n in NAMES}
    return hand_over("test", frames)


def text_of(path: Path) -> str:
    """All text of a PDF, blanks taken out."""
    pages = pypdf.PdfReader(path).pages
    return "".join("".join(p.extract_text().split()) for p in pages)


@pytest.mark.parametrize("said", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_text_is_shown_as_text(said: str, settings: Settings, tmp_path: Path) -> None:
    """In the certificate letter by letter (unknown letters as their code), in the workbook as typed."""
    tables = tables_with(said)
    write_certificates(tmp_path, tables, settings, run_id="test")
    shown = "".join(said.split())
    shown = shown.replace("\u202e", "[U+202E]").replace("\U0001f525", "[U+1F525]")
    assert shown in text_of(tmp_path / "B1.pdf")
    write_records(tmp_path / "r.xlsx", tables, settings, run_id="test")
    book = openpyxl.load_workbook(tmp_path / "r.xlsx")
    cells = {c.value for page in book for row in page.iter_rows() for c in row}
    assert said in cells
    kinds = {c.data_type for page in book for row in page.iter_rows() for c in row}
    assert "f" not in kinds


def test_many_ends_run_over_pages_and_none_is_lost(settings: Settings, tmp_path: Path) -> None:
    """120 ends: each id once in the table, the heads repeated, more than one page."""
    write_certificates(tmp_path, tables_with("R1", 120), settings, run_id="test")
    reader = pypdf.PdfReader(tmp_path / "B1.pdf")
    assert len(reader.pages) > 1
    text = text_of(tmp_path / "B1.pdf")
    assert all(f"D{i:03d}" in text for i in range(120))
    assert text.count("Lot,lastdayofuse") == len(
        [p for p in reader.pages if "Least" in p.extract_text()]
    )


def test_a_certificate_cannot_leave_its_folder(settings: Settings, tmp_path: Path) -> None:
    """A building id with a path in it gives a file of this folder."""
    out = tmp_path / "inner"
    write_certificates(out, tables_with("R1", 1, "../../B 1"), settings, run_id="test")
    assert [p.parent for p in tmp_path.rglob("*.pdf")] == [out]


def test_two_writes_give_the_same_bytes(settings: Settings, tmp_path: Path) -> None:
    """Also two seconds later."""
    sums = []
    for name in ("one", "two"):
        folder = tmp_path / name
        write_certificates(folder, tables_with("R1", 3), settings, run_id="test")
        write_records(folder / "r.xlsx", tables_with("R1", 3), settings, run_id="test")
        sums.append([hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())])
        time.sleep(2)
    assert sums[0] == sums[1]


def test_no_certificate_without_a_complete_package(settings: Settings, tmp_path: Path) -> None:
    """One open end, and there is no paper and no folder."""
    tables = tables_with("R1", 2)
    tables["as_built"]["is_complete"] = False
    write_certificates(tmp_path / "none", tables, settings, run_id="test")
    assert not (tmp_path / "none").exists()
