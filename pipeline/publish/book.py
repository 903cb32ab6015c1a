"""What our workbooks share: fixed dates, formats, headed sheets, text that stays text."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd
import xlsxwriter
from xlsxwriter.exceptions import FileCreateError

from pipeline.core.new_files import not_writable

# xlsxwriter's default creation date is the clock; a fixed one keeps the same bytes.
_CREATED: Final = dt.datetime(2000, 1, 1)  # noqa: DTZ001 - the file format has no time zone
HEAD_ROW: Final = 3  # first rows: title, sub-title, blank; then the heads
_WIDEST: Final = 60
_LINE_POINTS: Final = 15.0
_A4: Final = 9  # paper numbers of the file format
_A3: Final = 8
_A4_CHARACTERS: Final = 150
# on A3 across, more characters than this would print smaller than about 6 points
_LEGIBLE_CHARACTERS: Final = 330


@dataclass(frozen=True)
class Column:
    """One column of a sheet: table column, heading with unit, number format, width."""

    name: str
    heading: str
    number: str = ""
    width: int = 14


class Book:
    """A workbook of ours, written once."""

    def __init__(self, path: Path, *, title: str, run_label: str) -> None:
        self.path = path
        self.file = xlsxwriter.Workbook(
            str(path), {"strings_to_formulas": False, "strings_to_urls": False}
        )
        self.file.set_properties({"title": title, "created": _CREATED})
        self.file.set_calc_mode("auto")
        self.run_label = run_label
        self._formats: dict[tuple[tuple[str, Any], ...], Any] = {}

    def form(self, **properties: Any) -> Any:
        """A cell format, made once."""
        key = tuple(sorted(properties.items()))
        if key not in self._formats:
            self._formats[key] = self.file.add_format({"valign": "top", **properties})
        return self._formats[key]

    def sheet(
        self, name: str, title: str, note: str, columns: Sequence[Column], *, is_a4: bool = False
    ) -> Any:
        """Add a sheet with title, note, frozen heads, and landscape print set-up (A3 when wide)."""
        sheet = self.file.add_worksheet(name[:31])
        sheet.write_string(0, 0, title, self.form(bold=True, font_size=14))
        self._note(sheet, f"{note} {self.run_label}".strip(), columns)
        head = self.form(bold=True, text_wrap=True, bottom=2, bg_color="#E8EAF0")
        for i, column in enumerate(columns):
            sheet.write_string(HEAD_ROW, i, column.heading, head)
            sheet.set_column(i, i, min(column.width, _WIDEST))
        sheet.freeze_panes(HEAD_ROW + 1, 1)
        sheet.set_landscape()
        wide = sum(min(c.width, _WIDEST) for c in columns) > _A4_CHARACTERS
        sheet.set_paper(_A3 if wide and not is_a4 else _A4)
        sheet.set_row(
            HEAD_ROW, _LINE_POINTS * _lines({c.name: c.heading for c in columns}, columns)
        )
        total = sum(min(c.width, _WIDEST) for c in columns)
        pages = max(1, math.ceil(total / _LEGIBLE_CHARACTERS))
        sheet.fit_to_pages(pages, 0)
        sheet.repeat_rows(HEAD_ROW)
        if pages > 1:  # the second page across must say whose rows it shows
            sheet.repeat_columns(0, 2)
        sheet.set_footer(f"&L{self.run_label}&RPage &P of &N")
        return sheet

    def _note(self, sheet: Any, note: str, columns: Sequence[Column]) -> None:
        """The line under the title, wrapped over the table's width so that it widens no page."""
        form = self.form(italic=True, text_wrap=True)
        wide = sum(min(c.width, _WIDEST) for c in columns)
        sheet.set_row(1, _LINE_POINTS * max(1, math.ceil(len(note) * 1.1 / wide)))
        if len(columns) > 1:
            sheet.merge_range(1, 0, 1, len(columns) - 1, "", form)
        sheet.write_string(1, 0, note, form)

    def write(self, sheet: Any, row: int, col: int, value: Any, number: str = "") -> None:
        """Write one value: text as text, numbers as numbers, unknown as blank."""
        if (
            value is None
            or value is pd.NA
            or value == ""
            or (not isinstance(value, str) and pd.isna(value))
        ):
            sheet.write_blank(row, col, None, self.form())
        elif isinstance(value, bool):
            sheet.write_string(row, col, "yes" if value else "no", self.form())
        elif isinstance(value, str):
            # a little air, so that a text never touches the number before it
            form = self.form(text_wrap=True, align="left", indent=1)
            sheet.write_string(row, col, value.replace("\x00", ""), form)
        else:
            form = self.form(num_format=number) if number else self.form()
            sheet.write_number(row, col, float(value), form)

    def table(self, sheet: Any, frame: pd.DataFrame, columns: Sequence[Column]) -> int:
        """Write rows under the heads with a filter; give the row after the last."""
        records = pd.DataFrame(frame).to_dict("records")
        for r, record in enumerate(records, start=HEAD_ROW + 1):
            sheet.set_row(r, row_points(record, columns))
            for c, column in enumerate(columns):
                self.write(sheet, r, c, record.get(column.name), column.number)
        last = HEAD_ROW + len(records)
        if records:
            sheet.autofilter(HEAD_ROW, 0, last, len(columns) - 1)
        else:
            sheet.write_string(HEAD_ROW + 1, 0, "Nothing to list.", self.form(italic=True))
        return last + 1

    def close(self) -> None:
        """Save the file."""
        try:
            self.file.close()
        except (FileCreateError, OSError):
            raise not_writable(self.path) from None


def row_points(record: Mapping[str, Any], columns: Sequence[Column]) -> float:
    """Height of a row whose texts wrap in their columns (points)."""
    return _LINE_POINTS * _lines(record, columns)


def _lines(record: Mapping[str, Any], columns: Sequence[Column]) -> int:
    most = 1
    for column in columns:
        value = record.get(column.name)
        if isinstance(value, str):
            most = max(most, math.ceil(len(value) * 1.1 / min(column.width, _WIDEST)))
    return min(most, 12)
