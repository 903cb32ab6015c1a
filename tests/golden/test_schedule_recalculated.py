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
LINES = "Order lines of the item in the region"
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
    after = recalculate(changed, tmp_path / "b")
    old, new = totals(before), totals(after)
    moved_by = {
        k: money - by_site(before)[k][0] for k, (money, _) in by_site(after).items()
        if money != by_site(before)[k][0]
    }  # fmt: skip
    assert moved_by == {(region, made.cell(row, column(made, "Item")).value): 1000 * count}
    for name in old:
        moved = name in ("Summary", f"Region {region}")
        assert new[name] - old[name] == pytest.approx(10 * count if moved else 0, abs=1e-6), name


def by_site(book: Any) -> dict[tuple[str, str], tuple[int, set[int]]]:
    """Money of all rows of sheet By site, and the order lines it names, by region and item."""
    sheet = book["By site"]
    at = {h: column(sheet, h) for h in ("Region", "Item", "Money", LINES)}
    out: dict[tuple[str, str], tuple[int, set[int]]] = {}
    for r in range(HEAD + 1, sheet.max_row + 1):
        region, item, money, lines = (sheet.cell(r, c).value for c in at.values())
        if region:
            was, named = out.get((region, item), (0, set()))
            out[region, item] = (was + round(money * 100), named | {round(lines * 100)})
    return out


def test_money_by_site_ties_to_the_lines(schedule: Path, table: Read, tmp_path: Path) -> None:
    """Rows of an item in a region add up to its order lines, to the penny; so does the sheet."""
    lines = table("order_lines").fillna({"line_minor": 0})
    due = lines.groupby(["region", "item_id"])["line_minor"].sum().to_dict()
    book = recalculate(schedule, tmp_path)
    assert by_site(book) == {k: (int(v), {int(v)}) for k, v in due.items()}
    stored: Any = openpyxl.load_workbook(schedule, data_only=True)
    for sheet in (book["By site"], stored["By site"]):
        at = column(sheet, "Money")
        said = {sheet.cell(r, at - 3).value: sheet.cell(r, at).value
                for r in range(sheet.max_row - 3, sheet.max_row + 1)}  # fmt: skip
        assert round(said["All rows"] * 100) == int(lines["line_minor"].sum())
        assert said["All rows"] == pytest.approx(said["All order lines (sheet Summary)"])
        assert said["Difference"] == 0
    both = zip(*(w["By site"].iter_rows(min_row=HEAD + 1) for w in (book, stored)), strict=True)
    for new, old in both:
        assert [c.value for c in new[:5]] == [c.value for c in old[:5]]
        assert new[8].value == pytest.approx(old[8].value, abs=1e-9)


def test_waiting_needs_of_the_schedule_are_told_apart(table: Read) -> None:
    """An end that waits belongs to the chosen package if that holds it, else to a later step."""
    needs, choices = table("needs"), table("choices")
    taken = table("packages").set_index("package_id").loc[choices["package_id"].dropna(), "end_ids"]
    in_package = {e for joined in taken for e in str(joined).split(";")}
    waits = needs[needs["firmness"] != "firm"]
    assert len(waits)
    for ends, belongs in zip(waits["end_ids"], waits["belongs_to"], strict=True):
        inside = {e in in_package for e in str(ends).split(";")}
        assert inside == {belongs == "chosen package"}


def test_needs_by_site_are_the_needs_by_region(table: Read) -> None:
    """Firm needs over sites and crews equal the firm needs of the order lines, item by item."""
    needs, lines = table("needs"), table("order_lines")
    firm = needs[needs["firmness"] == "firm"].groupby("item_id")["quantity"].sum()
    bought = lines.groupby("item_id")["need_firm"].sum()
    for item, quantity in firm.items():
        assert bought[item] == pytest.approx(quantity, rel=1e-9), item
    pieces = lines["pieces_needed_count"].sum()
    assert pieces == (lines["stock_used_count"] + lines["pieces_net_count"]).sum()
