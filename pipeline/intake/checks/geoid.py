"""A world geoid where the machine has one: it detects a wrong separation, it converts nothing."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyproj
from pyproj.exceptions import ProjError

from pipeline.core.units import FloatArray

# EGM96 at 15 minutes as PROJ names it; good to about 1 m (from memory), so for detection only.
_GRIDS: Final = ("egm96_15.gtx", "us_nga_egm96_15.tif")
_FOLDERS: Final = ("PROJ_DATA", "PROJ_LIB")


def separation_m(x_m: npt.ArrayLike, y_m: npt.ArrayLike, working_crs: str) -> FloatArray | None:
    """World geoid above the ellipsoid at places (m).

    Parameters
    ----------
    x_m, y_m : array_like of float, any shape
        Positions in the working system (m).
    working_crs : str

    Returns
    -------
    numpy.ndarray of float, or None
        Geoid height, NaN outside; None where no world geoid is installed.

    References
    ----------
    NASA/TP-1998-206861 (EGM96), as the grid of the PROJ data package.
    """
    pipeline = _pipeline()
    if pipeline is None:
        return None
    to_degrees = pyproj.Transformer.from_crs(working_crs, "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform(np.asarray(x_m, float), np.asarray(y_m, float))
    _, _, height = pipeline.transform(lon, lat, np.zeros_like(np.asarray(lon)))
    height = np.asarray(height, dtype=np.float64)
    return np.where(np.isfinite(height), height, np.nan)


@cache
def _pipeline() -> Any:
    for grid in _candidates():
        steps = (
            "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
            f"+step +proj=vgridshift +grids={grid} +multiplier=1 "
            "+step +proj=unitconvert +xy_in=rad +xy_out=deg"
        )
        try:
            return pyproj.Transformer.from_pipeline(steps)
        except ProjError:
            continue
    return None


def _candidates() -> list[str]:
    """Grids by name, as PROJ finds them, then in the folders of a PROJ data package."""
    folders = [os.environ[name] for name in _FOLDERS if os.environ.get(name)]
    folders += ["/usr/share/proj", "/usr/local/share/proj"]
    files = [Path(folder) / grid for folder in folders for grid in _GRIDS]
    return [*_GRIDS, *(str(f) for f in files if f.is_file())]
