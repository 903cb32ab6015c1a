"""Plan positions: transformations that refuse to guess, grid letters, degrees-minutes-seconds.

Heights never pass through here: converting them needs a separation from the surveyor.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyproj
from convertbng import cutil

from pipeline.core.errors import UsageError
from pipeline.core.units import FloatArray

BRITISH_GRID: Final = 27700  # EPSG code of the British National Grid
_ETRS89: Final = 4258  # EPSG code of ETRS89 latitude and longitude
_WGS84: Final = 4326  # EPSG code of WGS 84 latitude and longitude
# WGS 84 and ETRS89 drift apart by 25 mm a year; EPSG:1149 states 1 m between the two.
_WGS84_ACCURACY_M: Final = 1.0
# OSTN15 is the definition of the grid, so that the shift itself adds nothing to ETRS89.
_EXACT_M: Final = 0.0


@dataclass(frozen=True)
class Moved:
    """Positions in the working system; NaN where the transformation does not reach.

    `accuracy_m` is the accuracy that the transformation states, 0 for none needed.
    """

    x_m: FloatArray
    y_m: FloatArray
    accuracy_m: float


@cache
def crs(text: str) -> pyproj.CRS:
    """The coordinate system of a text such as 'EPSG:27700'.

    Raises
    ------
    UsageError
        When the text names none.
    """
    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError:
        raise UsageError(
            f"{text!r} is no coordinate system that we know.", mend="Write it like EPSG:27700."
        ) from None


@cache
def is_geographic(text: str) -> bool:
    """Whether a coordinate system counts in degrees."""
    return bool(crs(text).is_geographic)


@cache
def _epsg(text: str) -> int | None:
    """EPSG code of a system whose definition is that of the code, else None."""
    return crs(text).to_epsg(min_confidence=100) or crs(text).to_2d().to_epsg()


def same_system(a: str, b: str) -> bool:
    """Whether two texts name one coordinate system (axis order aside)."""
    if a == b:
        return True
    code = _epsg(a)
    return (code is not None and code == _epsg(b)) or crs(a).equals(crs(b), ignore_axis_order=True)


def to_working(
    x: npt.ArrayLike, y: npt.ArrayLike, from_crs: str, working_crs: str, *, max_accuracy_m: float
) -> Moved:
    """Bring plan positions into the working coordinate system, or refuse.

    Parameters
    ----------
    x, y : array_like of float, shape (n,)
        Easting and northing (m), or longitude and latitude (degrees).
    from_crs, working_crs : str
        Coordinate systems, e.g. 'EPSG:4326'.
    max_accuracy_m : float
        Worst accuracy that the used operation may state (m).

    Returns
    -------
    Moved
        NaN where a place lies outside what the exact shift covers, or no operation is good enough.

    Notes
    -----
    Latitude and longitude reach the British grid, and leave it, by the exact shift grid; all else
    goes through PROJ with ballpark operations refused, and is kept only when the operation used
    states an accuracy of at least 0 and at most the limit (`Transformer.accuracy` is -1 for good
    ones too).

    References
    ----------
    Ordnance Survey, A guide to coordinate systems in Great Britain, section 5 and annex C.
    """
    xs = np.atleast_1d(np.asarray(x, dtype=np.float64))
    ys = np.atleast_1d(np.asarray(y, dtype=np.float64))
    if same_system(from_crs, working_crs):
        return Moved(xs.copy(), ys.copy(), 0.0)
    if _epsg(working_crs) == BRITISH_GRID and _epsg(from_crs) in {_WGS84, _ETRS89}:
        accuracy = _WGS84_ACCURACY_M if _epsg(from_crs) == _WGS84 else _EXACT_M
        if accuracy > max_accuracy_m:
            return _nowhere(xs)
        return Moved(*_exact(cutil.convert_bng, xs, ys), accuracy)
    if _epsg(from_crs) == BRITISH_GRID:
        lon, lat = _exact(cutil.convert_lonlat, xs, ys)
        if _epsg(working_crs) == _ETRS89:
            return Moved(lon, lat, _EXACT_M)
        return to_working(lon, lat, "EPSG:4258", working_crs, max_accuracy_m=max_accuracy_m)
    return _through_proj(xs, ys, from_crs, working_crs, max_accuracy_m)


def _nowhere(xs: FloatArray) -> Moved:
    lost = np.full(xs.shape, np.nan)
    return Moved(lost, lost.copy(), 0.0)


def _exact(convert: Any, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Call the exact shift for finite places only; the others stay NaN."""
    out_x, out_y = np.full(x.shape, np.nan), np.full(y.shape, np.nan)
    good = np.isfinite(x) & np.isfinite(y)
    if good.any():
        a, b = convert(x[good], y[good])
        out_x[good], out_y[good] = np.asarray(a), np.asarray(b)
    return out_x, out_y


@cache
def _transformer(from_crs: str, to_crs: str) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(
        crs(from_crs), crs(to_crs), always_xy=True, allow_ballpark=False
    )


