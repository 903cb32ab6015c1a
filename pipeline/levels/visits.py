"""Which visit a row belongs to, and what the visit says of method, datum, date and bias."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pipeline.core.cells import Addresses
from pipeline.core.doubts import usual_u_m
from pipeline.core.findings import Cell, Finding, make
from pipeline.tables import Tables

_METHOD_OF: Final = {
    "level": "levelled",
    "total station": "total station",
    "GNSS network": "GNSS network",
    "GNSS base and rover": "GNSS base and rover",
    "phone": "phone or handheld",
    "tape only": "unknown",
}


@dataclass(frozen=True)
class Visit:
    """What a visit says; an empty one where no visit is known."""

    visit_id: str = ""
    method: str = "unknown"
    datum: str = ""
    date: str = ""
    occupations: int | None = None
    bias_m: float = 0.0

    @property
    def u_m(self) -> float:
        """Usual doubt of a level measured on this visit (m)."""
        if self.method == "GNSS network" and (self.occupations or 1) < 2:
            return usual_u_m("GNSS network once")
        return usual_u_m(self.method)


def text(value: Any) -> str:
    """Text of a cell; '' where there is none."""
    return "" if value is None or pd.isna(value) else str(value).strip()


def stated_datums(tables: Tables) -> dict[str, str]:
    """Height datum that the about sheet of each file states, by file."""
    abouts = tables["abouts"]
    stated = abouts[abouts["house_name"] == "vertical_datum"]
    return dict(zip(stated["file"].astype(str), stated["value"].astype(str), strict=True))


class Visits:
    """Visits by id, and the latest of each site in each file."""

    def __init__(self, tables: Tables) -> None:
        self._by_id: dict[str, Visit] = {}
        self._latest: dict[tuple[str, str], Visit] = {}
        self.findings: list[Finding] = []
        self._at = Addresses(tables["columns"])
        self._datums = stated_datums(tables)
        rows = tables["visits"].sort_values(["visit_date", "visit_id"]).to_dict("records")
        for row in rows:
            visit = self._visit(row)
            self._by_id[visit.visit_id] = visit
            self._latest[text(row["file"]), text(row["site_id"])] = visit

    def _visit(self, row: dict[str, Any]) -> Visit:
        method = _METHOD_OF.get(text(row["instrument"]), "unknown")
        count = row["occupations_count"]
        visit = Visit(
            text(row["visit_id"]),
            method,
            text(row["datum"]) or self._datums.get(text(row["file"]), ""),
            text(row["visit_date"]),
            None if pd.isna(count) else int(count),
        )
        diff = row["check_diff_mm"]
        if pd.isna(diff):
            return visit
        usual_mm = 2000.0 * visit.u_m
        if abs(float(diff)) <= usual_mm:
            return visit
        fill = {"id": text(row["check_point_id"]) or "the check point", "d": f"{abs(diff):.0f}",
                "t": f"{usual_mm:.0f}"}  # fmt: skip
        where = Cell(file=text(row["file"]), sheet=text(row["sheet"]), row=int(row["row"]),
                     column="check_diff_mm",
                     cell=self._at.name(row["file"], row["sheet"], "check_diff_mm", row["row"]))  # fmt: skip
        self.findings.append(make("level-27", where, fill=fill, as_read=f"{diff:g}",
                                  key=f"visits/{visit.visit_id}", site_id=text(row["site_id"])))  # fmt: skip
        return Visit(**{**visit.__dict__, "bias_m": abs(float(diff)) / 1000.0})

    def of(self, row: dict[str, Any], site_id: str) -> Visit:
        """Visit of a row: the one it names, else the latest of its site in the same file."""
        named = text(row.get("visit_id"))
        if named in self._by_id:
            return self._by_id[named]
        file = text(row["file"])
        latest = self._latest.get((file, site_id))
        # no visit: nothing is known of method and date, but the workbook may state its datum
        return latest if latest is not None else Visit(datum=self._datums.get(file, ""))
