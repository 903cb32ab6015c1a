"""The budget picture draws the cells of its region, and says what a cut loses."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from lxml import etree

from pipeline.publish.book import Book
from pipeline.publish.programme_sheets import rank_spans, write_choice_sheets
from pipeline.tables import REGISTRY, Tables, blank
from pipeline.tables.spec import conform

_REGIONS = ("East", "West", "all regions")
_PARTS = (0.0, 0.8, 1.0, 1.2)


def _curve() -> pd.DataFrame:
    """Worth 100 x part in East, 400 x part in West (whole currency units), both together."""
    rows = []
    for region, whole in zip(_REGIONS, (100, 400, 500), strict=True):
        for part in _PARTS:
            rows.append(
                {
                    "region": region,
                    "money_frac": part,
                    "money_minor": round(1_000_000 * part),
                    "spent_minor": round(900_000 * part),
                    "pv_avoided_minor": round(100 * whole * part),
                    "pv_change_minor": round(100 * whole * (part - 1.0)),
                    "buildings_count": 2,
                    "dropped_building_ids": "B7" if (region, part) == ("West", 0.8) else None,
                }
            )
    return conform(REGISTRY["budget_curve"], pd.DataFrame(rows), stage="test")


def _cases() -> pd.DataFrame:
    rows = [
        {"building_id": b, "case": c, "site_id": "S", "is_chosen": r is not None, "rank": r}
        for b, ranks in (("B1", (1, 3, 2)), ("B2", (2, None, 1)), ("B3", (None, 1, None)))
        for c, r in zip(("as planned", "flood high", "flood low"), ranks, strict=True)
    ]
    return conform(REGISTRY["rank_cases"], pd.DataFrame(rows), stage="test")


@pytest.fixture
def workbook(tmp_path: Path) -> Path:
    """A workbook of these sheets alone."""
    tables: Tables = {n: blank(n) for n in ("settled", "crew_days", "site_months")}
    tables |= {"budget_curve": _curve(), "rank_cases": _cases()}
    book = Book(tmp_path / "b.xlsx", title="t", run_label="Run r1.")
    write_choice_sheets(book, tables, "GBP")
    book.close()
    return tmp_path / "b.xlsx"


def _series(path: Path) -> list[tuple[str, ...]]:
    """Name, x and y references of every series of every chart, read from the file's own XML."""
    out = []
    with zipfile.ZipFile(path) as held:
        for name in sorted(n for n in held.namelist() if n.startswith("xl/charts/chart")):
            root: Any = etree.fromstring(held.read(name))
            ns = {"c": "http://schemas.openxmlformats.org/drawingml/2006/chart"}
            for ser in root.iterfind(".//c:ser", ns):
                refs = [ser.findtext(f"c:{p}//c:f", namespaces=ns) for p in ("tx", "xVal", "yVal")]
                out.append(tuple(str(r).replace("$", "") for r in refs))
    return out


def test_charts_draw_the_cells_of_their_region(workbook: Path) -> None:
    """One chart for all regions, one with a line per region; every line lies in its own rows."""
    sheet: Any = openpyxl.load_workbook(workbook)["Budget curve"]
    series = _series(workbook)
    names = []
    for name, x, y in series:
        region = sheet[name.split("!")[1]].value
        names.append(region)
        for ref, scale in ((x, None), (y, {"East": 100, "West": 400, "all regions": 500}[region])):
            cells = [c for (c,) in sheet[ref.split("!")[1]]]
            assert [sheet.cell(c.row, 1).value for c in cells] == [region] * len(_PARTS)
            values = [10_000 * p if scale is None else scale * p for p in _PARTS]
            assert [c.value for c in cells] == pytest.approx(values)
    assert names == ["all regions", "East", "West"]


def test_cut_is_told_in_words(workbook: Path) -> None:
    """20 % less of 400 loses 80, a fifth; the buildings given up stand beside it."""
    sheet: Any = openpyxl.load_workbook(workbook)["Budget picture"]
    rows = {r[0]: r for r in sheet.iter_rows(min_row=5, max_row=7, values_only=True)}
    assert rows["West"][1] == "loses 80 GBP of loss avoided (20.0%)"
    assert rows["West"][2] == "B7"
    assert str(rows["East"][2]).startswith("none; smaller packages")
    assert rows["West"][3] == "avoids 80 GBP more"


def test_rank_spans() -> None:
    """Best and worst rank, and the number of cases that choose the building, counted by hand."""
    spans = rank_spans(_cases()).set_index("building_id")
    assert spans.loc["B1"].tolist() == [1, 3, "3 of 3"]
    assert spans.loc["B2"].tolist() == [1, 2, "2 of 3"]
    assert spans.loc["B3"].tolist() == [1, 1, "1 of 3"]


def test_every_sheet_is_there(workbook: Path) -> None:
    """Six sheets; those without rows say so."""
    book = openpyxl.load_workbook(workbook)
    assert book.sheetnames == [
        "Budget picture", "Budget curve", "Rank cases", "Settled", "Crew days", "Calendar",
    ]  # fmt: skip
    assert book["Settled"]["A5"].value == "Nothing to list."
    assert not any(
        re.match(r"[=+@]", str(c.value)) for s in book.worksheets for row in s for c in row
    )
