"""What the room finds out: levels by kind and id, second chains, and findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pipeline.core.findings import Cell, Finding, make
from pipeline.levels.chain import Level
from pipeline.levels.points import Points
from pipeline.levels.visits import text

Row = dict[str, Any]


@dataclass
class Found:
    """Levels by kind and id (None = no level), second chains, and findings."""

    levels: dict[tuple[str, str], Level | None] = field(default_factory=dict)
    second: dict[tuple[str, str], Level] = field(default_factory=dict)
    site_of: dict[tuple[str, str], str] = field(default_factory=dict)
    seen_at: dict[str, At] = field(default_factory=dict)
    """Place -> the cell in which its highest seen water was written."""
    findings: list[Finding] = field(default_factory=list)

    def put(self, kind: str, thing: str, site: str, level: Level | None) -> None:
        """Note the level of a thing; None = no level."""
        self.levels[kind, thing] = level
        self.site_of[kind, thing] = site

    def get(self, kind: str, thing: str) -> Level | None:
        """Level of a thing; None = no level, or no such thing."""
        return self.levels.get((kind, thing))

    def say(
        self, code: str, at: At, fill: Mapping[str, Any], *, place: str = "", site: str = ""
    ) -> None:
        """Tell a fault of a cell."""
        row = at.row
        self.findings.append(
            make(code, at.where(), fill=fill, key=f"{at.sheet}/{at.thing}",
                 place_id=place or text(row.get("place_id")) or at.thing,
                 site_id=site or text(row.get("site_id")))
        )  # fmt: skip


@dataclass(frozen=True)
class At:
    """A cell of a thing: its row, column, sheet of the form and id."""

    points: Points
    row: Row
    column: str
    sheet: str
    thing: str

    def where(self) -> Cell:
        """File, sheet, row and cell."""
        row = self.row
        return Cell(file=text(row["file"]), sheet=text(row["sheet"]),
                    row=None if pd.isna(row["row"]) else int(row["row"]), column=self.column,
                    cell=self.points.name(row, self.column))  # fmt: skip
