"""Rules through the whole reading: the cases of the checks as workbooks, found at sheet and cell."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl
import pytest

from pipeline.core.cells import letter
from pipeline.core.survey import TABLE_OF_SHEET, of_sheet
from pipeline.run import check
from tests.unit.intake.checks import (
    test_checks_ducts,
    test_checks_ids,
    test_checks_levels,
    test_checks_water,
)

SHEET = {table: sheet for sheet, table in TABLE_OF_SHEET.items()}
# These need a settings file (limits, dates, regions, positions) or what only a stage knows; they
# are fired by the example programme or by the tests of their stage.
NEED_SETTINGS = {"duct-17", "place-03", "place-10", "place-11", "level-04", "level-16", "water-02",
                 "water-15", "water-16", "visit-06", "duct-26"}  # fmt: skip
CASES = [
    case
    for module in (test_checks_ducts, test_checks_ids, test_checks_levels, test_checks_water)
    for case in module.CASES
    if case["code"] not in NEED_SETTINGS
    # this evidence compares with flood levels that carry their datum; the other one is run
    and not (case["code"] == "level-22" and "flood_levels" in case["tables"])
]


def _plain(value: Any) -> Any:
    return {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value


def _write(path: Path, tables: dict[str, list[dict[str, Any]]]) -> dict[str, list[str]]:
    """Write a case as a surveyor would; give the columns of each sheet in order."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    out = {}
    for table, rows in tables.items():
        headings = {c.house_name: c.heading for c in of_sheet(SHEET[table])}
        used = [name for name in headings if any(name in row for row in rows)]
        page = book.create_sheet(SHEET[table])
        page.append([headings[name] for name in used])
        for row in rows:
            page.append([_plain(row.get(name)) for name in used])
        out[table] = used
    book.save(path)
    return out


@pytest.mark.parametrize("case", CASES, ids=lambda c: str(c["code"]))
def test_the_fault_is_found_at_its_sheet_and_cell(case: dict[str, Any], tmp_path: Path) -> None:
    """Source of each case: survey_rules.csv; the same fault, read from a file."""
    columns = _write(tmp_path / "case.xlsx", case["tables"])
    tables, _ = check([tmp_path / "case.xlsx"])
    table, index, column = case["at"]
    found = tables["findings"]
    found = found[(found["code"] == case["code"]) & (found["sheet"] == SHEET[table])]
    assert index + 2 in set(found["row"]), tables["findings"]["code"].tolist()
    if column in columns[table]:
        assert f"{letter(columns[table].index(column))}{index + 2}" in set(found["cell"])


def test_most_of_the_register_is_run_this_way() -> None:
    """At least sixty codes; with those of reading and of the example nothing is left to faith."""
    assert len({c["code"] for c in CASES}) >= 60
