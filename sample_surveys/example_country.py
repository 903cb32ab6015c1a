"""Writes the grids and layers of the invented country."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import split

from sample_surveys import example_land as land
from sample_surveys.example_files import save_grid, save_layer

AEP_NAMES: Final = ("10pc", "3p33pc", "1pc", "0p5pc", "0p1pc")
GROUNDWATER_CELL_M: Final = 100.0
HOLE_HALF_M: Final = 50.0


def write_grids(
    folder: Path, holes: list[tuple[float, float]], springs: list[tuple[float, float]]
) -> None:
    """Ground, five water levels and the water table.

    `holes` are places round which the model has no data (blocked by buildings), `springs` places
    where the water table stands high.
    """
    x, y = land.cell_centres(land.CELL_M)
    ground = land.ground(x, y)
    save_grid(folder / "ground.tif", ground, land.CELL_M)
    blocked = np.zeros(x.shape, dtype=bool)
    for east, north in holes:
        blocked |= (np.abs(x - east) < HOLE_HALF_M) & (np.abs(y - north) < HOLE_HALF_M)
    covered = land.in_model(x, y) & ~blocked & ~np.isnan(ground)
    for event, name in enumerate(AEP_NAMES):
        level = land.river_level(x, event)
        wet = covered & (level > ground)
        save_grid(folder / f"level_{name}.tif", np.where(wet, level, np.nan), land.CELL_M)
    x, y = land.cell_centres(GROUNDWATER_CELL_M)
    table = land.groundwater(x, y, springs)
    known = ~np.isnan(land.ground(x, y)) & (x >= land.MODEL_WEST_M)
    save_grid(folder / "water_table.tif", np.where(known, table, np.nan), GROUNDWATER_CELL_M)


def write_layers(folder: Path) -> None:
    """Outlines of the models, sea levels and regions."""
    save_layer(folder / "river_model.gpkg", {"name": ["river"]}, [Polygon(land.model_outline())])
    coast = box(*land.COAST_BOX)
    save_layer(folder / "coast_model.gpkg", {"name": ["coast"]}, [coast])
    columns: dict[str, list[Any]] = {"aep": [], "level_m": [], "cell": []}
    shapes = []
    for event, aep in enumerate(land.AEPS):
        level = land.SEA_LEVELS[event]
        dry = [land.ISLANDS[name].contour(level) for name in sorted(land.ISLANDS)]
        columns["aep"].append(aep)
        columns["level_m"].append(level)
        columns["cell"].append("outer water")
        shapes.append(Polygon(coast.exterior.coords, dry))
    save_layer(folder / "sea_levels.gpkg", columns, shapes)
    names, areas = regions()
    save_layer(folder / "regions.gpkg", {"region": names}, areas)


def write_footprints(path: Path, outlines: dict[str, list[tuple[float, float]]]) -> None:
    """Outlines of buildings as a layer."""
    drawn = sorted(outlines)
    save_layer(path, {"building_id": drawn}, [Polygon(outlines[name]) for name in drawn])


def regions() -> tuple[list[str], list[Any]]:
    """Names and outlines of the four regions; the river parts North and South."""
    west_edge, coast_edge = 494_500.0, 506_000.0
    approaches = box(land.WEST_M, land.SOUTH_M, west_edge, land.NORTH_M)
    isles = box(coast_edge, land.SOUTH_M, land.EAST_M, land.NORTH_M)
    middle = box(west_edge, land.SOUTH_M, coast_edge, land.NORTH_M)
    river = LineString(
        [
            (land.WEST_M - 500.0, land.river_points()[0][1]),
            *land.river_points(),
            (land.EAST_M, land.river_points()[-1][1]),
        ]
    )
    halves = list(split(middle, river).geoms)
    north = max(halves, key=lambda part: part.centroid.y)
    south = min(halves, key=lambda part: part.centroid.y)
    return ["Isles", "NA", "North", "South"], [isles, approaches, north, south]


def write_rover_points(path: Path, points: list[tuple[str, float, float]]) -> None:
    """Positions of chambers and buildings, taken by a rover, as a point layer."""
    save_layer(path, {"name": [p[0] for p in points]}, [Point(p[1], p[2]) for p in points])
