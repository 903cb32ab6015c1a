"""Grids of water level: the four answers at every place, the ring of buildings, the shore rule."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely

from pipeline.core import contract
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.rasters import Grid, open_depths, open_grid
from pipeline.core.settings import Settings, Source
from pipeline.core.units import down_mm, up_mm
from pipeline.levels.datums import to_working_datum
from pipeline.levels.ground import UNKNOWN_PLAN_U_M, circle_m, footprint_shapes
from pipeline.tables import Tables

_SHORE_CELLS: Final = 3
_NAMED: Final = 6
_UNEVEN_M: Final = 0.1  # rule place-14
_UNDERGROUND: Final = ("groundwater", "sewer")


@dataclass(frozen=True)
class Place:
    """One chamber or building with its position, outline and ground."""

    kind: str
    place_id: str
    site_id: str
    x_m: float
    y_m: float
    plan_u_m: float
    shape: Any
    ground_m: float
    file: str

    @property
    def spot(self) -> Any:
        """Where the place may lie: its outline, else its point within the doubt of it."""
        point = shapely.Point(self.x_m, self.y_m)
        return self.shape if self.shape is not None else point.buffer(max(self.plan_u_m, 0.01))


@dataclass(frozen=True)
class Places:
    """All places, and the ground model that tells dry from hole."""

    all: tuple[Place, ...]
    ground: Grid | None

    @classmethod
    def of(
        cls, tables: Tables, grounds: pd.DataFrame, ground: Grid | None, settings: Settings
    ) -> Places:
        """Gather chambers and buildings."""
        del settings
        shapes = footprint_shapes(tables)
        low = {
            (k, i): (r if k == "building" and not pd.isna(r) else g)
            for k, i, g, r in zip(
                grounds["place_kind"],
                grounds["place_id"],
                grounds["ground_m"],
                grounds["ring_low_m"],
                strict=True,
            )
        }
        out = []
        for kind, name in (("chamber", "chambers"), ("building", "buildings")):
            for row in tables[name].to_dict("records"):
                place = str(row[f"{kind}_id"])
                u = row["plan_u_m"]
                out.append(
                    Place(
                        kind, place, "" if pd.isna(row["site_id"]) else str(row["site_id"]),
                        float(row["x_m"]), float(row["y_m"]),
                        UNKNOWN_PLAN_U_M if pd.isna(u) else float(u),
                        shapes.get(place) if kind == "building" else None,
                        float(low.get((kind, place), math.nan)), str(row["file"]),
                    )
                )  # fmt: skip
        return cls(tuple(out), ground)


def base_row(
    place: Place, source: Source, aep: float | None, *, is_refused: bool = False
) -> dict[str, Any]:
    """The part of a row that does not depend on the answer."""
    every = -1.0 if aep is None else aep
    return {
        "place_kind": place.kind,
        "place_id": place.place_id,
        "site_id": place.site_id or None,
        "source_id": source.id,
        "mechanism": source.mechanism,
        "aep_per_year": every,
        "event": "every event" if aep is None else f"{aep:.4g} a year",
        "climate": source.climate,
        "defences": source.defences,
        "answer": contract.NOT_MODELLED,
        "level_m": None,
        "is_nearest": False,
        "is_refused": is_refused,
        "distance_m": None,
        "ground_m": place.ground_m,
        "datum": source.datum,
        "origin": f"{source.path.name} band {source.band}",
        "assumed": None,
    }


def events_of(rows: pd.DataFrame, source: Source) -> list[float | None]:
    """Events of the rows of a source, the most frequent first; without any the source's own.

    Rows of unknown chance count in every event of their source, never in none.
    """
    known = sorted(rows["aep_per_year"].dropna().unique(), reverse=True)
    return [float(a) for a in known] or [source.aep]


def refused_datum(source: Source, settings: Settings) -> Finding:
    """A source on a datum without a known shift is not compared with anything."""
    fill = {"a": settings.reference.vertical_datum, "b": source.datum}
    return make("level-03", Cell(file=source.path.name), fill=fill, as_read=source.datum,
                key=f"flood/{source.id}")  # fmt: skip


def grid_rows(
    places: Places, tables: Tables, settings: Settings, source: Source
) -> tuple[list[dict[str, Any]], list[Finding]]:
    """Answers of one grid of levels, or of depths over its own ground, at every place.

    Parameters
    ----------
    places : Places
    tables : Tables
        Needs flood_domains.
    settings : Settings
    source : Source

    Returns
    -------
    rows, findings

    """
    shift = to_working_datum(source.datum, settings)
    if shift is None:
        return (
            [base_row(p, source, source.aep, is_refused=True) for p in places.all],
            [refused_datum(source, settings)],
        )
    more: Any = {"working_crs": settings.reference.working_crs, "unit": source.unit,
                 "band": source.band}  # fmt: skip
    if source.ground is not None:
        grid = open_depths(source.path, source.ground, **more)
    else:
        grid = open_grid(source.path, **more)
    domain = domain_of(tables, source)
    add = shift[0] - source.freeboard_in_m
    rows, findings = [], []
    marks: dict[float, list[str]] = {}
    for place in places.all:
        row = base_row(place, source, source.aep)
        if math.isfinite(place.x_m):
            _answer(row, place, grid, domain, settings, (places.ground, add))
            findings += _inside_building(row, place, grid, source)
            findings += _coarse(place, grid, source)
            mark = grid.mark(place.x_m, place.y_m)
            if math.isfinite(mark):
                marks.setdefault(mark, []).append(place.place_id)
        else:
            row["assumed"] = "no position: the flood here is not known"
        if row["level_m"] is not None:
            row["level_m"] = round(row["level_m"] + add, 6)
        rows.append(row)
    return rows, findings + _marked(marks, source)


def _marked(marks: dict[float, list[str]], source: Source) -> list[Finding]:
    """Places on an undeclared mark of no data, one line per source and mark."""
    out = []
    for mark, names in sorted(marks.items()):
        listed = ", ".join(names[:_NAMED]) + (" ..." if len(names) > _NAMED else "")
        out.append(
            make("water-07", Cell(file=source.path.name), fill={"value": f"{mark:g}", "id": listed},
                 as_read=f"{mark:g}", key=f"flood/{source.id}/{mark:g}", place_id=names[0])
        )  # fmt: skip
    return out


def _coarse(place: Place, grid: Grid, source: Source) -> list[Finding]:
    """place-14: a chamber placed to more than a cell where the level is not even."""
    if place.kind != "chamber" or place.plan_u_m <= grid.cell_m:
        return []
    low, high = grid.spread_within(place.x_m, place.y_m, place.plan_u_m)
    if not high - low > _UNEVEN_M:
        return []
    fill = {"id": place.place_id, "u": f"{place.plan_u_m:.0f}", "method": "its position",
            "a": f"{low:.2f}", "b": f"{high:.2f}"}  # fmt: skip
    return [make("place-14", Cell(file=source.path.name), fill=fill, place_id=place.place_id,
                 site_id=place.site_id, key=f"chambers/{place.place_id}")]  # fmt: skip


def domain_of(tables: Tables, source: Source) -> Any:
    """Outline of what a source modelled; None when the settings name none.

    An outline that is named and empty covers nothing: it is not the same as none.
    """
    domains = tables["flood_domains"]
    own = domains[domains["source_id"] == source.id]
    if source.domain is None and not len(own):
        return None
    domain = shapely.union_all(shapely.make_valid(own["geometry"].to_numpy()))
    shapely.prepare(domain)
    return domain


def _answer(
    row: dict[str, Any],
    place: Place,
    grid: Grid,
    domain: Any,
    settings: Settings,
    ground: tuple[Grid | None, float],
) -> None:
    """Fill the answer in; `ground` is the ground model and what brings a level to its datum."""
    flood = settings.flood
    level, away = _here(place, grid, settings)
    if math.isfinite(level):
        row |= {"answer": contract.LEVEL, "level_m": level, "distance_m": away}
        return
    hole, hole_away = _near(place, grid, flood.hole_cells * grid.cell_m)
    is_outside = domain is not None and not shapely.covers(domain, place.spot)
    if math.isfinite(hole) and not is_outside:
        # only surface water is kept out by ground above it, and equal is wet
        is_kept_out = row["mechanism"] not in _UNDERGROUND and bool(
            down_mm(_ground_here(place, ground[0])) > up_mm(hole + ground[1])
        )
        if not is_kept_out:
            row |= {
                "answer": contract.HOLE, "level_m": hole, "distance_m": hole_away,
                "assumed": "no value in the grid here: the highest one nearby was taken",
            }  # fmt: skip
            return
        row["answer"] = contract.DRY
    elif domain is not None and not is_outside:
        # outside the file nothing was modelled, whatever the outline says: a tile is missing
        here = grid.is_inside(np.array([place.x_m]), np.array([place.y_m]))[0]
        row["answer"] = contract.DRY if here else contract.NOT_MODELLED
    # water near a place that nobody modelled is told as well: it may wet, it never clears
    _shore(row, place, grid, max(flood.reference_water_m, _SHORE_CELLS * grid.cell_m))


def _here(place: Place, grid: Grid, settings: Settings) -> tuple[float, float]:
    """Highest level at a place, within its position's doubt; a building: the ring outside."""
    if place.shape is not None:
        values = grid.ring(place.shape, settings.flood.ring_cells)
        finite = values[np.isfinite(values)]
        return (float(finite.max()), 0.0) if finite.size else (math.nan, math.nan)
    radius = place.plan_u_m
    if place.kind == "building":
        radius = circle_m(grid.cell_m, place.plan_u_m)
    return grid.highest_within(place.x_m, place.y_m, radius)


