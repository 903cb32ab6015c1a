"""A tiny invented country: rasters of 20 m cells, a few places, and settings for them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from pipeline.core.progress import silent
from pipeline.core.settings import Flood, Ground, Programme, Reference, Settings, Shift
from pipeline.levels.floods import flood_tables
from pipeline.tables import Tables, blank, hand_over

CRS = "EPSG:27700"
WEST, NORTH, CELL = 500_000.0, 650_000.0, 20.0
DATUM = "Test Datum"
NONE = float("nan")


def at(row: float, col: float) -> tuple[float, float]:
    """Easting and northing of the middle of a cell (m)."""
    return WEST + (col + 0.5) * CELL, NORTH - (row + 0.5) * CELL


def boxed(row: float, col: float, rows: float = 1, cols: float = 1) -> Any:
    """Outline over cells, from the north-west one on."""
    west, north = WEST + col * CELL, NORTH - row * CELL
    return shapely.box(west, north - rows * CELL, west + cols * CELL, north)


@cache
def _empty(name: str) -> Any:
    """An empty table, made once: checking one against its register takes a tenth of a second."""
    return blank(name)


@dataclass
class Country:
    """Files in a folder, survey rows, and the settings that name them."""

    folder: Path
    sources: list[dict[str, Any]] = field(default_factory=list)
    domains: list[dict[str, Any]] = field(default_factory=list)
    polygons: list[dict[str, Any]] = field(default_factory=list)
    footprints: list[dict[str, Any]] = field(default_factory=list)
    rows: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    flood: dict[str, Any] = field(default_factory=dict)
    shifts: tuple[dict[str, Any], ...] = ()
    ground_m: float = 20.0
    ground: Any = None

    def raster(self, name: str, values: Any, *, nodata: float | None = NONE, **more: Any) -> Path:
        """Write a raster with row 0 in the north."""
        array = np.asarray(values, more.pop("dtype", "float32"))
        path = self.folder / name
        profile = {
            "driver": "GTiff", "height": array.shape[0], "width": array.shape[1], "count": 1,
            "dtype": array.dtype, "crs": CRS, "nodata": nodata,
            "transform": rasterio.transform.from_origin(WEST, NORTH, CELL, CELL),
        } | more  # fmt: skip
        with rasterio.open(path, "w", **profile) as file:
            file.write(array, 1)
        return path

    def source(self, name: str, values: Any = None, **more: Any) -> None:
        """Name a flood source; `values` becomes its raster."""
        raster = {k: more.pop(k) for k in ("nodata", "dtype") if k in more}
        domain = more.pop("domain_shape", None)
        path = self.folder / f"{name}.tif"
        if values is not None:
            self.raster(path.name, values, **raster)
        if domain is not None:
            self.domains.append({"source_id": name, "geometry": domain})
            more["domain"] = self.folder / f"{name}.gpkg"
        self.sources.append(
            {
                "id": name, "kind": "level grid", "mechanism": "river", "aep": 0.01, "path": path,
                "datum": DATUM, "climate": "none", "defences": "with",
                "issued": dt.date(2024, 1, 1), "u_m": 0.10,
            }
            | more
        )  # fmt: skip

    def add(self, table: str, **row: Any) -> None:
        """Add a survey row."""
        given = {"file": "one.xlsx", "sheet": table, "row": len(self.rows.get(table, [])) + 2,
                 "row_state": "used"}  # fmt: skip
        self.rows.setdefault(table, []).append(given | row)

    def chamber(self, name: str, row: float, col: float, **more: Any) -> None:
        """Add a chamber in the middle of a cell."""
        x, y = at(row, col)
        here = {"site_id": "S1", "x_m": x, "y_m": y, "plan_u_m": 0.05}
        self.add("chambers", chamber_id=name, **(here | more))

    def building(self, name: str, row: float, col: float, **more: Any) -> None:
        """Add a building at the middle of a cell."""
        x, y = at(row, col)
        shape = more.pop("shape", None)
        if shape is not None:
            self.footprints.append({"building_id": name, "geometry": shape})
        here = {"site_id": "S1", "x_m": x, "y_m": y, "plan_u_m": 0.05}
        self.add("buildings", building_id=name, **(here | more))

    def boxed(self, row: float, col: float, rows: float = 1, cols: float = 1) -> Any:
        """Outline over cells, from the north-west one on."""
        return boxed(row, col, rows, cols)

    def outlines(self, *parts: tuple[Any, float, float], **more: Any) -> None:
        """A polygon source of the sea: outline, level (m), chance a year."""
        self.source("sea", kind="polygon", mechanism="sea", aep=None, **more)
        for shape, level, aep in parts:
            self.polygons.append(
                {"source_id": "sea", "aep_per_year": aep, "level_m": level, "geometry": shape}
            )

    def report(self, **more: Any) -> None:
        """A row of the survey's flood levels: 20.62 m at site S1 once in 100 years."""
        self.add(
            "flood_levels",
            **{
                "flood_id": "F1", "applies_to": "S1", "source": "river", "kind": "report",
                "event": "1 %", "aep_per_year": 0.01, "climate": "none", "defences": "with",
                "value_is": "level", "value_m": 20.62, "datum": "Test Datum", "freeboard_in": "no",
                "sheet": "flood_levels",
            } | more,
        )  # fmt: skip

    @property
    def settings(self) -> Settings:
        """Settings of the sources named so far; what floods do not read is left out."""
        ground = self.ground
        if ground is None:
            ground = np.full((12, 12), self.ground_m)
        flood = {
            "design_aep": 0.01, "climate": "none", "defences": "with", "freeboard_m": 0.3,
            "groundwater": "none known, accepted by manager", "k": 1.645,
            "reference_water_m": 50.0, "link_radius_m": 200.0, "ring_cells": 1, "hole_cells": 2,
            "source": self.sources,
        } | self.flood  # fmt: skip
        return Settings.model_construct(
            programme=Programme(
                id="t", name="t", regions=("North",), currency="GBP",
                planning_date=dt.date(2026, 3, 2),
            ),
            reference=Reference(
                working_crs=CRS, vertical_datum=DATUM, regions_file=self.folder / "r.gpkg",
                shift=tuple(Shift(**s) for s in self.shifts),
            ),
            flood=Flood.model_validate(flood),
            ground=Ground(path=self.raster("ground.tif", ground), datum=DATUM, u_m=0.15),
        )  # fmt: skip

    @property
    def tables(self) -> Tables:
        """Survey tables and layers in their registered form."""
        self.rows.setdefault("sites", [])
        if not any(r["site_id"] == "S1" for r in self.rows["sites"]):
            self.add("sites", site_id="S1", critical_class="ordinary")
        names = ("sites", "buildings", "chambers", "entries", "ends", "flood_levels", "columns",
                 "abouts", "visits", "points", "findings")  # fmt: skip
        frames: dict[str, Any] = {
            n: pd.DataFrame(self.rows[n]) if self.rows.get(n) else None for n in names
        }
        layers = {
            "flood_domains": self.domains, "flood_polygons": self.polygons,
            "footprints": self.footprints,
        }  # fmt: skip
        for name, rows in layers.items():
            made = gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS) if rows else None
            frames[name] = made
        given = {n: f for n, f in frames.items() if f is not None}
        return {n: _empty(n) for n in frames} | hand_over("intake", given)

    def flow(self) -> dict[str, Any]:
        """The four tables of the floods, checked against their register."""
        out = flood_tables(self.tables, self.settings, silent)
        return hand_over("levels", out)

    def said(self) -> list[str]:
        """Codes of the findings, in order of name."""
        return sorted(self.flow()["findings"]["code"])

    def answer(self, place: str, source: str | None = None) -> dict[str, Any]:
        """The only row of a place (and source)."""
        found = flood_tables(self.tables, self.settings, silent)["floods"]
        floods = hand_over("levels", {"floods": found})["floods"]
        rows = floods[floods["place_id"] == place]
        if source is not None:
            rows = rows[rows["source_id"] == source]
        assert len(rows) == 1, rows
        return dict(rows.iloc[0])


@pytest.fixture
def country(tmp_path: Path) -> Country:
    """An empty country on level ground of 20.00."""
    return Country(tmp_path)


@pytest.fixture
def wet_column() -> Callable[..., Any]:
    """Twelve by twelve cells, dry but for the columns from `first` to `last`."""

    def make(level_m: float, first: int, last: int) -> Any:
        values = np.full((12, 12), np.nan)
        values[:, first : last + 1] = level_m
        return values

    return make
