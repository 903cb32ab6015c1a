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
from pipeline.core.rasters import Grid, open_grid
from pipeline.core.settings import Settings, Source
from pipeline.levels.datums import to_working_datum
from pipeline.levels.ground import footprint_shapes, ring_values
from pipeline.tables import Tables

_SHORE_CELLS: Final = 3


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
                        float(row["x_m"]), float(row["y_m"]), 0.0 if pd.isna(u) else float(u),
                        shapes.get(place) if kind == "building" else None,
                        float(low.get((kind, place), math.nan)),
                    )
                )  # fmt: skip
        return cls(tuple(out), ground)


def base_row(place: Place, source: Source, aep: float | None) -> dict[str, Any]:
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
        "distance_m": None,
        "ground_m": place.ground_m,
        "datum": source.datum,
        "origin": f"{source.path.name} band {source.band}",
        "assumed": None,
    }


def refused_datum(source: Source, settings: Settings) -> Finding:
    """A source on a datum without a known shift is not compared with anything."""
    fill = {"a": settings.reference.vertical_datum, "b": source.datum}
    return make("level-03", Cell(file=source.path.name), fill=fill, as_read=source.datum,
                key=f"flood/{source.id}")  # fmt: skip


def grid_rows(
    places: Places, tables: Tables, settings: Settings, source: Source
) -> tuple[list[dict[str, Any]], list[Finding]]:
    """Answers of one level grid at every place.

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
            [base_row(p, source, source.aep) for p in places.all],
            [refused_datum(source, settings)],
        )
    grid = open_grid(
        source.path, working_crs=settings.reference.working_crs, unit=source.unit,
        band=source.band,
    )  # fmt: skip
    domains = tables["flood_domains"]
    own = domains[domains["source_id"] == source.id]
    domain = shapely.union_all(own["geometry"].values) if len(own) else None
    if domain is not None:
        shapely.prepare(domain)
    add = shift[0] - source.freeboard_in_m
    rows, findings = [], []
    for place in places.all:
        row = base_row(place, source, source.aep)
        if math.isfinite(place.x_m):
            _answer(row, place, grid, domain, settings, places.ground)
            findings += _inside_building(row, place, grid, source)
        else:
            row["assumed"] = "no position: the flood here is not known"
        if row["level_m"] is not None:
            row["level_m"] = round(row["level_m"] + add, 6)
        rows.append(row)
    return rows, findings


def _answer(
    row: dict[str, Any],
    place: Place,
    grid: Grid,
    domain: Any,
    settings: Settings,
    ground: Grid | None,
) -> None:
    flood = settings.flood
    level, away = _here(place, grid, settings)
    if math.isfinite(level):
        row |= {"answer": contract.LEVEL, "level_m": level, "distance_m": away}
        return
    reach = max(flood.reference_water_m, _SHORE_CELLS * grid.cell_m)
    inside = domain is not None and bool(shapely.contains_xy(domain, place.x_m, place.y_m))
    hole, hole_away = _near(place, grid, flood.hole_cells * grid.cell_m)
    if inside and math.isfinite(hole):
        if _ground_here(place, ground) > hole:
            row["answer"] = contract.DRY
            _shore(row, place, grid, reach)
        else:
            row |= {
                "answer": contract.HOLE, "level_m": hole, "distance_m": hole_away,
                "assumed": "no value in the grid here: the highest one nearby was taken",
            }  # fmt: skip
    elif inside:
        row["answer"] = contract.DRY
        _shore(row, place, grid, reach)
    elif domain is None and math.isfinite(_near(place, grid, reach)[0]):
        # without an outline only cells with a value count as modelled; close to them the place is
        # treated by the shore rule, further off it is not modelled
        row["answer"] = contract.DRY
        _shore(row, place, grid, reach)


def _here(place: Place, grid: Grid, settings: Settings) -> tuple[float, float]:
    """Highest level at a place, within its position's doubt; a building: the ring outside."""
    if place.kind == "building":
        values = ring_values(grid, place.shape, place.x_m, place.y_m, settings)
        finite = values[np.isfinite(values)]
        if finite.size:
            return float(finite.max()), 0.0
        return math.nan, math.nan
    if place.plan_u_m > 0:
        return grid.highest_within(place.x_m, place.y_m, place.plan_u_m)
    return float(grid.sample(np.array([place.x_m]), np.array([place.y_m]))[0]), 0.0


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
    fill = {"building": place.place_id, "a": f"{inside:.2f}", "b": f"{around:.2f}"}
    return [make("water-14", Cell(file=source.path.name), fill=fill, place_id=place.place_id,
                 site_id=place.site_id, key=f"buildings/{place.place_id}")]  # fmt: skip


def groundwater_rows(
    places: Places, settings: Settings, source: Source
) -> tuple[list[dict[str, Any]], list[Finding]]:
    """Level of the groundwater surface at every place; it has no dry and no ring."""
    shift = to_working_datum(source.datum, settings)
    if shift is None:
        return (
            [base_row(p, source, source.aep) for p in places.all],
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
            level, away = grid.highest_within(place.x_m, place.y_m, place.plan_u_m)
            if math.isfinite(level):
                row |= {
                    "answer": contract.LEVEL, "distance_m": away,
                    "level_m": round(level + shift[0], 6),
                }  # fmt: skip
        rows.append(row)
    return rows, []