def _near(place: Place, grid: Grid, radius_m: float) -> tuple[float, float]:
    if place.shape is not None:
        west, south, east, north = place.shape.bounds
        radius_m += max(east - west, north - south) / 2
    return grid.highest_within(place.x_m, place.y_m, radius_m + place.plan_u_m)


def _ground_here(place: Place, ground: Grid | None) -> float:
    """Ground at the place; unknown ground is below everything, so that a hole stays a hole."""
    if ground is None:
        return -math.inf
    value = float(ground.sample(np.array([place.x_m]), np.array([place.y_m]))[0])
    if place.kind == "building" and math.isfinite(place.ground_m):
        value = place.ground_m
    return value if math.isfinite(value) else -math.inf


def _shore(row: dict[str, Any], place: Place, grid: Grid, reach_m: float) -> None:
    """Reference water: the highest level within reach of a dry place."""
    level, away = _near(place, grid, reach_m)
    if math.isfinite(level):
        row |= {"level_m": level, "distance_m": away, "is_nearest": True}


def _inside_building(
    row: dict[str, Any], place: Place, grid: Grid, source: Source
) -> list[Finding]:
    """A level inside a footprint that differs from the ring is an artefact of the model."""
    if place.shape is None or row["answer"] != contract.LEVEL:
        return []
    middle = place.shape.representative_point()
    inside = float(grid.sample(np.array([middle.x]), np.array([middle.y]))[0])
    around = float(row["level_m"])
    if not math.isfinite(inside) or abs(inside - around) <= 0.3:
        return []
    fill = {"building": place.place_id, "a": f"{inside:.2f} m", "b": f"{around:.2f}"}
    return [make("water-14", Cell(file=source.path.name), fill=fill, place_id=place.place_id,
                 site_id=place.site_id, key=f"buildings/{place.place_id}")]  # fmt: skip


