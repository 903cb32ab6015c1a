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
from pipeline.core.errors import UsageError
from pipeline.core.findings import Finding, make
from pipeline.core.settings import Settings
from pipeline.core.survey import key_of
from pipeline.intake.rows import Row, TypedSheet

# doubt of a position by method (m, one standard deviation): house rules, from memory of the trade
PLAN_U_M: Final = {
    "GNSS": 0.03, "total station": 0.02, "map": 2.0, "address": 20.0, "phone": 5.0,
    "paced from corner": 1.0,
}  # fmt: skip
_UNKNOWN_U_M: Final = 10.0
_DISAGREE_M: Final = 5.0
_SAME_SPOT: Final = 4
_NAMED: Final = 8
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
        self._reaches: dict[str, bool] = {}

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
        apart = 0.0
        if len(found) > 1:
            apart = math.hypot(found[0][0] - found[1][0], found[0][1] - found[1][1])
            size = max(p[3] for p in found)
            if apart > _DISAGREE_M + size:
                self._say(sheet, row, "place-09", "grid_ref", {"dist": f"{apart:.0f}"})
            apart = apart if apart > _DISAGREE_M + size else 0.0
        if not found:
            return
        best = min(found, key=lambda p: p[3])
        method = row.values.get("position_method")
        stated = row.values.get("position_u_m")
        u = max(
            PLAN_U_M.get(str(method), _UNKNOWN_U_M), stated or 0.0, best[3] / math.sqrt(12.0), apart
        )
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
        code = self._code(self._reference(row.file))
        if not code or not self._is_reached(code):
            if row.file not in self._told_system:
                self._told_system.add(row.file)
                self._say(
                    sheet,
                    row,
                    "place-12",
                    "easting_m",
                    {"ref": self._reference(row.file) or "blank"},
                    ("easting_m", "northing_m"),
                )
            else:
                row.stopped += ["easting_m", "northing_m"]
                row.worsen(contract.STOP)
            return None
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
        if not math.isfinite(x):
            self._nowhere(sheet, row, ("easting_m", "northing_m"))
            return None
        return x, y, "easting, northing", 0.01

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
        if not math.isfinite(x):
            self._nowhere(sheet, row, ("lat_deg", "lon_deg"))
            return None
        return x, y, "lat, lon", 0.01

    def _nowhere(self, sheet: TypedSheet, row: Row, pair: tuple[str, str]) -> None:
        """A place that no transformation reaches is told; it is never left out in silence."""
        self._say(sheet, row, "place-03", pair[0], {"dist": "more than 1,000"}, pair)

    def _is_reached(self, code: str) -> bool:
        """Whether there is a way good enough from a system to the working one, at the regions."""
        if code not in self._reaches:
            self._reaches[code] = self._can_reach(code)
        return self._reaches[code]

    def _can_reach(self, code: str) -> bool:
        reference = self._settings.reference
        try:
            geo.crs(code)
        except UsageError:
            return False
        if self._land is None or geo.same_system(code, reference.working_crs):
            return True
        inside = self._land.representative_point()
        back = geo.to_working(
            [inside.x], [inside.y], reference.working_crs, code,
            max_accuracy_m=reference.max_plan_accuracy_m,
        )  # fmt: skip
        return bool(np.isfinite(back.x_m[0]))

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

    def in_working(self, row: Row, east: str, north: str) -> tuple[float, float] | None:
        """A pair of a row in the working system, silently: None where it is none that we trust."""
        x, y = row.values.get(east), row.values.get(north)
        code = self._code(self._reference(row.file))
        if x is None or y is None or not code or not self._is_reached(code):
            return None
        found = self._transform(code, float(x), float(y))
        return found if self._inside(*found) else None

    @staticmethod
    def _code(reference: str) -> str:
        if reference.casefold().strip() == _GRID_WORDS:
            return _BRITISH_GRID
        found = re.fullmatch(r"\s*(?:epsg\s*:?)?\s*(\d{4,6})\s*", reference, re.IGNORECASE)
        return f"EPSG:{found[1]}" if found else reference.strip()

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
    findings = _say_unmatched(out[out["matched_id"].isna() | ~placed], by_name)
    by_sheet = {(s.file, s.name): s for s in sheets}
    for name, group in out[pd.Series(ok, index=out.index)].groupby("matched_id", sort=True):
        if _apply(group, *by_name[_folded(name)]):
            continue
        out.loc[group.index, "row_state"] = contract.ASKED
        findings.append(_quarrel(group, by_name[_folded(name)][1], by_sheet))
    return out, findings


