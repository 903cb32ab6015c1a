"""Addresses of cells as a spreadsheet shows them, from house names back to letters."""

from __future__ import annotations

from functools import cache
from typing import Any

import pandas as pd


@cache
def letter(index: int) -> str:
    """Letters of a column counted from 0: 0 is A, 26 is AA."""
    text, rest = "", index + 1
    while rest:
        rest, digit = divmod(rest - 1, 26)
        text = chr(65 + digit) + text
    return text


def cell_name(column_letter: str, row: int | None) -> str:
    """A cell such as H14; the column alone without a row, blank without a letter."""
    if not column_letter:
        return ""
    return column_letter if row is None else f"{column_letter}{row}"


class Addresses:
    """Finds the address of a value of a survey table.

    Parameters
    ----------
    columns : DataFrame
        Hand-over table `columns`.
    """

    def __init__(self, columns: pd.DataFrame) -> None:
        self._letters: dict[tuple[str, str, str], str] = {
            (str(f), str(s), str(h)): str(c)
            for f, s, h, c in zip(
                columns["file"],
                columns["sheet"],
                columns["house_name"],
                columns["letter"],
                strict=True,
            )
        }

    def letter(self, file: str, sheet: str, column: str) -> str:
        """Letter of a house name in a sheet; blank when the sheet has no such column."""
        return self._letters.get((file, sheet, column), "")

    def name(self, file: str, sheet: str, column: str, row: Any) -> str:
        """The cell alone, such as H14; blank when the sheet has no such column."""
        number = None if row is None or pd.isna(row) else int(row)
        return cell_name(self.letter(file, sheet, column), number)

    def cell(self, file: str, sheet: str, column: str, row: Any) -> str:
        """The full address, such as 'ducts!H14 in north.xlsx'.

        A column that the sheet does not hold is named instead of a cell.
        """
        number = None if row is None or pd.isna(row) else int(row)
        at = self.name(file, sheet, column, row)
        if at:
            return f"{sheet}!{at} in {file}"
        return f"{sheet} row {number} in {file}" if number else f"{sheet} in {file}"