def _under(place: Place, grid: Grid) -> tuple[float, float]:
    """Highest groundwater under a place and how far off it is (m).

    A known outline decides by itself, so that losing a building's typed position changes nothing.
    """
    if place.shape is not None:
        west, south, east, north = place.shape.bounds
        half_m = math.hypot(east - west, north - south) / 2
        return grid.highest_within((west + east) / 2, (south + north) / 2, half_m)
    radius = place.plan_u_m
    if place.kind == "building":
        radius = circle_m(0.0, place.plan_u_m)
    return grid.highest_within(place.x_m, place.y_m, radius)


def groundwater_rows(
    places: Places, settings: Settings, source: Source
) -> tuple[list[dict[str, Any]], list[Finding]]:
    """Level of the groundwater surface at every place; it has no dry and no ring."""
    shift = to_working_datum(source.datum, settings)
    if shift is None:
        return (
            [base_row(p, source, source.aep, is_refused=True) for p in places.all],
            [refused_datum(source, settings)],
        )
    grid = open_grid(
        source.path, working_crs=settings.reference.working_crs, unit=source.unit,
        band=source.band,
    )  # fmt: skip
    rows = []
    for place in places.all:
        row = base_row(place, source, source.aep)
        if math.isfinite(place.x_m):
            level, away = _under(place, grid)
            if math.isfinite(level):
                row |= {
                    "answer": contract.LEVEL, "distance_m": away,
                    "level_m": round(level + shift[0], 6),
                }  # fmt: skip
        rows.append(row)
    return rows, []