def _quarrel(group: pd.DataFrame, row: Row, sheets: dict[tuple[str, str], TypedSheet]) -> Finding:
    """Two GPS points of one name that lie apart: the newest is used, and it is asked."""
    row.worsen(contract.ASK)
    sheet = sheets.get((row.file, row.sheet_name))
    where = sheet.cell(key_of(row.sheet), row.row) if sheet else None
    fill = {"row": row.row, "dist": f"{_spread(group):.1f}"}
    names = ", ".join(f"{f} point {r}" for f, r in zip(group["file"], group["row"], strict=True))
    return make("place-09", where, fill=fill, as_read=names, assumed="the newest point",
                key=f"{row.sheet}/{row.key}", place_id=row.key)  # fmt: skip


def _spread(group: pd.DataFrame) -> float:
    """Largest distance between two points of a group (m)."""
    x, y = group["x_m"].to_numpy(), group["y_m"].to_numpy()
    return float(np.hypot(x[:, None] - x, y[:, None] - y).max())


def _folded(name: object) -> str:
    return re.sub(r"[‐‑‒–—−]", "-", str(name)).strip().casefold()


def _say_unmatched(lost: pd.DataFrame, by_name: dict[str, Any]) -> list[Finding]:
    import difflib  # noqa: PLC0415 - only where a name was not found

    from pipeline.core.findings import Cell  # noqa: PLC0415 - see above

    out = []
    for file, group in lost.groupby("file", sort=True):
        names: list[str] = []
        for name, x in zip(group["point_name"].fillna("(no name)"), group["x_m"], strict=True):
            if len(names) >= _NAMED:
                break
            if pd.isna(x):
                names.append(f"{name} (its coordinates are no place)")
                continue
            near = difflib.get_close_matches(_folded(name), list(by_name), 1, 0.8)
            names.append(f"{name} (like {by_name[near[0]][1].key}?)" if near else str(name))
        fill = {"n": len(group), "file": file, "names": ", ".join(names)}
        where = Cell(
            file=str(file), sheet=str(group.iloc[0]["layer"]), row=int(group.iloc[0]["row"])
        )
        out.append(make("file-25", where, fill=fill, key=f"file/{file}",
                        as_read=str(group.iloc[0]["point_name"])))  # fmt: skip
    return out


def _apply(group: pd.DataFrame, table: str, row: Row) -> bool:
    """Use GPS points as the position of a row that has none of its own, or a coarser one.

    Returns whether the points agree within twice their doubt.
    """
    u = PLAN_U_M["GNSS"] if "GNSS" in str(group.iloc[0]["method"]) else PLAN_U_M["phone"]
    newest = group.sort_values(["point_date", "file", "row"], na_position="first").iloc[-1]
    is_close = _spread(group) <= 2.0 * u
    x = float(group["x_m"].mean()) if is_close else float(newest["x_m"])
    y = float(group["y_m"].mean()) if is_close else float(newest["y_m"])
    if table == "points":
        if row.values.get("easting_m") is None and row.values.get("northing_m") is None:
            row.values |= {"easting_m": round(x, 3), "northing_m": round(y, 3)}
    elif table in ("chambers", "sites", "buildings"):
        own_u = row.values.get("plan_u_m")
        if row.values.get("x_m") is None or own_u is None or float(own_u) > u:
            row.values |= {
                "x_m": round(x, 3), "y_m": round(y, 3),
                "plan_u_m": u if is_close else max(u, round(_spread(group), 3)), "_gps": True,
                "position_from": f"GPS point {newest['point_name']} ({newest['file']})",
            }  # fmt: skip
    return is_close


def say_defaults(rows: dict[str, list[Row]], sheets: list[TypedSheet]) -> None:
    """Four or more things of a sheet at one spot stand at a default, not at their place."""
    by_sheet = {(s.file, s.name): s for s in sheets}
    for name in ("sites", "chambers"):
        spots: dict[tuple[float, float], list[Row]] = {}
        for row in rows.get(name, ()):
            if row.values.get("x_m") is not None and not row.values.get("_gps"):
                spots.setdefault((row.values["x_m"], row.values["y_m"]), []).append(row)
        for same in spots.values():
            if len(same) >= _SAME_SPOT:
                for row in same:
                    _say_default(row, len(same) - 1, by_sheet.get((row.file, row.sheet_name)))


def _say_default(row: Row, others: int, sheet: TypedSheet | None) -> None:
    row.worsen(contract.STOP)
    for column in ("easting_m", "northing_m", "lat_deg", "lon_deg", "grid_ref"):
        if row.values.get(column) is not None:
            row.stopped.append(column)
    row.values |= {"x_m": None, "y_m": None, "plan_u_m": None, "position_from": None}
    if sheet is not None:
        column = next((c for c in row.stopped if c in sheet.letters), key_of(row.sheet))
        sheet.findings.append(
            make("place-13", sheet.cell(column, row.row), fill={"row": row.row, "n": others},
                 key=f"{row.sheet}/{row.key}", place_id=row.key,
                 as_read=row.raws.get(column, ""))
        )  # fmt: skip


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
