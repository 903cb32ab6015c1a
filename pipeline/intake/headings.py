"""Finding the row of column names, and which column holds what."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from typing import Any, Final

from pipeline.core import survey
from pipeline.core.survey import Column

LOOKED_AT: Final = 30
_LEAST_NAMES: Final = 2
_SHEET_ALIASES: Final = {
    "duct ends": "ducts", "ends": "ducts", "conduits": "ducts", "manholes": "chambers",
    "handholes": "chambers", "openings": "entries", "building entries": "entries",
    "seals": "seals_now", "existing seals": "seals_now", "levels": "level_points",
    "points": "level_points", "bench marks": "level_points", "floods": "flood_levels",
    "notes": "observations", "pictures": "photos", "site": "sites", "building": "buildings",
    "cable": "cables", "visit": "visits", "chamber": "chambers", "entry": "entries",
}  # fmt: skip
OWN_SHEETS: Final = frozenset({"lists", "how to number a wall", "card to print"})


@dataclass(frozen=True)
class Head:
    """Where the names stand, and column index -> definition; doubles and strangers beside."""

    row: int
    columns: dict[int, Column]
    headings: dict[int, str]
    doubles: list[tuple[str, int, int]]
    strangers: dict[int, str]

    @cached_property
    def normal_names(self) -> frozenset[str]:
        """All headings without case and signs."""
        return frozenset(normal(name) for name in self.headings.values())


@lru_cache(maxsize=8192)
def normal(text: object) -> str:
    """A heading without case, underscores, units in brackets and doubled spaces."""
    plain = re.sub(r"[(\[].*?[)\]]", " ", str(text).casefold())
    return re.sub(r"[\s_./\-–—]+", " ", plain).strip(" *:")


@lru_cache(maxsize=1024)
def heading_unit(text: str) -> str:
    """The unit that a heading names in brackets; '' when it names none."""
    found = re.search(r"[(\[]\s*([^)\]]+?)\s*[)\]]", text)
    return found.group(1) if found else ""


def sheet_of(name: str) -> str:
    """The survey sheet that a sheet's name means; '' when it means none."""
    plain = normal(name)
    for sheet in ("about", *survey.TABLE_OF_SHEET):
        if plain == normal(sheet):
            return sheet
    return _SHEET_ALIASES.get(plain, "")


@cache
def _names(sheet: str) -> dict[str, Column]:
    out: dict[str, Column] = {}
    for column in survey.of_sheet(sheet):
        for name in (column.heading, column.house_name):
            out.setdefault(normal(name), column)
    for column in survey.of_sheet(sheet):
        for name in column.aliases:
            out.setdefault(normal(name), column)
    return out


def names_of(sheet: str, extra: Mapping[str, str]) -> dict[str, Column]:
    """All names that a column of a sheet goes by, with the aliases of the settings."""
    out = dict(_names(sheet))
    for alias, heading in extra.items():
        column = out.get(normal(heading))
        if column is not None:
            out[normal(alias)] = column
    return out


def find_head(sheet: str, cells: list[list[Any]], extra: Mapping[str, str]) -> Head | None:
    """The row of column names within the first rows: the one with most names of the sheet."""
    names = names_of(sheet, extra)
    best, most = -1, _LEAST_NAMES - 1
    for i, row in enumerate(cells[:LOOKED_AT]):
        known = sum(1 for v in row if isinstance(v, str) and normal(v) in names)
        if known > most:
            best, most = i, known
    return _head(best, cells[best], names) if best >= 0 else None


def _head(at: int, row: list[Any], names: Mapping[str, Column]) -> Head:
    columns: dict[int, Column] = {}
    headings: dict[int, str] = {}
    doubles: list[tuple[str, int, int]] = []
    strangers: dict[int, str] = {}
    first: dict[str, int] = {}
    for i, value in enumerate(row):
        if value is None or not str(value).strip():
            continue
        headings[i] = str(value).strip()
        column = names.get(normal(value))
        if column is None:
            strangers[i] = headings[i]
        elif column.house_name in first:
            doubles.append((headings[i], first[column.house_name], i))
        else:
            first[column.house_name] = i
            columns[i] = column
    for _, one, _ in doubles:
        columns.pop(one, None)
    return Head(at, columns, headings, doubles, strangers)


def guess(sheet: str, name: str) -> str:
    """The nearest heading of a sheet to a name that is not known."""
    headings = [c.heading for c in survey.of_sheet(sheet)]
    near = difflib.get_close_matches(normal(name).replace(" ", "_"), headings, 1, 0.5)
    return near[0] if near else "none of ours"