def _through_proj(
    xs: FloatArray, ys: FloatArray, from_crs: str, to_crs: str, max_accuracy_m: float
) -> Moved:
    try:
        transformer = _transformer(from_crs, to_crs)
        out_x, out_y = transformer.transform(xs, ys)
    except pyproj.exceptions.ProjError:
        return _nowhere(xs)
    out_x, out_y = np.asarray(out_x, dtype=np.float64), np.asarray(out_y, dtype=np.float64)
    good = np.isfinite(out_x) & np.isfinite(out_y)
    if not good.any():
        return _nowhere(xs)
    accuracy = transformer.get_last_used_operation().accuracy
    if not 0 <= accuracy <= max_accuracy_m:
        return _nowhere(xs)
    return Moved(np.where(good, out_x, np.nan), np.where(good, out_y, np.nan), float(accuracy))


# ------------------------------------------------------------------ British grid letters

_LETTERS: Final = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # no I
_GRID_REF: Final = re.compile(r"([A-HJ-Z])([A-HJ-Z])\s*(\d+)(?:[\s,]+(\d+))?")
_HALF_MAX: Final = 5  # figures per axis: 1 gives 10 km, 5 give 1 m
# The national grid as defined: 0 to 700 km east, 0 to 1300 km north.
_GRID_EAST_M: Final = 700_000
_GRID_NORTH_M: Final = 1_300_000


@dataclass(frozen=True)
class GridSquare:
    """A grid reference: south-west corner and side of its square (m)."""

    easting_m: float
    northing_m: float
    size_m: float


class NoGridReference(ValueError):
    """The text is no grid reference: letters or figures cannot be read."""


class OutsideGrid(ValueError):
    """The letters are good, but give a place outside the national grid."""


def grid_square(text: str) -> GridSquare:
    """Read a British grid reference such as 'NU 12345 67890'.

    Parameters
    ----------
    text : str
        Two letters and an even number of figures (2 to 10), with or without spaces.

    Returns
    -------
    GridSquare
        The figures set the size: 10 figures 1 m, 8 figures 10 m, 6 figures 100 m.

    Raises
    ------
    NoGridReference
        Letters unreadable (there is no I), or an odd number of figures.
    OutsideGrid
        The letters lie outside the national grid.

    References
    ----------
    Ordnance Survey, A guide to coordinate systems in Great Britain, section 7: 500 km squares
    lettered from the north-west, each cut into 25 squares of 100 km lettered alike.
    """
    found = _GRID_REF.fullmatch(text.strip().upper())
    if not found:
        raise NoGridReference(text)
    first, second, a, b = found.groups()
    if b is None:
        if len(a) % 2:
            raise NoGridReference(text)
        half = len(a) // 2
        a, b = a[:half], a[half:]
    if len(a) != len(b) or not 1 <= len(a) <= _HALF_MAX:
        raise NoGridReference(text)
    big, small = _LETTERS.index(first), _LETTERS.index(second)
    # the false origin is the south-west corner of S: two squares east of A's, one above the last
    column = ((big % 5) - 2) * 5 + small % 5
    row = (3 - big // 5) * 5 + 4 - small // 5
    size = 10.0 ** (_HALF_MAX - len(a))
    easting = column * 100_000 + int(a) * size
    northing = row * 100_000 + int(b) * size
    if not (0 <= easting < _GRID_EAST_M and 0 <= northing < _GRID_NORTH_M):
        raise OutsideGrid(text)
    return GridSquare(easting, northing, size)


# ------------------------------------------------------------------ degrees, minutes, seconds

_DMS: Final = re.compile(
    r"([+-])?\s*(\d{1,3})\s*[°d:\s]\s*(\d{1,2}(?:\.\d+)?)\s*(?:['′’m:\s]\s*"
    r"(?:(\d{1,2}(?:\.\d+)?)\s*(?:\"|″|”|''|s)?)?)?\s*([NSEWnsew])?"
)
_DECIMAL_LETTER: Final = re.compile(r"(\d{1,3}(?:\.\d+)?)\s*°?\s*([NSEWnsew])")


def degrees_from_dms(text: str) -> float | None:
    """Degrees of a text such as 52°39′27.25″N, or None when it is none.

    Minutes and seconds must be below 60; S and W count negative.
    """
    text = text.strip()
    plain = _DECIMAL_LETTER.fullmatch(text)
    if plain:
        return float(plain[1]) * (-1.0 if plain[2] in "SWsw" else 1.0)
    found = _DMS.fullmatch(text)
    if not found:
        return None
    sign, degrees, minutes, seconds, letter = found.groups()
    m, s = float(minutes), float(seconds or 0.0)
    if m >= 60 or s >= 60:
        return None
    value = float(degrees) + m / 60.0 + s / 3600.0
    return -value if sign == "-" or ((letter or "") in "SWsw" and letter) else value


def ground_distance_m(lon_a: float, lat_a: float, lon_b: float, lat_b: float) -> float:
    """Distance on the WGS 84 ellipsoid between two places in degrees (m)."""
    return float(pyproj.Geod(ellps="WGS84").inv(lon_a, lat_a, lon_b, lat_b)[2])
