"""Which visit a row belongs to, and what the visit says of method, datum, date and bias."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import pandas as pd

from pipeline.core.cells import Addresses
from pipeline.core.doubts import usual_u_m
from pipeline.core.findings import Cell, Finding, make
from pipeline.tables import Tables

GNSS: Final = ("GNSS network", "GNSS base and rover")
_LEVEL_COLUMNS: Final = frozenset(
    {
        "level_m", "invert_level_m", "dip_down_m", "above_m", "check_dip_down_m", "cover_level_m",
        "floor_level_m", "gnss_h_m", "geoid_sep_m", "rise_m", "tie_level_m", "depth_m",
        "frame_thickness_mm", "bore_mm", "bore_b_mm", "height_mm", "width_mm", "high_point_m",
        "lowest_floor_below_m", "door_sill_above_floor_m", "lowest_vent_above_floor_m",
    }
)  # fmt: skip
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
    instrument: str = ""
    datum: str = ""
    date: str = ""
    geoid_model: str = ""
    occupations: int | None = None
    bias_m: float = 0.0
    gap: str = ""
    """Why nothing of this visit can clear; '' = it can."""

    @property
    def method(self) -> str:
        """Method of a level measured with the instrument of the visit."""
        return _METHOD_OF.get(self.instrument, "unknown")

    def method_u_m(self, method: str) -> float:
        """Usual doubt of a method on this visit, geoid model included (m)."""
        once = method == "GNSS network" and (self.occupations or 1) < 2
        own = usual_u_m("GNSS network once" if once else method)
        return (own**2 + usual_u_m("geoid model") ** 2) ** 0.5 if method in GNSS else own

    def geoid_gap(self, method: str) -> str:
        """A satellite level clears only where the geoid model behind it is named.

        A visit that states another instrument says nothing of the model, nor has to; one that
        states none may have been a satellite visit.
        """
        has_to_say = self.instrument == "" or self.method in GNSS
        missing = method in GNSS and has_to_say and not self.geoid_model
        return "geoid model not named" if missing else ""

    @property
    def date_gap(self) -> str:
        """A measurement clears only with its date."""
        return self.gap or ("" if self.date else "no date of the visit")

    def biases(self) -> tuple[tuple[str, float], ...]:
        """Bound of the bias of what was measured on this visit, by visit."""
        return ((self.visit_id, self.bias_m),) if self.bias_m > 0.0 else ()


def text(value: Any) -> str:
    """Text of a cell; '' where there is none."""
    return "" if value is None or pd.isna(value) else str(value).strip()


def is_stopped(row: dict[str, Any], column: str) -> bool:
    """Whether a value was taken out of use; it is then unknown, not inherited."""
    return column in text(row.get("stopped")).split(";")


def doubt_gap(row: dict[str, Any]) -> str:
    """A value of the row's levels that is asked about; '' = none. It is used and clears nothing."""
    asked = [c for c in text(row.get("doubted")).split(";") if c in _LEVEL_COLUMNS]
    return f"{asked[0]} is in question" if asked else ""


def stated_datums(tables: Tables) -> dict[str, str]:
    """Height datum that the about sheet of each file states, by file."""
    abouts = tables["abouts"]
    stated = abouts[abouts["house_name"] == "vertical_datum"]
    return dict(zip(stated["file"].astype(str), stated["value"].astype(str), strict=True))


class Visits:
    """Visits by id, and those of each site in each file."""

    def __init__(self, tables: Tables) -> None:
        self._by_id: dict[str, Visit] = {}
        self._of_site: dict[tuple[str, str], list[Visit]] = {}
        self.findings: list[Finding] = []
        self._at = Addresses(tables["columns"])
        self._datums = stated_datums(tables)
        self._points = {text(r["point_id"]): r for r in tables["points"].to_dict("records")}
        rows = tables["visits"].sort_values(["visit_date", "visit_id"], na_position="first")
        for row in rows.to_dict("records"):
            visit = self._visit(row)
            self._by_id[visit.visit_id] = visit
            self._of_site.setdefault((text(row["file"]), text(row["site_id"])), []).append(visit)

    def _visit(self, row: dict[str, Any]) -> Visit:
        count = row["occupations_count"]
        datum = text(row["datum"])
        if not datum and not is_stopped(row, "datum"):
            datum = self._datums.get(text(row["file"]), "")
        # a date that is asked about is not known until it is answered
        asked = "visit_date" in text(row.get("doubted")).split(";")
        visit = Visit(
            text(row["visit_id"]),
            text(row["instrument"]),
            datum,
            "" if asked else text(row["visit_date"]),
            text(row["geoid_model"]),
            None if pd.isna(count) else int(count),
        )
        return self._checked(row, visit)

    def _checked(self, row: dict[str, Any], visit: Visit) -> Visit:
        """The visit with what its check point shows."""
        diff, point = row["check_diff_mm"], text(row["check_point_id"])
        if pd.isna(diff):
            said = "difference at the check point not given"
            return replace(visit, gap=said) if point else visit
        known = self._points.get(point, {})
        u_known = 0.0 if not known else usual_u_m(text(known["method"]) or "unknown")
        if known and not pd.isna(known["u_m"]):
            u_known = max(u_known, float(known["u_m"]))
        usual_mm = 2000.0 * (visit.method_u_m(visit.method) ** 2 + u_known**2) ** 0.5
        if abs(float(diff)) <= usual_mm:
            return visit
        fill = {"id": point or "the check point", "d": f"{abs(diff):.0f}", "t": f"{usual_mm:.0f}"}
        where = Cell(file=text(row["file"]), sheet=text(row["sheet"]), row=int(row["row"]),
                     column="check_diff_mm",
                     cell=self._at.name(row["file"], row["sheet"], "check_diff_mm", row["row"]))  # fmt: skip
        self.findings.append(make("level-27", where, fill=fill, as_read=f"{diff:g}",
                                  key=f"visits/{visit.visit_id}", site_id=text(row["site_id"])))  # fmt: skip
        return replace(visit, bias_m=abs(float(diff)) / 1000.0)

    def of(self, row: dict[str, Any], site_id: str) -> Visit:
        """Visit of a row: the one it names, else the latest of its site in the same file.

        A row that names no visit, or one that is not listed, may belong to any of its site: where
        they differ it takes the widest bias and cannot clear.
        """
        named = text(row.get("visit_id"))
        if named in self._by_id:
            return self._by_id[named]
        file = text(row["file"])
        options = self._of_site.get((file, site_id), [])
        # no visit: nothing is known of method and date, but the workbook may state its datum
        latest = options[-1] if options else Visit(datum=self._datums.get(file, ""))
        gap = latest.gap
        if named or is_stopped(row, "visit_id"):
            gap = gap or f"visit {named or 'of the row'} is not listed"
            if len({v.datum.casefold() for v in options}) > 1:
                latest = replace(latest, datum="")
        if len({replace(v, visit_id="", date=str(bool(v.date))) for v in options}) > 1:
            gap = gap or "visit not named, and the visits of the site differ"
        return replace(latest, gap=gap, bias_m=max((v.bias_m for v in options), default=0.0))
