"""The record sheets that come back from crew, inspector and owner: definition and tables.

`data/record_columns.csv` has the form of the survey's definition, so that the same reader types it.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Final

import pandas as pd

from pipeline.core.survey import RECORD_SHEETS

# sheet of a record workbook -> name of the hand-over table
TABLE_OF_RECORD: Final = {sheet: sheet for sheet in RECORD_SHEETS}

STATES: Final = (
    "known", "counted", "measured", "levelled", "assessed", "designed", "priced", "ordered",
    "packed", "sealed", "inspected", "accepted", "changed",
)  # fmt: skip
"""Life of a duct end, first to last."""

# house name of the day and of the name on each sheet
DAY_OF: Final = {
    "installs": "seal_date", "inspections": "inspection_date", "releases": "release_date",
    "cable_changes": "change_date", "orders_placed": "order_date", "kits_packed": "packed_date",
}  # fmt: skip
NAME_OF: Final = {
    "installs": "lead", "inspections": "inspector", "releases": "released_by",
    "cable_changes": "done_by", "orders_placed": "approved_by", "kits_packed": "packed_by",
}  # fmt: skip
CLOCK_MM: Final = ("sealant_at_12_mm", "sealant_at_3_mm", "sealant_at_6_mm", "sealant_at_9_mm")
# blanks that have a rule of their own (record-NN) and are not asked as a blank besides
SAID_BY_ITSELF: Final = frozenset(
    {
        *((s, "end_id") for s in RECORD_SHEETS),
        *((s, "end_ids") for s in RECORD_SHEETS),
        *DAY_OF.items(),
        *NAME_OF.items(),
        *(("installs", name) for name in (*CLOCK_MM, "between_cables", "lot", "expires_on")),
        ("releases", "hold"),
        ("releases", "role"),
    }
)


@dataclass(frozen=True)
class HoldRelease:
    """Who may lift a hold; `instead` says what it needs where no signature lifts it."""

    hold: str
    roles: tuple[str, ...]
    is_lifted_by_release: bool
    instead: str


@cache
def hold_releases() -> dict[str, HoldRelease]:
    """Hold -> who may lift it (`data/hold_releases.csv`; common practice, no source)."""
    text = resources.files("pipeline.core").joinpath("data/hold_releases.csv").read_text("utf-8")
    return {
        r["hold"]: HoldRelease(
            r["hold"],
            tuple(x for x in r["roles"].split("|") if x),
            r["is_lifted_by_release"] == "yes",
            r["instead"],
        )
        for r in csv.DictReader(text.splitlines())
    }


def given(row: dict[str, Any], name: str) -> str:
    """A text value of a record; '' where blank."""
    value = row.get(name)
    return "" if value is None or pd.isna(value) else str(value)


def ids_in(listed: str) -> list[str]:
    """Ids of a cell that names several, in order, each once."""
    parts = (p.strip() for p in listed.replace("\n", ";").replace(",", ";").split(";"))
    return list(dict.fromkeys(p for p in parts if p))
