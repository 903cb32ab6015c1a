"""The survey workbook's definition: sheets, columns, house names, units, allowed words.

One file, `data/survey_columns.csv`, feeds the reader, the checks, the template and the data
dictionary, so that they cannot differ.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final

# sheet of the workbook -> name of the hand-over table
TABLE_OF_SHEET: Final = {
    "visits": "visits",
    "sites": "sites",
    "buildings": "buildings",
    "chambers": "chambers",
    "entries": "entries",
    "ducts": "ends",
    "cables": "cables",
    "seals_now": "seals",
    "level_points": "points",
    "flood_levels": "flood_levels",
    "observations": "observations",
    "photos": "photos",
}


@dataclass(frozen=True)
class Column:
    """One column of a survey sheet.

    `kind` is text, id, list, many, number, whole, yesno, date, code or number_or_word; `words`
    are the allowed words (`@regions`, `@classes`, `@datums` come from settings and workbook).
    """

    sheet: str
    heading: str
    house_name: str
    kind: str
    unit: str
    need: str
    condition: str
    words: tuple[str, ...]
    lo: str
    hi: str
    is_key: bool
    parent: str
    aliases: tuple[str, ...]
    assumed: str
    note: str

    @property
    def limits(self) -> tuple[float, float] | None:
        """Usual smallest and largest number; None where one of them is none ('planning year')."""
        try:
            return float(self.lo), float(self.hi)
        except ValueError:
            return None


RECORD_SHEETS: Final = (
    "installs", "inspections", "releases", "cable_changes", "orders_placed", "kits_packed",
)  # fmt: skip
"""Sheets of the records that come back (`core.record_sheets`)."""


@cache
def columns() -> tuple[Column, ...]:
    """All columns of the definition, in sheet order."""
    return _read("data/survey_columns.csv")


@cache
def record_columns() -> tuple[Column, ...]:
    """All columns of the record sheets, in sheet order."""
    return _read("data/record_columns.csv")


def _read(name: str) -> tuple[Column, ...]:
    text = resources.files("pipeline.core").joinpath(name).read_text("utf-8")
    return tuple(
        Column(
            sheet=r["sheet"],
            heading=r["heading"],
            house_name=r["house_name"],
            kind=r["kind"],
            unit=r["unit"],
            need=r["need"],
            condition=r["condition"],
            words=tuple(w for w in r["words"].split("|") if w),
            lo=r["lo"],
            hi=r["hi"],
            is_key=r["is_key"] == "yes",
            parent=r["parent"],
            aliases=tuple(a for a in r["aliases"].split("|") if a),
            assumed=r["assumed"],
            note=r["note"],
        )
        for r in csv.DictReader(text.splitlines())
    )


@cache
def of_sheet(sheet: str) -> tuple[Column, ...]:
    """The columns of one sheet of the survey or of the records."""
    defined = record_columns() if sheet in RECORD_SHEETS else columns()
    return tuple(c for c in defined if c.sheet == sheet)


@cache
def key_of(sheet: str) -> str:
    """House name of the id column of a sheet."""
    return next(c.house_name for c in of_sheet(sheet) if c.is_key)


FORM_KIND: Final = "record_kind"
"""Question of the phone form that says which sheet a record belongs to."""

FORM_POSITION: Final = "position"
"""Ending of the phone form's question for a place: 'latitude longitude altitude accuracy'."""

FORM_SHEETS: Final = (
    "chambers", "ducts", "cables", "entries", "buildings", "sites", "seals_now", "level_points",
    "observations", "photos", "visits",
)  # fmt: skip
"""Sheets that the phone form records."""


def form_word(word: str) -> str:
    """A word of a list as a form exports it: without spaces and signs."""
    return re.sub(r"[^a-z0-9]+", "_", word.casefold().replace("%", "percent")).strip("_")
