"""Ground under chambers, buildings and sites, on the working datum."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core.rasters import Grid, open_grid
from pipeline.core.settings import Settings
from pipeline.levels.datums import to_working_datum
from pipeline.tables import Tables, blank

# doubt of a position for which none is known: a phone on a bad day (common practice, no source)
UNKNOWN_PLAN_U_M: Final = 20.0


def ground_grid(settings: Settings) -> Grid | None:
    """The ground model; None when its datum cannot be brought to the working one."""
    shift = to_working_datum(settings.ground.datum, settings)
    if shift is None:
        return None
    grid = open_grid(
        settings.ground.path, working_crs=settings.reference.working_crs, holds="ground"
    )
    return Grid(grid.values_m + shift[0], grid.west_m, grid.north_m, grid.cell_m, grid.name)


def ground_table(tables: Tables, settings: Settings, grid: Grid | None) -> pd.DataFrame:
    """Ground at every chamber, building and site (table `ground`).

    Parameters
    ----------
    tables : Tables
        Needs sites, buildings, chambers, footprints.
    settings : Settings
    grid : Grid or None
        The ground model.

    Returns
    -------
    DataFrame

    """
    rows: list[dict[str, Any]] = []
    shapes = footprint_shapes(tables)
    for kind, name in (("site", "sites"), ("building", "buildings"), ("chamber", "chambers")):
        frame = tables[name]
        x, y = frame["x_m"].to_numpy(float), frame["y_m"].to_numpy(float)
        at = grid.sample(x, y) if grid is not None else np.full(len(frame), np.nan)
        doubt = frame["plan_u_m"].fillna(UNKNOWN_PLAN_U_M).to_numpy(float)
        for place, px, py, pu, value in zip(frame[f"{kind}_id"], x, y, doubt, at, strict=True):
            row = {"place_kind": kind, "place_id": place, "ground_m": value, "ring_low_m": np.nan}
            if kind == "building" and grid is not None:
                ring = ring_values(grid, shapes.get(place), px, py, settings, plan_u_m=pu)
                row["ring_low_m"] = _low(ring)
            rows.append(row)
    return pd.DataFrame(rows) if rows else blank("ground")


def footprint_shapes(tables: Tables) -> dict[str, Any]:
    """Building outlines by building_id."""
    prints = tables["footprints"]
    return dict(zip(prints["building_id"], prints["geometry"], strict=True)) if len(prints) else {}


def circle_m(cell_m: float, plan_u_m: float) -> float:
    """Radius of the circle that stands for a footprint that nobody gave (m)."""
    return max(10.0, 3.0 * cell_m) + plan_u_m


def ring_values(
    grid: Grid, shape: Any, x_m: float, y_m: float, settings: Settings, *, plan_u_m: float
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Values of the ring outside a building: round its footprint, else a circle at its point.

    Without a footprint a circle of 10 m or three cells is taken, whichever is larger, wider by the
    doubt of the position.
    """
    if shape is not None:
        return grid.ring(shape, settings.flood.ring_cells)
    if not (np.isfinite(x_m) and np.isfinite(y_m)):
        return np.empty(0)
    radius = circle_m(grid.cell_m, plan_u_m)
    n = int(np.ceil(radius / grid.cell_m)) + 1
    steps = np.arange(-n, n + 1) * grid.cell_m
    dx, dy = np.meshgrid(steps, steps)
    near = np.hypot(dx, dy) <= radius
    return grid.sample(x_m + dx[near], y_m + dy[near])


def _low(values: np.ndarray[Any, np.dtype[np.float64]]) -> float:
    finite = values[np.isfinite(values)]
    return float(finite.min()) if finite.size else float("nan")
