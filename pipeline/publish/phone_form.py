"""A phone form of the survey as an XLSForm workbook (an open standard of form builders).

One record is one thing (a chamber, an entry, an end ...): the first question picks the sheet, and
the group of that sheet opens. The export, one row a record, is read by `stanch check` as it is.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import xlsxwriter

from pipeline.core.survey import (
    FORM_KIND,
    FORM_POSITION,
    FORM_SHEETS,
    Column,
    form_word,
    of_sheet,
)
from pipeline.publish.template import help_of, list_name

_CREATED: Final = dt.datetime(2000, 1, 1)  # noqa: DTZ001 - the file format has no time zone
_POSITION: Final = frozenset({"easting_m", "northing_m", "lat_deg", "lon_deg", "grid_ref"})
_TYPES: Final = {"number": "decimal", "whole": "integer", "date": "date"}
_SURVEY: Final = ("type", "name", "label", "hint", "required", "relevant", "constraint",
                  "constraint_message", "appearance", "parameters")  # fmt: skip
_VERSION: Final = "1"


def write_phone_form(path: Path, words: Mapping[str, Sequence[str]] | None = None) -> None:
    """Write the XLSForm workbook.

    Parameters
    ----------
    path : Path
        File to write.
    words : mapping, optional
        Words of the programme: '@regions', '@classes', '@datums'; without them these questions
        take any text.
    """
    book = xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "Survey form", "created": _CREATED})
    choices: dict[str, tuple[str, ...]] = {FORM_KIND: FORM_SHEETS}
    questions = [
        {"type": f"select_one {FORM_KIND}", "name": FORM_KIND, "label": "What do you record?",
         "required": "yes", "hint": "One record for each thing; send it and start the next."}
    ]  # fmt: skip
    for sheet in FORM_SHEETS:
        questions += _group(sheet, words or {}, choices)
    _sheet(book, "survey", _SURVEY, questions)
    _sheet(book, "choices", ("list_name", "name", "label"), [
        {"list_name": _slug(name), "name": form_word(word), "label": word}
        for name, listed in choices.items() for word in listed
    ])  # fmt: skip
    _sheet(book, "settings", ("form_title", "form_id", "version"), [
        {"form_title": "Chambers, entries and duct ends", "form_id": "duct_survey",
         "version": _VERSION}
    ])  # fmt: skip
    book.close()


def _sheet(book: Any, name: str, heads: Sequence[str], rows: Sequence[Mapping[str, str]]) -> None:
    page = book.add_worksheet(name)
    bold = book.add_format({"bold": True, "bottom": 1})
    page.write_row(0, 0, heads, bold)
    page.set_column(0, len(heads) - 1, 28)
    page.freeze_panes(1, 0)
    for r, row in enumerate(rows, start=1):
        for c, head in enumerate(heads):
            if row.get(head):
                page.write_string(r, c, row[head])


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.casefold()).strip("_")


def _group(
    sheet: str, words: Mapping[str, Sequence[str]], choices: dict[str, tuple[str, ...]]
) -> list[dict[str, str]]:
    rows = [
        {"type": "begin group", "name": sheet, "label": sheet.replace("_", " "),
         "relevant": f"${{{FORM_KIND}}} = '{sheet}'", "appearance": "field-list"}
    ]  # fmt: skip
    has_place = any(c.house_name in _POSITION for c in of_sheet(sheet))
    for column in of_sheet(sheet):
        if column.house_name not in _POSITION:
            rows.append(_question(column, words, choices))
    if has_place:
        rows.append(
            {"type": "geopoint", "name": f"{sheet}_{FORM_POSITION}", "label": "position",
             "hint": "Stand on the cover and wait; its height is not used as a level."}
        )  # fmt: skip
    return [*rows, {"type": "end group", "name": sheet}]


def _question(
    column: Column, words: Mapping[str, Sequence[str]], choices: dict[str, tuple[str, ...]]
) -> dict[str, str]:
    row = {
        "name": f"{column.sheet}_{column.heading}", "label": column.heading.replace("_", " "),
        "hint": help_of(column), "required": "yes" if column.is_key and not column.assumed else "",
        "type": _TYPES.get(column.kind, "text"),
    }  # fmt: skip
    name = list_name(column)
    listed = ("yes", "no") if column.kind == "yesno" else column.words
    if listed and listed[0].startswith("@"):
        listed = tuple(words.get(listed[0], ()))
    if name and listed:
        choices[name] = tuple(listed)
        row["type"] = (
            f"{'select_multiple' if column.kind == 'many' else 'select_one'} {_slug(name)}"
        )
    elif column.house_name == "file_name":
        row["type"], row["parameters"] = "image", "max-pixels=1600"
    elif column.kind in ("number", "whole") and column.limits:
        row["constraint"] = f". >= {column.lo} and . <= {column.hi}"
        row["constraint_message"] = f"Usual are {column.lo} to {column.hi} {column.unit}".strip()
    return row
