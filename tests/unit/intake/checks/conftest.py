"""Smallest typed surveys for the checks: rows as dicts, cells lettered by the definition."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, cast

import pandas as pd
import pytest

from pipeline.core import survey
from pipeline.core.findings import Cell
from pipeline.core.rules import rules
from pipeline.intake.checks import CHECKS, run_checks
from pipeline.intake.checks.view import Survey
from pipeline.intake.context import Checked, Context
from pipeline.tables import REGISTRY

SHEETS = {table: sheet for sheet, table in survey.TABLE_OF_SHEET.items()}
DTYPES = {"flag": "boolean", "whole": "Int64", "real": "float64", "text": "str"}
Tables = dict[str, list[dict[str, Any]]]
Case = dict[str, Any]


def letter(table: str, column: str) -> str:
    """Column letter of a house name: its place in the definition of the sheet."""
    names = [c.house_name for c in survey.of_sheet(SHEETS[table])]
    place = names.index(column)
    return (chr(64 + place // 26) if place >= 26 else "") + chr(65 + place % 26)


def settings() -> Any:
    """The few settings that checks read."""
    return SimpleNamespace(
        planning_date=dt.date(2031, 5, 1),
        reference=SimpleNamespace(working_crs="EPSG:27700"),
        value=SimpleNamespace(asbestos_year=2000),
        design=SimpleNamespace(cord_out=False, allowance_frac={"ribbed bore": 0.04}),
        surveys=SimpleNamespace(survey_age_years=3.0),
        flood=SimpleNamespace(design_aep=0.01, model_age_years=6),
    )


def context(tables: Tables, *, with_settings: bool = True, **more: Any) -> Context:
    """A context over rows; a cell holds what the row says, and absent keys are blank cells."""
    frames = {}
    for name, rows in tables.items():
        full = [
            {"file": "walk.xlsx", "sheet": SHEETS[name], "row": i + 2, "row_state": "used", **r}
            for i, r in enumerate(rows)
        ]
        frames[name] = pd.DataFrame(full)
        for col in REGISTRY[name].columns:  # the dtypes that reading gives
            if col.kind in DTYPES and col.name in frames[name]:
                frames[name][col.name] = frames[name][col.name].astype(DTYPES[col.kind])

    def cell(table: str, index: int, column: str) -> Cell:
        row = frames[table].loc[index]
        number = int(row["row"])
        names = {c.house_name for c in survey.of_sheet(SHEETS[table])}
        address = f"{letter(table, column)}{number}" if column in names else ""
        return Cell(file=row["file"], sheet=row["sheet"], row=number, column=column, cell=address)

    def raw(table: str, index: int, column: str) -> str:
        value = more.get("raws", {}).get((table, index, column), tables[table][index].get(column))
        return "" if value is None else str(value)

    return Context(
        tables={**frames, **more.get("extra", {})},
        layers=more.get("layers", {}),
        settings=cast("Any", settings()) if with_settings else None,
        cell=cell,
        raw=raw,
        about=more.get("about", {}),
    )


@pytest.fixture
def run() -> Callable[..., list[Checked]]:
    """Run all checks over rows; with keyword `code`, those that make it, and keep it alone."""

    def _run(tables: Tables, *, code: str = "", **more: Any) -> list[Checked]:
        given = context(tables, **more)
        if not code:
            return run_checks(given)
        makers = [c for c in CHECKS if code in c.codes]
        if given.settings is None:
            makers = [c for c in makers if not c.needs_settings]
        view = Survey(given)
        return [c for m in makers for c in m.function(view) if c.finding.code == code]

    return _run


@pytest.fixture
def prove(run: Callable[..., list[Checked]]) -> Callable[[Case], None]:
    """A case fires once at its cell with its weight, and not with one cell changed.

    Keys: code, tables, at (table, index of the first row, column), quiet {(table, index, column):
    value}; optional rows (how many rows are touched), weight, says (part of the message), values.
    """

    def _prove(case: Case) -> None:
        code, tables = case["code"], case["tables"]
        more = {k: case[k] for k in ("layers", "about") if k in case}
        fired = run(tables, code=code, **more)
        table, index, column = case["at"]
        assert len({c.finding for c in fired}) == 1, [c.finding.message for c in fired]
        assert len(fired) == case.get("rows", 1)
        finding = fired[0].finding
        assert finding.weight == case.get("weight", rules()[code].weight)
        assert finding.cell == f"{letter(table, column)}{index + 2}"
        assert (finding.sheet, finding.file) == (SHEETS[table], "walk.xlsx")
        assert all(c.columns == case.get("values", ()) for c in fired)
        # a STOP takes values out of use; an ASK may put them in question
        assert finding.weight in (("STOP", "ASK") if case.get("values") else ("ASK", "NOTE"))
        assert "{" not in finding.message, finding.message
        assert case.get("says", "") in finding.message, finding.message
        quiet = copy.deepcopy(tables)
        for (name, at, key), value in case["quiet"].items():
            quiet[name][at][key] = value
        assert run(quiet, code=code, **more) == []

    return _prove
