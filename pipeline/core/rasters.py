"""Rasters of water and ground: opened once, sampled for all places together.

No data in its disguises (declared, 0, -9999, anything beyond 10 km, NaN, a constant border) is no
data; a place outside the file is outside, never a number.
"""

from __future__ import annotations

import os

os.environ.setdefault("OGR_SKIP", "OGR_VRT")
os.environ.setdefault("CPL_VSIL_CURL_ALLOWED_EXTENSIONS", "{none}")

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt
import rasterio
from rasterio.features import geometry_mask
from rasterio.windows import Window, from_bounds
from scipy import ndimage

from pipeline.core.errors import UsageError

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_NO_DATA: Final = -9999.0
_BEYOND_M: Final = 1e4
# by first bytes: a file of any other kind may name further files or hosts (virtual rasters do)
_TIFF_STARTS: Final = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
_TEXT_GRID_START: Final = b"ncols"
# padding stands out from the water within; the sea round an island does not (house rule)
_JUMP_M: Final = 0.5
Holds = Literal["levels", "depths", "ground"]
_UNITS: Final = {"m": 1.0, "mm": 0.001, "ft": 0.3048}


@dataclass(frozen=True)
class Grid:
    """Values of a raster in metres; NaN = no data. Row 0 is north.

    `west_m`, `north_m` are the outer corner, `cell_m` the side of a (square) cell; `marks` the
    marks of no data that the file does not declare, as written (None = none).
    """

    values_m: FloatArray
    west_m: float
    north_m: float
    cell_m: float
    name: str
    marks: FloatArray | None = None

    def cells(self, x_m: FloatArray, y_m: FloatArray) -> tuple[IntArray, IntArray]:
        """Row and column of places; may lie outside (NaN places give -1)."""
        col = np.floor((np.asarray(x_m) - self.west_m) / self.cell_m)
        row = np.floor((self.north_m - np.asarray(y_m)) / self.cell_m)
        bad = ~(np.isfinite(col) & np.isfinite(row))
        return (
            np.where(bad, -1, row).astype(np.int64),
            np.where(bad, -1, col).astype(np.int64),
        )

    def is_inside(self, x_m: FloatArray, y_m: FloatArray) -> npt.NDArray[np.bool_]:
        """Whether places lie within the raster."""
        row, col = self.cells(x_m, y_m)
        rows, cols = self.values_m.shape
        inside: npt.NDArray[np.bool_] = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
        return inside

    def sample(self, x_m: FloatArray, y_m: FloatArray) -> FloatArray:
        """Value of the cell under each place (m); NaN = no data or outside."""
        row, col = self.cells(x_m, y_m)
        inside = self.is_inside(x_m, y_m)
        out = np.full(row.shape, np.nan)
        out[inside] = self.values_m[row[inside], col[inside]]
        return out

    def mark(self, x_m: float, y_m: float) -> float:
        """Undeclared mark of no data in the cell under a place, as written; NaN = none."""
        x, y = np.array([x_m]), np.array([y_m])
        if self.marks is None or not self.is_inside(x, y)[0]:
            return math.nan
        row, col = self.cells(x, y)
        return float(self.marks[row[0], col[0]])

    def spread_within(self, x_m: float, y_m: float, radius_m: float) -> tuple[float, float]:
        """Lowest and highest value of the cells that a circle touches (m); NaN where none has one."""
        window = self._around(x_m, y_m, radius_m)
        part = np.empty(0) if window is None else self.values_m[window]
        part = part[np.isfinite(part)]
        return (float(part.min()), float(part.max())) if part.size else (math.nan, math.nan)

    def highest_within(self, x_m: float, y_m: float, radius_m: float) -> tuple[float, float]:
        """Highest value of the cells within a distance of a place, and how far it is (m).

        A cell counts when its nearest edge lies within the radius. NaN, NaN where none has a
        value.
        """
        window = self._around(x_m, y_m, radius_m)
        if window is None:
            return math.nan, math.nan
        rows, cols = window
        part = self.values_m[rows, cols]
        if not np.isfinite(part).any():
            return math.nan, math.nan
        cx = self.west_m + np.arange(cols.start, cols.stop) * self.cell_m
        cy = self.north_m - np.arange(rows.start, rows.stop) * self.cell_m
        dx = np.maximum(np.maximum(cx - x_m, x_m - (cx + self.cell_m)), 0.0)
        dy = np.maximum(np.maximum(y_m - cy, (cy - self.cell_m) - y_m), 0.0)
        away = np.hypot(dx[None, :], dy[:, None])
        near = np.where((away <= radius_m) & np.isfinite(part), part, -np.inf)
        best = float(near.max())
        if best == -np.inf:
            return math.nan, math.nan
        return best, float(away[near == best].min())

    def _around(self, x_m: float, y_m: float, radius_m: float) -> tuple[slice, slice] | None:
        if not (math.isfinite(x_m) and math.isfinite(y_m)):
            return None
        rows, cols = self.values_m.shape
        c1 = math.floor((x_m - radius_m - self.west_m) / self.cell_m)
        c2 = math.floor((x_m + radius_m - self.west_m) / self.cell_m)
        r1 = math.floor((self.north_m - y_m - radius_m) / self.cell_m)
        r2 = math.floor((self.north_m - y_m + radius_m) / self.cell_m)
        c1, c2, r1, r2 = max(c1, 0), min(c2, cols - 1), max(r1, 0), min(r2, rows - 1)
        if c1 > c2 or r1 > r2:
            return None
        return slice(r1, r2 + 1), slice(c1, c2 + 1)

    def ring(self, shape: Any, cells: int) -> FloatArray:
        """Values of the cells just outside a footprint, `cells` wide (m)."""
        west, south, east, north = shape.bounds
        margin = (cells + 1) * self.cell_m
        window = self._around(
            (west + east) / 2, (south + north) / 2,
            max(east - west, north - south) / 2 + margin,
        )  # fmt: skip
        if window is None:
            return np.empty(0)
        rows, cols = window
        transform = rasterio.Affine(
            self.cell_m, 0.0, self.west_m + cols.start * self.cell_m,
            0.0, -self.cell_m, self.north_m - rows.start * self.cell_m,
        )  # fmt: skip
        size = (rows.stop - rows.start, cols.stop - cols.start)
        inner = geometry_mask([shape], size, transform, all_touched=True, invert=True)
        outer = inner.copy()
        for _ in range(cells):
            grown = outer.copy()
            grown[1:] |= outer[:-1]
            grown[:-1] |= outer[1:]
            grown[:, 1:] |= outer[:, :-1]
            grown[:, :-1] |= outer[:, 1:]
            grown[1:, 1:] |= outer[:-1, :-1]
            grown[1:, :-1] |= outer[:-1, 1:]
            grown[:-1, 1:] |= outer[1:, :-1]
            grown[:-1, :-1] |= outer[1:, 1:]
            outer = grown
        part: FloatArray = self.values_m[rows, cols][outer & ~inner]
        return part


