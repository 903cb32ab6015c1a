"""Reading one of the buyer's tables from CSV, XLSX or TOML into rows that name their place."""

from __future__ import annotations

import csv
import datetime as dt
import math
import tomllib
from collections.abc import Collection
from pathlib import Path
from typing import Any, NoReturn

from pipeline.core.errors import UsageError


class Row:
    """One row of a buyer's table: typed access, every fault names file, row and column."""

    def __init__(self, path: Path, number: int, values: dict[str, str], keys: set[str]) -> None:
        self._path, self._number, self._values, self._keys = path, number, values, keys

    def refuse(self, column: str, why: str, mend: str) -> NoReturn:
        """Raise UsageError for a value of this row."""
        value = self._values.get(column, "")
        raise UsageError(
            f"{self._path}, row {self._number}, column {column}: {value[:60]!r}: {why}.", mend=mend
        )

    def text(self, column: str, default: str | None = None) -> str:
        """The text of a cell; without a default a blank cell or missing column is refused."""
        if column not in self._values and default is None:
            raise UsageError(
                f"{self._path}: there is no column {column}.", mend=f"Add a column {column}."
            )
        value = self._values.get(column, "").strip()
        if value == "" and default is None:
            self.refuse(column, "blank", "Fill the cell.")
        return value or (default or "")

    def key(self, column: str) -> str:
        """A text that may stand only once in its column of the file."""
        value = self.text(column)
        if value in self._keys:
            self.refuse(column, "stands twice", "Keep one row of each.")
        self._keys.add(value)
        return value

    def known(self, column: str, among: Collection[str]) -> str:
        """A text that must be one of a collection."""
        value = self.text(column)
        if value not in among:
            self.refuse(column, "not known", "Add it to its own table, or correct the spelling.")
        return value

    def number(self, column: str, *, above: float = -math.inf) -> float:
        """A finite number above a bound."""
        value = self.text(column)
        try:
            number = float(value)
        except ValueError:
            self.refuse(column, "no number", "Write digits and a decimal point only.")
        if not math.isfinite(number) or number <= above:
            self.refuse(column, "out of range", f"Write a number above {above:g}.")
        return number

    def whole(self, column: str, *, least: int = 0) -> int:
        """A whole number not below a bound."""
        number = self.number(column)
        if number != int(number) or number < least:
            self.refuse(column, f"no whole number from {least} up", "Write a whole number.")
        return int(number)

    def date(self, column: str) -> dt.date:
        """An ISO date."""
        try:
            return dt.date.fromisoformat(self.text(column)[:10])
        except ValueError:
            self.refuse(column, "no date", "Write the date as YYYY-MM-DD.")

    def yes_no(self, column: str) -> bool:
        """Yes or no; nothing else, for blank is not no."""
        value = self.text(column).casefold()
        if value not in ("yes", "no"):
            self.refuse(column, "neither yes nor no", "Write yes or no.")
        return value == "yes"


def read_rows(path: Path) -> list[Row]:
    """The rows of a table; blank rows and lines that begin with # are passed over.

    Parameters
    ----------
    path : Path
        `.csv` (first line: headings), `.xlsx` (first sheet), or `.toml` (an array of tables [[row]]).

    Returns
    -------
    list of Row
        With the row number as the file shows it.

    Raises
    ------
    UsageError
        When the file is missing or cannot be read.
    """
    if not path.is_file():
        raise UsageError(f"There is no file {path}.", mend="Check the paths under [buying].")
    keys: set[str] = set()
    kind = path.suffix.casefold()
    try:
        if kind == ".xlsx":
            lines = _xlsx(path)
        elif kind == ".toml":
            lines = _toml(path)
        else:
            lines = _csv(path)
    except (OSError, UnicodeDecodeError, csv.Error, tomllib.TOMLDecodeError) as fault:
        raise UsageError(
            f"{path} cannot be read: {fault}.", mend="Save it again as CSV in UTF-8."
        ) from None
    return [Row(path, number, values, keys) for number, values in lines]


def _csv(path: Path) -> list[tuple[int, dict[str, str]]]:
    table: list[tuple[int, list[str]]] = []
    with path.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.reader(file)
        table.extend((reader.line_num, cells) for cells in reader)
    return _with_headings(path, table)


def _xlsx(path: Path) -> list[tuple[int, dict[str, str]]]:
    import openpyxl  # noqa: PLC0415 - only where a buyer sends a workbook

    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as fault:
        # any fault of a foreign file is the file's
        raise OSError(f"no readable workbook ({fault})") from fault
    rows = book.worksheets[0].iter_rows(values_only=True)
    table = [(n, [_as_text(v) for v in cells]) for n, cells in enumerate(rows, start=1)]
    book.close()
    return _with_headings(path, table)


def _toml(path: Path) -> list[tuple[int, dict[str, str]]]:
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    rows = [r for r in raw.get("row", []) if isinstance(r, dict)]
    return [(n, {k: _as_text(v) for k, v in r.items()}) for n, r in enumerate(rows, start=1)]


def _as_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value == int(value):
        return str(int(value))
    return str(value)


def _with_headings(
    path: Path, table: list[tuple[int, list[str]]]
) -> list[tuple[int, dict[str, str]]]:
    rows = [
        (n, cells)
        for n, cells in table
        if any(c.strip() for c in cells) and not cells[0].lstrip().startswith("#")
    ]
    if not rows:
        return []
    headings = [h.strip() for h in rows[0][1]]
    for number, cells in rows[1:]:
        if any(c.strip() for c in cells[len(headings) :]):
            raise UsageError(
                f"{path}, row {number}: more cells than headings.",
                mend="Put texts with a comma in quotes; write decimals with a point.",
            )
    return [(n, dict(zip(headings, cells, strict=False))) for n, cells in rows[1:]]
