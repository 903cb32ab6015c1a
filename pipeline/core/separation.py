"""Separation between the ellipsoid and a height datum, from a grid file that the user names."""

from __future__ import annotations

import os

os.environ.setdefault("OGR_SKIP", "OGR_VRT")
os.environ.setdefault("CPL_VSIL_CURL_ALLOWED_EXTENSIONS", "{none}")

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import rasterio
from scipy import ndimage

from pipeline.core.errors import UsageError

FloatArray = npt.NDArray[np.float64]
_BEYOND_M: Final = 200.0  # no geoid stands further than this from its ellipsoid
_NO_DATA: Final = (-88.8888, -9999.0, -999.0)
_GTX_HEAD_BYTES: Final = 40


@dataclass(frozen=True)
class Separations:
    """Separations (m) at the nodes of a grid in degrees; row 0 is north, NaN = no data."""

    values_m: FloatArray
    west_deg: float
    north_deg: float
    step_lon_deg: float
    step_lat_deg: float

    def at(self, lon_deg: npt.ArrayLike, lat_deg: npt.ArrayLike) -> FloatArray:
        """Separation at places by bilinear interpolation; NaN outside or beside a node without data.

        Parameters
        ----------
        lon_deg, lat_deg : array_like of float, shape (n,)

        Returns
        -------
        array (n,)
            Height of the datum's zero surface above the ellipsoid (m).
        """
        lon = np.atleast_1d(np.asarray(lon_deg, np.float64))
        lat = np.atleast_1d(np.asarray(lat_deg, np.float64))
        # a grid may count from 0 to 360 where a place is west of Greenwich, or the other way round
        lon = self.west_deg + np.mod(lon - self.west_deg + 1e-9, 360.0) - 1e-9
        place = np.vstack(
            ((self.north_deg - lat) / self.step_lat_deg, (lon - self.west_deg) / self.step_lon_deg)
        )
        tidy = np.round(place, 9)
        inside = np.isfinite(tidy).all(axis=0)
        out = np.full(lon.shape, np.nan)
        out[inside] = ndimage.map_coordinates(
            self.values_m, tidy[:, inside], order=1, mode="constant", cval=np.nan, prefilter=False
        )
        return out


def open_separations(path: Path) -> Separations:
    """Read a grid of separations: GTX, or a GeoTIFF in degrees whose values are metres.

    Parameters
    ----------
    path : Path

    Returns
    -------
    Separations

    Raises
    ------
    UsageError
        When the file is no such grid.

    Notes
    -----
    A GTX grid is in degrees by its format; a GeoTIFF must say so.

    References
    ----------
    GTX: NOAA VDatum, as GDAL reads it. GeoTIFF: values at pixel centres, unless the file says that
    a pixel is a point, which GDAL takes account of.
    """
    driver = _driver(path)
    try:
        with rasterio.open(path, driver=driver) as file:
            _check(file, path)
            values = file.read(1, masked=True).astype(np.float64).filled(np.nan)
            grid: Any = file.transform
            declared = file.nodata
    except rasterio.errors.RasterioError as fault:
        raise UsageError(f"{path.name} cannot be read as a grid: {fault}.") from None
    for mark in (*_NO_DATA, *([] if declared is None else [declared])):
        values[np.isclose(values, mark, atol=1e-4)] = np.nan
    values[~(np.abs(values) < _BEYOND_M)] = np.nan
    return Separations(
        values, grid.c + grid.a / 2.0, grid.f + grid.e / 2.0, float(grid.a), float(-grid.e)
    )


def _driver(path: Path) -> str:
    """By first bytes: a file of any other kind may name further files or hosts."""
    try:
        with path.open("rb") as file:
            head = file.read(_GTX_HEAD_BYTES)
    except OSError:
        raise UsageError(f"There is no file {path.name}.", mend="Name the grid file.") from None
    if head[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return "GTiff"
    if path.suffix.lower() == ".gtx" and len(head) == _GTX_HEAD_BYTES:
        return "GTX"
    raise UsageError(
        f"{path.name} is no grid of separations that we read.", mend="Give a GTX or a GeoTIFF file."
    )


def _check(file: Any, path: Path) -> None:
    if file.driver == "GTiff" and (file.crs is None or not file.crs.is_geographic):
        raise UsageError(
            f"{path.name} is not in degrees.",
            why="Which coordinate system is never guessed.",
            mend="Save the grid in longitude and latitude, and let the file say so.",
        )
    turned = file.transform.b or file.transform.d or file.transform.e >= 0.0
    if turned:
        raise UsageError(f"{path.name} is turned or runs from south to north.",
                         mend="Save it with north up.")  # fmt: skip
