"""The schedule as its readers see it: recalculated by LibreOffice, one price changed."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

pytestmark = pytest.mark.office
Read = Callable[[str], pd.DataFrame]
MADE = "How the numbers are made"
HEAD = 4


def recalculate(path: Path, folder: Path) -> Any:
    """Open, recalculate and save by LibreOffice; give the values."""
    out = folder / "out"
    subprocess.run(
        [
            str(shutil.which("soffice")), f"-env:UserInstallation=file://{folder}/profile",
            "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(out),
            str(path),
        ],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip
    return openpyxl.load_workbook(out / path.name, data_only=True)


def column(sheet: Any, heading: str) -> int:
    """Number of a column by its heading."""
    return next(int(c.column) for c in sheet[HEAD] if str(c.value) == heading)


def totals(book: Any) -> dict[str, float]:
    """Summary total and region totals, in whole currency units."""
    out = {"Summary": _last(book["Summary"], "Total")}
    for name in book.sheetnames:
        if name.startswith("Region "):
            out[name] = _last(book[name], "Line total")
    return out


def _last(sheet: Any, heading: str) -> float:
    at = column(sheet, heading)
    values = [sheet.cell(r, at).value for r in range(HEAD + 1, sheet.max_row + 1)]
    return float([v for v in values if isinstance(v, (int, float))][-1])


@pytest.fixture(scope="module")
def schedule(example_run: Path) -> Path:
    """The schedule of the example run."""
    return example_run / "procurement" / "schedule.xlsx"


def test_recalculated_totals_equal_the_tables(schedule: Path, table: Read, tmp_path: Path) -> None:
    """Summary = regions = order lines, to the minor unit, with every formula recalculated."""
    lines = table("order_lines")
    book = recalculate(schedule, tmp_path)
    found = totals(book)
    assert round(found["Summary"] * 100) == int(lines["line_minor"].sum())
    for region, group in lines.groupby("region"):
        assert round(found[f"Region {region}"] * 100) == int(group["line_minor"].sum())
    for name in (n for n in book.sheetnames if n.startswith("Region ")):
        sheet = book[name]
        for row in sheet.iter_rows(min_row=HEAD + 1):
            assert not any(str(c.value).startswith("#") for c in row)


def test_stored_values_are_the_recalculated_ones(schedule: Path, tmp_path: Path) -> None:
    """Viewers that do not calculate show the same numbers as those that do."""
    stored = totals(openpyxl.load_workbook(schedule, data_only=True))
    assert stored == pytest.approx(totals(recalculate(schedule, tmp_path)), abs=1e-9)


def test_one_changed_price_moves_line_region_and_summary(schedule: Path, tmp_path: Path) -> None:
    """Ten more on one pack price: line, region and Summary rise by exactly packs x 10."""
    before = recalculate(schedule, tmp_path / "a")
    book = openpyxl.load_workbook(schedule)
    made: Any = book[MADE]
    price, packs, key = (column(made, h) for h in ("Price per pack", "Packs", "Line"))
    row = next(r for r in range(HEAD + 1, made.max_row + 1) if (made.cell(r, packs).value or 0) > 1)
    made.cell(row, price).value += 10
    count = made.cell(row, packs).value
    region = str(made.cell(row, key).value).split(" / ")[0]
    (tmp_path / "b").mkdir()
    changed = tmp_path / "b" / "changed.xlsx"
    book.save(changed)
    old, new = totals(before), totals(recalculate(changed, tmp_path / "b"))
    for name in old:
        moved = name in ("Summary", f"Region {region}")
        assert new[name] - old[name] == pytest.approx(10 * count if moved else 0, abs=1e-6), name


def test_needs_by_site_are_the_needs_by_region(table: Read) -> None:
    """Firm needs over sites and crews equal the firm needs of the order lines, item by item."""
    needs, lines = table("needs"), table("order_lines")
    firm = needs[needs["firmness"] == "firm"].groupby("item_id")["quantity"].sum()
    bought = lines.groupby("item_id")["need_firm"].sum()
    for item, quantity in firm.items():
        assert bought[item] == pytest.approx(quantity, rel=1e-9), item
    pieces = lines["pieces_needed_count"].sum()
    assert pieces == (lines["stock_used_count"] + lines["pieces_net_count"]).sum()
