"""Lays the records that came back beside the plan: states, as built, what to look at next."""

from __future__ import annotations

import pandas as pd

from pipeline.core.findings import table as findings_table
from pipeline.core.settings import Settings
from pipeline.core.survey import RECORD_SHEETS
from pipeline.records.as_built import as_built_rows
from pipeline.records.lots import lot_rows
from pipeline.records.sample import sample_rows
from pipeline.records.states import state_rows
from pipeline.records.with_holds import findings_of_holds
from pipeline.tables import Tables, blank


def records(tables: Tables, settings: Settings) -> Tables:
    """State of every end, onset as built, inspection sample and lots.

    Parameters
    ----------
    tables : Tables
        All tables of a run, with the record tables and `sealed_ends`.
    settings : Settings

    Returns
    -------
    Tables
        states, as_built, inspection_sample, lot_uses, findings.

    """
    absent = {n: blank(n) for n in (*RECORD_SHEETS, "sealed_ends", "onsets_found")}
    tables = {**absent, **tables}
    made = {
        "states": state_rows(tables, settings),
        "as_built": as_built_rows(tables),
        "inspection_sample": sample_rows(tables, settings),
        "lot_uses": lot_rows(tables),
    }
    out: Tables = {n: pd.DataFrame(rows) if rows else blank(n) for n, rows in made.items()}
    found = findings_of_holds(tables)
    return out | ({"findings": findings_table(found)} if found else {})


__all__ = ["records"]