def open_grid(
    path: Path,
    *,
    working_crs: str,
    unit: str = "m",
    band: int = 1,
    bounds: tuple[float, float, float, float] | None = None,
    holds: Holds = "levels",
) -> Grid:
    """Read a raster, or the part of it that the places need.

    Parameters
    ----------
    path : Path
    working_crs : str
        The raster must be in it: a level is never resampled on the way.
    unit : str
        'm', 'mm' or 'ft'.
    band : int
        Counted from 1.
    bounds : tuple of float, optional
        West, south, east, north of the part wanted (m).
    holds : str
        'levels' or 'depths' of water, where 0 means none (a water level of exactly 0 is a filled
        blank), or 'ground', which may be 0.

    Returns
    -------
    Grid

    Raises
    ------
    UsageError
        No raster, another coordinate system, no such band, cells that are not square or north-up.

    """
    driver = _driver(path)
    try:
        with rasterio.open(path, driver=driver) as file:
            _check(file, path, working_crs, band)
            window = _window(file, bounds)
            values = file.read(band, window=window).astype(np.float64)
            transform = file.window_transform(window)
            declared = file.nodata
    except rasterio.errors.RasterioError as fault:
        raise UsageError(f"{path.name} cannot be read as a raster: {fault}.") from None
    is_water = holds != "ground"
    clean = _without_no_data(values, declared, _UNITS[unit], is_water=is_water)
    # a mark that the file does not declare is told: somebody may have meant it as a level
    told = {declared}
    if holds == "depths":
        clean = np.where(clean > 0.0, clean, np.nan)
        told.add(0.0)  # a depth of nought is an answer
    odd = (
        np.isnan(clean) & np.isfinite(values) & ~np.isin(values, [v for v in told if v is not None])
    )
    marks = np.where(odd, values, np.nan) if is_water and odd.any() else None
    return Grid(clean, transform.c, transform.f, transform.a, path.name, marks)


