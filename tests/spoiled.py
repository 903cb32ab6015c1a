"""The clean samples, to be spoiled cell by cell: a workbook, and a programme with its settings."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import openpyxl
import rasterio
from openpyxl.utils import get_column_letter

ROOT: Final = Path(__file__).parents[1]
CLEAN: Final = ROOT / "sample_surveys" / "clean"
Where = tuple[str, str]
"""Sheet and cell; the cell is '' for a fault of a whole sheet or file."""


class Book:
    """A clean workbook that is spoiled cell by cell."""

    def __init__(self, name: str) -> None:
        self.book = openpyxl.load_workbook(CLEAN / name)

    def page(self, sheet: str) -> Any:
        """The sheet as openpyxl gives it."""
        return self.book[sheet]

    def column(self, sheet: str, heading: str) -> int:
        """Number of a column; a heading that is not there yet is added at the right."""
        page = self.page(sheet)
        names = [cell.value for cell in page[1]]
        if heading not in names:
            page.cell(1, len(names) + 1, heading)
            return len(names) + 1
        return names.index(heading) + 1

    def row(self, sheet: str, thing: str) -> int:
        """Row number of an id."""
        (row,) = [r for r in range(2, self.page(sheet).max_row + 1)
                  if self.page(sheet).cell(r, 1).value == thing]  # fmt: skip
        return row

    def type(self, sheet: str, thing: str, heading: str, value: Any) -> Where:
        """Type a value over a cell."""
        row, column = self.row(sheet, thing), self.column(sheet, heading)
        self.page(sheet).cell(row, column).value = value
        return sheet, f"{get_column_letter(column)}{row}"

    def value(self, sheet: str, thing: str, heading: str) -> Any:
        """What stands in a cell."""
        return self.page(sheet).cell(self.row(sheet, thing), self.column(sheet, heading)).value

    def about(self, name: str, value: Any) -> Where:
        """Type a value on the sheet about."""
        row = self.row("about", name)
        self.page("about").cell(row, 2).value = value
        return "about", f"B{row}"

    def save(self, path: Path) -> Path:
        """Write it."""
        self.book.save(path)
        return path


class Programme:
    """The clean programme in a folder of its own: settings and workbook that can be spoiled."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.book = Book("clean.xlsx")
        text = (ROOT / "configs" / "clean.toml").read_text("utf-8")
        text = text.replace('"../', f'"{ROOT.as_posix()}/')
        beside = (ROOT / "configs").as_posix()
        self.text = re.sub(r'"(buying/|materials_)', rf'"{beside}/\1', text)
        self.text = self.text.replace(
            f"{CLEAN.as_posix()}/clean.xlsx", (folder / "survey.xlsx").as_posix()
        )

    def change(self, old: str, new: str, times: int = 1) -> None:
        """Replace words of the settings."""
        assert old in self.text, old
        self.text = self.text.replace(old, new, times)

    def config(self) -> Path:
        """Both files written."""
        self.book.save(self.folder / "survey.xlsx")
        (self.folder / "settings.toml").write_text(self.text, "utf-8")
        return self.folder / "settings.toml"

    def grid(self, name: str, spoil: Callable[[Any, Any], None]) -> None:
        """A copy of a flood grid with other cells, used in place of it."""
        source = ROOT / "sample_surveys" / "example" / "flood" / name
        with rasterio.open(source) as old:
            cells, profile, index = old.read(1), dict(old.profile), old.index
            spoil(cells, index)
        with rasterio.open(self.folder / name, "w", **profile) as new:
            new.write(cells, 1)
        self.change(source.as_posix(), (self.folder / name).as_posix())

    def flood(self, **cells: Any) -> None:
        """A row on a sheet of flood levels."""
        row = {
            "flood_id": "F-1", "applies_to": "K01", "source": "river", "kind": "report",
            "event": "1 %", "climate": "included: epoch 2055", "defences": "with",
            "value_is": "level", "value_m": 12.0, "datum": "Merrow Datum 2015",
            "freeboard_in": "no", "u_m": 0.1, "issued": "2024-05-14",
        } | cells  # fmt: skip
        if "flood_levels" not in self.book.book.sheetnames:
            self.book.book.create_sheet("flood_levels").append(list(row))
        self.book.page("flood_levels").append(list(row.values()))

    def place(self, chamber: str) -> tuple[float, float]:
        """Easting and northing of a chamber."""
        return tuple(
            float(self.book.value("chambers", chamber, c)) for c in ("easting", "northing")
        )  # type: ignore[return-value]
