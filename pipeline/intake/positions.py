"""Positions of sites, buildings and chambers: one complete position each, in the working system."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely

from pipeline.core import contract, geo
from pipeline.core.findings import Finding, make
from pipeline.core.settings import Settings
from pipeline.intake.rows import Row, TypedSheet

# doubt of a position by method (m, one standard deviation): house rules, from memory of the trade
PLAN_U_M: Final = {
    "GNSS": 0.03, "total station": 0.02, "map": 2.0, "address": 20.0, "phone": 5.0,
    "paced from corner": 1.0,
}  # fmt: skip
_UNKNOWN_U_M: Final = 10.0
_DISAGREE_M: Final = 5.0
_OUTSIDE_M: Final = 5_000.0
_GRID_WORDS: Final = "national grid letters"
_WGS84: Final = "EPSG:4326"
_BRITISH_GRID: Final = f"EPSG:{geo.BRITISH_GRID}"


class Where:
    """Turns what a row says of its place into working coordinates, with findings."""

    def __init__(self, settings: Settings, regions: Any, abouts: dict[str, dict[str, str]]) -> None:
        self._settings = settings
        self._abouts = abouts
        self._land = shapely.union_all(regions.geometry.values) if len(regions) else None
        if self._land is not None:
            self._land = self._land.buffer(_OUTSIDE_M)
            shapely.prepare(self._land)
        self._told_system: set[str] = set()

    def _reference(self, file: str) -> str:
        stated = self._abouts.get(file, {}).get("horizontal_ref", "")
        return stated or self._settings.surveys.horizontal_ref

    def _inside(self, x_m: float, y_m: float) -> bool:
        if self._land is None or not (math.isfinite(x_m) and math.isfinite(y_m)):
            return False
        return bool(shapely.contains_xy(self._land, x_m, y_m))

    def _off_km(self, x_m: float, y_m: float) -> str:
        if self._land is None or not math.isfinite(x_m):
            return "more than 1,000"
        return f"{self._land.distance(shapely.Point(x_m, y_m)) / 1000.0 + 5:.0f}"

    def place(self, sheet: TypedSheet, row: Row) -> None:
        """Fill x_m, y_m, plan_u_m and position_from of a row, as far as the row tells."""
        found = [
            p for p in (
                self._grid(sheet, row), self._metres(sheet, row), self._degrees(sheet, row)
            ) if p is not None
        ]  # fmt: skip
        if len(found) > 1:
            apart = math.hypot(found[0][0] - found[1][0], found[0][1] - found[1][1])
            size = max(p[3] for p in found)
            if apart > _DISAGREE_M + size:
                self._say(sheet, row, "place-09", "grid_ref", {"dist": f"{apart:.0f}"})
        if not found:
            return
        best = min(found, key=lambda p: p[3])
        method = row.values.get("position_method")
        stated = row.values.get("position_u_m")
        u = max(PLAN_U_M.get(str(method), _UNKNOWN_U_M), stated or 0.0, best[3] / math.sqrt(12.0))
        row.values |= {
            "x_m": round(best[0], 3), "y_m": round(best[1], 3), "plan_u_m": round(u, 3),
            "position_from": best[2],
        }  # fmt: skip

    def _say(
        self,
        sheet: TypedSheet,
        row: Row,
        code: str,
        column: str,
        fill: dict[str, Any],
        stops: Iterable[str] = (),
    ) -> None:
        filled = {"row": row.row, "region": row.values.get("region") or "the programme", **fill}
        finding = make(
            code, sheet.cell(column, row.row), fill=filled, as_read=row.raws.get(column, ""),
            key=f"{row.sheet}/{row.key}", place_id=row.key,
            site_id=str(row.values.get("site_id") or ""),
        )  # fmt: skip
        for name in stops:
            if name not in row.stopped:
                row.stopped.append(name)
        row.worsen(finding.weight)
        sheet.findings.append(finding)

    def _pair(
        self, sheet: TypedSheet, row: Row, one: str, other: str
    ) -> tuple[float, float] | None:
        a, b = row.values.get(one), row.values.get(other)
        if a is None and b is None:
            return None
        if a is None or b is None:
            have, missing = (one, other) if b is None else (other, one)
            if not row.raws.get(missing):
                self._say(
                    sheet,
                    row,
                    "place-01",
                    have,
                    {"have": have.split("_")[0], "missing": missing.split("_")[0]},
                    (have,),
                )
            return None
        if a == 0 and b == 0:
            self._say(sheet, row, "place-13", one, {"n": "other"}, (one, other))
            return None
        return float(a), float(b)

    def _metres(self, sheet: TypedSheet, row: Row) -> tuple[float, float, str, float] | None:
        pair = self._pair(sheet, row, "easting_m", "northing_m")
        if pair is None:
            return None
        reference = self._reference(row.file)
        if not reference:
            if row.file not in self._told_system:
                self._told_system.add(row.file)
                self._say(sheet, row, "place-12", "easting_m", {}, ("easting_m", "northing_m"))
            else:
                row.stopped += ["easting_m", "northing_m"]
                row.worsen(contract.STOP)
            return None
        code = self._code(reference)
        x, y = self._transform(code, pair[0], pair[1])
        if not self._inside(x, y):
            sx, sy = self._transform(code, pair[1], pair[0])
            if self._inside(sx, sy):
                self._say(
                    sheet,
                    row,
                    "place-08",
                    "easting_m",
                    {"e": f"{pair[0]:.0f}", "n": f"{pair[1]:.0f}"},
                )
                return sx, sy, "easting, northing (swapped)", 1.0
        return (x, y, "easting, northing", 0.01) if math.isfinite(x) else None

    def _degrees(self, sheet: TypedSheet, row: Row) -> tuple[float, float, str, float] | None:
        pair = self._pair(sheet, row, "lat_deg", "lon_deg")
        if pair is None:
            return None
        lat, lon = pair
        x, y = self._transform(_WGS84, lon, lat)
        if not self._inside(x, y):
            sx, sy = self._transform(_WGS84, lat, lon)
            if self._inside(sx, sy):
                self._say(
                    sheet,
                    row,
                    "place-02",
                    "lat_deg",
                    {"lat": lat, "lon": lon, "dist": self._off_km(x, y)},
                )
                return sx, sy, "lat, lon (swapped)", 1.0
        return (x, y, "lat, lon", 0.01) if math.isfinite(x) else None

    def _grid(self, sheet: TypedSheet, row: Row) -> tuple[float, float, str, float] | None:
        text = row.values.get("grid_ref")
        if not text:
            return None
        try:
            square = geo.grid_square(str(text))
        except geo.OutsideGrid:
            self._say(sheet, row, "place-06", "grid_ref", {"raw": text}, ("grid_ref",))
            return None
        except geo.NoGridReference:
            self._say(sheet, row, "place-05", "grid_ref", {"raw": text}, ("grid_ref",))
            return None
        size = square.size_m
        x, y = self._transform(
            _BRITISH_GRID, square.easting_m + size / 2, square.northing_m + size / 2
        )
        return x, y, f"grid reference to {size:g} m", size

    @staticmethod
    def _code(reference: str) -> str:
        if reference.casefold().strip() == _GRID_WORDS:
            return _BRITISH_GRID
        digits = re.sub(r"\D", "", reference)
        return f"EPSG:{digits}" if digits else reference

    def _transform(self, code: str, x: float, y: float) -> tuple[float, float]:
        reference = self._settings.reference
        moved = geo.to_working(
            [x], [y], code, reference.working_crs, max_accuracy_m=reference.max_plan_accuracy_m
        )
        return float(moved.x_m[0]), float(moved.y_m[0])


def match_gps(
    points: pd.DataFrame, rows: dict[str, list[Row]], sheets: list[TypedSheet]
) -> tuple[pd.DataFrame, list[Finding]]:
    """Give each GPS point to the row whose id is its name; nothing fuzzy is joined."""
    if points.empty:
        return points.assign(matched_table=None, matched_id=None, row_state=None), []
    by_name: dict[str, tuple[str, Row]] = {}
    tables = {"chambers": "chambers", "sites": "sites", "buildings": "buildings",
              "level_points": "points", "entries": "entries", "ducts": "ends"}  # fmt: skip
    for sheet, table in tables.items():
        for row in rows.get(sheet, ()):
            by_name.setdefault(_folded(row.key), (table, row))
    out = points.copy()
    hits = [by_name.get(_folded(n)) if n else None for n in out["point_name"].fillna("")]
    placed = out["x_m"].notna() & out["y_m"].notna()
    out["matched_table"] = [h[0] if h else None for h in hits]
    out["matched_id"] = [h[1].key if h else None for h in hits]
    ok = [h is not None and bool(p) for h, p in zip(hits, placed, strict=True)]
    out["row_state"] = [
        contract.USED if good else contract.ASKED if p else contract.REFUSED
        for good, p in zip(ok, placed, strict=True)
    ]
    findings = _say_unmatched(out[out["matched_id"].isna()], by_name)
    _apply(out[pd.Series(ok, index=out.index)], hits_by_id=by_name, sheets=sheets)
    return out, findings


def _folded(name: object) -> str:
    return re.sub(r"[‐‑‒–—−]", "-", str(name)).strip().casefold()


def _say_unmatched(lost: pd.DataFrame, by_name: dict[str, Any]) -> list[Finding]:
    import difflib  # noqa: PLC0415 - only where a name was not found

    from pipeline.core.findings import Cell  # noqa: PLC0415 - see above

    out = []
    for file, group in lost.groupby("file", sort=True):
        names = []
        for name in group["point_name"].fillna("(no name)").head(8):
            near = difflib.get_close_matches(_folded(name), list(by_name), 1, 0.8)
            names.append(f"{name} (like {by_name[near[0]][1].key}?)" if near else str(name))
        fill = {"n": len(group), "file": file, "names": ", ".join(names)}
        where = Cell(
            file=str(file), sheet=str(group.iloc[0]["layer"]), row=int(group.iloc[0]["row"])
        )
        out.append(make("file-25", where, fill=fill, key=f"file/{file}",
                        as_read=str(group.iloc[0]["point_name"])))  # fmt: skip
    return out


def _apply(points: pd.DataFrame, *, hits_by_id: dict[str, Any], sheets: list[TypedSheet]) -> None:
    """Use GPS points as positions of rows that have none of their own (or a coarser one)."""
    del sheets
    for name, group in points.groupby("point_name", sort=True):
        table, row = hits_by_id[_folded(name)]
        if table not in ("chambers", "sites", "buildings", "points"):
            continue
        u = PLAN_U_M["GNSS"] if "GNSS" in str(group.iloc[0]["method"]) else PLAN_U_M["phone"]
        newest = group.sort_values("point_date", na_position="first").iloc[-1]
        spread = float(np.hypot(group["x_m"] - group["x_m"].mean(),
                                group["y_m"] - group["y_m"].mean()).max())  # fmt: skip
        close = spread <= u
        x = float(group["x_m"].mean()) if close else float(newest["x_m"])
        y = float(group["y_m"].mean()) if close else float(newest["y_m"])
        if table == "points":
            row.values.setdefault("easting_m", round(x, 3))
            row.values.setdefault("northing_m", round(y, 3))
            continue
        has = row.values.get("x_m") is not None
        if has and float(row.values.get("plan_u_m") or 0) <= u:
            continue
        row.values |= {
            "x_m": round(x, 3), "y_m": round(y, 3), "plan_u_m": u, "_gps": True,
            "position_from": f"GPS point {name} ({newest['file']})",
        }  # fmt: skip


def fill_buildings(rows: dict[str, list[Row]], footprints: Any) -> None:
    """Buildings without a position of their own: footprint, else the site's."""
    sites = {r.key: r for r in rows.get("sites", ())}
    shapes = dict(zip(footprints["building_id"], footprints.geometry, strict=True))
    for row in rows.get("buildings", ()):
        if row.values.get("x_m") is not None:
            continue
        shape = shapes.get(row.key)
        if shape is not None:
            row.values |= {
                "x_m": round(shape.centroid.x, 3), "y_m": round(shape.centroid.y, 3),
                "plan_u_m": 0.5, "position_from": "footprint",
            }  # fmt: skip
            continue
        site = sites.get(str(row.values.get("site_id")))
        if site is not None and site.values.get("x_m") is not None:
            for name in ("x_m", "y_m", "plan_u_m"):
                row.values[name] = site.values[name]
            row.values["position_from"] = "site"


def has_position(row: Row) -> bool:
    """Whether a row has a place."""
    return row.values.get("x_m") is not None