def open_depths(
    path: Path,
    ground: Path,
    *,
    working_crs: str,
    unit: str = "m",
    band: int = 1,
) -> Grid:
    """Read a grid of water depths as levels: depth plus the ground of the same flood model.

    Parameters
    ----------
    path, ground : Path
        Depths, and the ground that the model computed them over; the same cells.
    working_crs, unit, band
        As in `open_grid`, for the depths; the ground is in metres, band 1.

    Returns
    -------
    Grid
        Levels (m). A depth of 0 is a dry cell and no level; below 0, or without ground, none.

    Raises
    ------
    UsageError
        As in `open_grid`, when the two files have different cells, and when a wet cell has no
        ground.
    """
    depth = open_grid(path, working_crs=working_crs, unit=unit, band=band, holds="depths")
    under = open_grid(ground, working_crs=working_crs, holds="ground")
    if depth.values_m.shape != under.values_m.shape or not np.allclose(
        (depth.west_m, depth.north_m, depth.cell_m), (under.west_m, under.north_m, under.cell_m)
    ):
        raise UsageError(
            f"{path.name} and {ground.name} do not have the same cells.",
            why="A depth is only a level over the ground that its own model used.",
            mend="Take the ground from the flood model itself, or a grid of levels.",
        )
    bare_count = int(np.sum(np.isfinite(depth.values_m) & np.isnan(under.values_m)))
    if bare_count:
        raise UsageError(
            f"{ground.name} has no ground under {bare_count} wet cells of {path.name}.",
            why="Water without a level must not be left out: it would read as dry.",
            mend="Take the ground from the flood model itself.",
        )
    return replace(depth, values_m=np.round(depth.values_m + under.values_m, 4))


def _driver(path: Path) -> str:
    """Reader of a file by its first bytes, whatever its name ends in."""
    if "://" in str(path) or "/vsi" in str(path):
        raise UsageError(f"{path.name} is not a plain file.", mend="Name a file on this machine.")
    try:
        with path.open("rb") as file:
            start = file.read(8)
    except OSError as fault:
        raise UsageError(f"{path.name} cannot be opened: {fault.strerror}.") from None
    if start.startswith(_TIFF_STARTS):
        return "GTiff"
    if start.lstrip().lower().startswith(_TEXT_GRID_START):
        return "AAIGrid"
    raise UsageError(f"{path.name} is no GeoTIFF and no ASCII grid.", mend="Save it as GeoTIFF.")


def _check(file: Any, path: Path, working_crs: str, band: int) -> None:
    if file.crs is None or file.crs != rasterio.crs.CRS.from_user_input(working_crs):
        named = "no coordinate system" if file.crs is None else str(file.crs)
        raise UsageError(
            f"{path.name} is in {named}, the programme works in {working_crs}.",
            why="Levels are not resampled between systems.",
            mend="Save the raster in the working system.",
        )
    if band > file.count:
        raise UsageError(f"{path.name} has {file.count} bands, the settings ask for band {band}.")
    t = file.transform
    if t.b or t.d or not math.isclose(t.a, -t.e, rel_tol=1e-6):
        raise UsageError(f"{path.name} has cells that are turned or not square.")


def _window(file: Any, bounds: tuple[float, float, float, float] | None) -> Window:
    whole = Window(0, 0, file.width, file.height)
    if bounds is None:
        return whole
    wanted = from_bounds(*bounds, transform=file.transform)
    c1, r1 = max(math.floor(wanted.col_off), 0), max(math.floor(wanted.row_off), 0)
    c2 = min(math.ceil(wanted.col_off + wanted.width), file.width)
    r2 = min(math.ceil(wanted.row_off + wanted.height), file.height)
    if c1 >= c2 or r1 >= r2:
        return Window(0, 0, 1, 1)
    return Window(c1, r1, c2 - c1, r2 - r1)


def _without_no_data(
    values: FloatArray, declared: float | None, metres: float, *, is_water: bool
) -> FloatArray:
    """Values in metres without their marks of no data; `metres` is the unit of the file.

    The limit of a possible level counts in metres: 20 620 mm is a level.
    """
    bad = ~np.isfinite(values) | (values == _NO_DATA) | (np.abs(values * metres) > _BEYOND_M)
    if declared is not None and math.isfinite(declared):
        bad |= values == declared
    if is_water:
        bad |= values == 0.0
    # rasters hold single precision: a tenth of a millimetre clears its noise, so that 18.45 is
    # 18.450 and not a millimetre more
    out = np.where(bad, np.nan, np.round(values * metres, 4))
    return _without_border(out) if is_water else out


def _without_border(values: FloatArray) -> FloatArray:
    """A frame of one and the same number all round is padding where it stands out.

    It stands out when every value next to it differs by more than half a metre. Without such a
    value next to it (a plane, the sea round a dry island) it stays water: taking water away could
    only dry a place.
    """
    if min(values.shape) < 3:
        return values
    frame = np.concatenate([values[0], values[-1], values[1:-1, 0], values[1:-1, -1]])
    if not np.isfinite(frame).all() or np.ptp(frame) != 0.0:
        return values
    labels, _ = ndimage.label(values == frame[0])
    padding = labels == labels[0, 0]
    beside = values[ndimage.binary_dilation(padding) & ~padding]
    beside = beside[np.isfinite(beside)]
    if beside.size and np.all(np.abs(beside - frame[0]) > _JUMP_M):
        return np.where(padding, np.nan, values)
    return values
