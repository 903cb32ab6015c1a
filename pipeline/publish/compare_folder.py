"""Two run folders side by side: their records, their tables as text, and the rows that differ."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import pandas as pd

from pipeline.core.errors import UsageError
from pipeline.publish.stored_run import need_tables, read_record, read_table
from pipeline.tables import REGISTRY

Cells = dict[str, str]

# where a value stood, not what it is: a row that only moved or was read from a copy is the same
_WHERE_IT_STOOD: Final = {
    "levels": ("cells",),
    "floods": ("origin",),
    "policies": ("origin",),
}
_ROW_RECORD: Final = ("file", "sheet", "row")
SURVEY: Final = (
    "visits", "sites", "buildings", "chambers", "entries", "points", "ends", "cables", "seals",
    "flood_levels", "observations",
)  # fmt: skip
RECORDS: Final = (
    "installs", "inspections", "releases", "cable_changes", "orders_placed", "kits_packed",
)  # fmt: skip
# without one of these every row of it would look new or gone; a build may lack others
_NEEDED: Final = (
    "sites", "buildings", "chambers", "entries", "ends", "findings", "levels", "floods", "reach",
    "designs", "packages", "choices", "needs", "order_lines",
)  # fmt: skip


@dataclass
class Row:
    """One row that differs; `causes` are sets of input changes as bits, by column."""

    table: str
    key: tuple[str, ...]
    old: Cells | None
    new: Cells | None
    columns: tuple[str, ...]
    causes: dict[str, int] = field(default_factory=dict)
    followed: str = ""

    @property
    def either(self) -> Cells:
        """The newer row, or the older where there is no newer one."""
        return self.new or self.old or {}

    @property
    def bits(self) -> int:
        """Every input change that the row may depend on."""
        out = 0
        for bits in self.causes.values():
            out |= bits
        return out

    def values(self, column: str) -> set[str]:
        """What stands in a column before and after; joined ids apart."""
        found: set[str] = set()
        for cells in (self.old, self.new):
            text = (cells or {}).get(column, "")
            parts = text.replace(" > ", ";").split(";") if text else ()
            found |= {p.strip() for p in parts if p.strip()}
        return found

    def pair(self, column: str) -> tuple[str, str]:
        """Value before and after, blank where there is none."""
        return (self.old or {}).get(column, ""), (self.new or {}).get(column, "")


class Run:
    """One run folder: its record and its tables as text."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.record: dict[str, Any] = read_record(folder)
        if self.record.get("profile") == "public":
            raise UsageError(
                f"{folder} is a public run: it holds no tables to compare.",
                why='Its settings ask for [export] profile = "public".',
                mend="Name runs made with the profile full or working.",
            )
        if not (folder / "tables").is_dir():
            raise UsageError(
                f"{folder} is no whole run folder.",
                why="Its folder tables/ is missing.",
                mend="Run it again, or name another folder.",
            )
        need_tables(folder, _NEEDED)
        self._tables: dict[str, pd.DataFrame] = {}

    def table(self, name: str) -> pd.DataFrame:
        """A table; empty where the run has none."""
        if name not in self._tables:
            self._tables[name] = read_table(self.folder, name)
        return self._tables[name]

    def rows(self, name: str) -> dict[tuple[str, ...], Cells]:
        """Rows of a table by key."""
        key = REGISTRY[name].key
        out: dict[tuple[str, ...], Cells] = {}
        for record in self.table(name).to_dict("records"):
            out[tuple(record.get(k, "") for k in key)] = record
        return out

    @cached_property
    def place_of_end(self) -> dict[str, str]:
        """Chamber or entry of each duct end."""
        frame = self.table("ends")
        return dict(zip(frame["end_id"], frame["place_id"], strict=True)) if len(frame) else {}

    @cached_property
    def opening(self) -> dict[str, Cells]:
        """Rows of `reach` by opening."""
        return {key[0]: row for key, row in self.rows("reach").items()}

    @cached_property
    def items_of_end(self) -> dict[str, set[str]]:
        """Items that the pieces of each end name."""
        out: dict[str, set[str]] = {}
        for row in self.table("pieces").to_dict("records"):
            out.setdefault(row["end_id"], set()).add(row["item_id"])
        return out


def differing(old: Run, new: Run, table: str) -> list[Row]:
    """Rows of a table that differ between two runs, in the order of their keys."""
    before, after = old.rows(table), new.rows(table)
    skip = {*_WHERE_IT_STOOD.get(table, ()), *(_ROW_RECORD if table in (*SURVEY, *RECORDS) else ())}
    columns = [c for c in REGISTRY[table].names if c not in skip]
    found: list[Row] = []
    for key in sorted(before.keys() | after.keys()):
        one, other = before.get(key), after.get(key)
        if one is None or other is None:
            named = tuple(c for c in columns if (one or other or {}).get(c, ""))
            found.append(Row(table, key, one, other, named))
            continue
        changed = tuple(c for c in columns if one.get(c, "") != other.get(c, ""))
        if changed:
            found.append(Row(table, key, one, other, changed))
    return found


def enriched(rows: Iterable[Row], old: Run, new: Run) -> Iterator[Row]:
    """Rows with the ids that their own table leaves out but their dependencies go by."""
    for row in rows:
        for run, cells in ((old, row.old), (new, row.new)):
            if cells is None:
                continue
            if row.table == "reach_sources":
                opening = run.opening.get(cells["opening_id"], {})
                for name in ("end_id", "entry_id", "building_id", "chamber_id", "site_id"):
                    cells.setdefault(name, opening.get(name, ""))
            elif row.table in ("designs", "pieces"):
                cells.setdefault("place_id", run.place_of_end.get(cells["end_id"], ""))
            elif row.table == "open_risks":  # 'item month', where it is about an order line
                cells["item_id"] = cells["subject"].rpartition(" ")[0]
            elif row.table == "floods":
                cells["flood_id"] = cells["source_id"].removeprefix("survey:")
        yield row


__all__ = ["RECORDS", "SURVEY", "Cells", "Row", "Run", "differing", "enriched"]
