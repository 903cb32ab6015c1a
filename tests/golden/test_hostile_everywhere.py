"""Hostile texts in every text column of a survey, through the whole job, in every file it writes."""

from __future__ import annotations

import csv
import re
from itertools import count
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pyogrio
import pypdf
import pytest

from pipeline.core import settings_file
from pipeline.intake import intake
from pipeline.publish import publish
from pipeline.run import compute
from pipeline.tables import REGISTRY, hand_over
from tests.hostile_texts import HOSTILE

ROOT = Path(__file__).parents[2]
# free text of the survey, by table; identifiers and what names other rows or files are not free
FREE = {
    "buildings": ("max_head_by",),
    "cables": ("owner", "compatible_note"),
    "chambers": ("other_numbers", "gas_note", "cover_test"),
    "observations": ("note",),
    "seals": ("evidence",),
    "sites": ("site_name", "key_customers", "flood_history"),
    "visits": ("surveyor", "permit_ref", "reason", "scope"),
}
FORMULA = ("=", "+", "-", "@", "\t", "\r")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The clean sample with a hostile text in every cell of free text, run to its papers."""
    config = ROOT / "configs" / "clean.toml"
    settings = settings_file.load(config)
    tables: dict[str, Any] = hand_over("intake", intake(settings))
    turn = count()
    for name, columns in FREE.items():
        frame = tables[name].copy()
        for column in columns:
            frame[column] = [HOSTILE[next(turn) % len(HOSTILE)] for _ in range(len(frame))]
        tables[name] = frame
    assert next(turn) >= 5 * len(HOSTILE)  # each stands in several columns
    computed, run_id, _ = compute(config, settings, survey=tables)
    out: Path = tmp_path_factory.mktemp("hostile") / "run"
    out.mkdir()
    publish(computed, settings, folder=out, run_id=run_id, when=lambda: {"seconds": 0})
    return out


def test_the_columns_are_those_of_the_survey() -> None:
    """Every column that is made hostile exists."""
    for table, columns in FREE.items():
        assert set(columns) <= set(REGISTRY[table].names), table


def test_no_csv_cell_begins_like_a_formula(folder: Path) -> None:
    """A text that a spreadsheet would calculate is made harmless; numbers below zero stay numbers."""
    seen = 0
    for path in sorted(folder.rglob("*.csv")):
        with path.open(encoding="utf-8-sig", newline="") as lines:
            for row in csv.reader(lines):
                for cell in row:
                    seen += 1
                    if cell.startswith(FORMULA):
                        float(cell)  # raises where it is no number
    assert seen > 10_000


def test_no_workbook_cell_of_a_survey_text_is_a_formula(folder: Path) -> None:
    """Formulas stand in the schedule alone, and none of them holds a hostile text."""
    texts = 0
    for path in sorted(folder.rglob("*.xlsx")):
        book = openpyxl.load_workbook(path)
        for sheet in book.worksheets:
            for row in sheet.iter_rows():
                for cell in row:
                    if cell.data_type == "f":
                        assert path.name == "schedule.xlsx", (
                            path.name,
                            sheet.title,
                            cell.coordinate,
                        )
                        assert not any(t in str(cell.value) for t in HOSTILE if len(t) > 5)
                    elif isinstance(cell.value, str):
                        texts += any(t[:200] in cell.value for t in HOSTILE)
    assert texts > 20


def test_the_map_holds_no_hostile_markup(folder: Path) -> None:
    """Not one hostile text stands in the page as markup; the browser test shows them as text."""
    page = (folder / "map.html").read_text("utf-8")
    for text in HOSTILE:
        if "<" in text and len(text) > 10:
            assert text not in page
    assert len(re.findall(r"<script", page)) == len(re.findall(r"</script>", page))


def test_every_pdf_opens_and_shows_a_text_as_text(folder: Path) -> None:
    """Cases are whole files and hostile names stand in them (packs: test_work_packs.py)."""
    paths = sorted(folder.rglob("*.pdf"))
    assert [p.name for p in paths].count("cases.pdf") == 1
    words = ""
    for path in paths:
        for page in pypdf.PdfReader(path).pages:
            words += page.extract_text()
    shown = [t for t in HOSTILE if t.isascii() and len(t) < 60 and t in words.replace("\n", "")]
    assert shown


def test_layers_and_places_hold_the_texts_as_they_are(folder: Path) -> None:
    """The GIS file gives back each name letter by letter."""
    sites = pyogrio.read_dataframe(folder / "programme.gpkg", layer="sites")
    assert set(sites["site_name"]) <= set(HOSTILE)
    table = pd.read_csv(folder / "tables" / "sites.csv", dtype=str, keep_default_na=False,
                        encoding="utf-8-sig")  # fmt: skip
    assert len(table) == len(sites)
