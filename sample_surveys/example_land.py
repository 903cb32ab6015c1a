"""The invented country of the example: a river with pools, a flood plain, a coast, two islands.

Everything is a closed formula of the place, so that water levels are exact where they should be:
each pool of the river has one level per event, typed in `POOL_LEVELS`, and passes over a weir
into the next. The country lies in open sea, on purpose: no real place is meant.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

CELL_M: Final = 20.0
WEST_M, EAST_M = 490_000.0, 510_000.0
SOUTH_M, NORTH_M = 640_000.0, 655_000.0
DATUM: Final = "Merrow Datum 2015"

AEPS: Final = (0.1, 0.0333, 0.01, 0.005, 0.001)
# one row per pool, upstream first; one level (m) per chance of AEPS
POOL_LEVELS: Final = (
    (20.70, 21.05, 21.40, 21.56, 21.95),
    (17.10, 17.50, 17.90, 18.04, 18.45),
    (13.80, 14.22, 14.60, 14.76, 15.12),
    (10.50, 10.86, 11.20, 11.34, 11.70),
    (7.05, 7.44, 7.80, 7.95, 8.32),
    (3.95, 4.28, 4.60, 4.74, 5.10),
)
WEIRS_E_M: Final = (492_500.0, 495_200.0, 497_900.0, 500_600.0, 503_300.0)
WEIR_HALF_LENGTH_M: Final = 350.0
SEA_LEVELS: Final = (2.95, 3.18, 3.42, 3.54, 3.88)
DESIGN: Final = 2  # place of the 1 % event in AEPS: the valley floor follows its levels

MODEL_WEST_M, MODEL_EAST_M = 491_500.0, 505_300.0
MODEL_HALF_WIDTH_M: Final = 1_900.0
COAST_BOX: Final = (506_200.0, 640_200.0, 509_900.0, 654_800.0)
BED_GROUND_M: Final = 0.6  # ground below this is sea and has no data


@dataclass(frozen=True)
class Island:
    """An elliptic dome; its shore line of the 1 % sea level is the ellipse of the semi-axes."""

    x_m: float
    y_m: float
    half_x_m: float
    half_y_m: float
    rise_m: float

    def ground(self, x: Array, y: Array) -> Array:
        """Ground (m): the 1 % sea level on the ellipse, rising to the middle."""
        rho = np.hypot((x - self.x_m) / self.half_x_m, (y - self.y_m) / self.half_y_m)
        return SEA_LEVELS[DESIGN] + (1.0 - rho) * self.rise_m

    def contour(self, level_m: float, corners: int = 72) -> list[tuple[float, float]]:
        """Corners of the contour line of a level, to 1 cm."""
        rho = 1.0 - (level_m - SEA_LEVELS[DESIGN]) / self.rise_m
        turn = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
        xs = self.x_m + rho * self.half_x_m * np.cos(turn)
        ys = self.y_m + rho * self.half_y_m * np.sin(turn)
        return [(round(float(x), 2), round(float(y), 2)) for x, y in zip(xs, ys, strict=True)]


ISLANDS: Final = {
    "Gannet": Island(508_500.0, 648_900.0, 900.0, 680.0, 14.0),
    "Tern": Island(508_200.0, 643_600.0, 800.0, 620.0, 12.0),
}


def river_y(x: Array) -> Array:
    """Northing of the river's middle line at an easting (m)."""
    t = x - WEST_M
    return 647_600.0 + 900.0 * np.sin(t / 2_600.0) + 250.0 * np.sin(t / 1_100.0 + 1.0)


def river_slope(x: Array) -> Array:
    """Slope dy/dx of the middle line (derivative of `river_y`)."""
    t = x - WEST_M
    return 900.0 / 2_600.0 * np.cos(t / 2_600.0) + 250.0 / 1_100.0 * np.cos(t / 1_100.0 + 1.0)


def from_river(x: Array, y: Array) -> Array:
    """Distance from the middle line (m), positive on the north side."""
    return (y - river_y(x)) / np.sqrt(1.0 + river_slope(x) ** 2)


def _step(t: Array) -> Array:
    t = np.clip(t, 0.0, 1.0)
    return t * t * t * (t * (6.0 * t - 15.0) + 10.0)


def river_level(x: Array, event: int) -> Array:
    """Water level of the river (m) at an easting: flat pools, smooth over the weirs."""
    level = np.full_like(x, POOL_LEVELS[0][event])
    for weir, (above, below) in zip(WEIRS_E_M, pairwise(POOL_LEVELS), strict=True):
        part = _step((x - weir + WEIR_HALF_LENGTH_M) / (2.0 * WEIR_HALF_LENGTH_M))
        level = level + part * (below[event] - above[event])
    return level


def valley_height(x: Array, d: Array) -> Array:
    """Height of the ground (m) above the 1 % level by distance from the river (m)."""
    side = np.abs(d) + 40.0 * np.sin(x / 900.0 + np.sign(d))
    floor = -1.6 + 0.6 * np.clip((side - 60.0) / 620.0, 0.0, 1.0)
    bank = np.clip(side - 680.0, 0.0, 300.0) / 50.0
    hill = np.clip(side - 980.0, 0.0, None) / 120.0
    knolls = (
        np.clip((side - 1_200.0) / 800.0, 0.0, 1.0) * 5.0 * np.sin(x / 830.0) * np.sin(d / 610.0)
    )
    channel = -2.6 * np.clip((60.0 - side) / 30.0, 0.0, 1.0)
    return floor + bank + hill + knolls + channel


def mainland(x: Array, y: Array) -> Array:
    """Ground of the mainland (m); below `BED_GROUND_M` it is sea."""
    inland = river_level(x, DESIGN) + valley_height(x, from_river(x, y))
    shore = 505_500.0 + 260.0 * np.sin(y / 1_700.0) - x
    return np.minimum(inland, 1.0 + 0.03 * shore)


def ground(x: Array, y: Array) -> Array:
    """Ground of the whole country (m); NaN where the sea is."""
    level = mainland(x, y)
    for island in ISLANDS.values():
        level = np.maximum(level, island.ground(x, y))
    return np.where(level < BED_GROUND_M, np.nan, level)


def groundwater(x: Array, y: Array, springs: list[tuple[float, float]]) -> Array:
    """Water table (m): 3 m under the 1 % level in the valley, lower under hills, high at springs."""
    d = from_river(x, y)
    table = river_level(x, DESIGN) - 3.0 + np.clip(np.abs(d) - 900.0, 0.0, None) / 200.0
    table = np.where(x > COAST_BOX[0], SEA_LEVELS[DESIGN] - 2.6, table)
    for east, north in springs:
        table = table + 2.3 * np.exp(-((x - east) ** 2 + (y - north) ** 2) / (2.0 * 180.0**2))
    return table


def cell_centres(cell_m: float) -> tuple[Array, Array]:
    """Eastings and northings of the middles of all cells, rows from the north."""
    xs = np.arange(WEST_M + cell_m / 2.0, EAST_M, cell_m)
    ys = np.arange(NORTH_M - cell_m / 2.0, SOUTH_M, -cell_m)
    x, y = np.meshgrid(xs, ys)
    return x, y


def in_model(x: Array, y: Array) -> npt.NDArray[np.bool_]:
    """Whether a place lies in the area that the river model covers."""
    return (
        (x >= MODEL_WEST_M) & (x <= MODEL_EAST_M) & (np.abs(y - river_y(x)) <= MODEL_HALF_WIDTH_M)
    )


def model_outline(step_m: float = 200.0) -> list[tuple[float, float]]:
    """Corners of the river model's outline, north side first, to 1 cm."""
    xs = np.arange(MODEL_WEST_M, MODEL_EAST_M + step_m / 2.0, step_m)
    ys = river_y(xs)
    north = [
        (float(x), round(float(y) + MODEL_HALF_WIDTH_M, 2)) for x, y in zip(xs, ys, strict=True)
    ]
    south = [
        (float(x), round(float(y) - MODEL_HALF_WIDTH_M, 2)) for x, y in zip(xs, ys, strict=True)
    ]
    return north + south[::-1]


def river_points(step_m: float = 250.0) -> list[tuple[float, float]]:
    """The middle line of the river as corners, west to east, to 1 cm."""
    xs = np.arange(WEST_M, 506_000.0 + step_m / 2.0, step_m)
    return [(float(x), round(float(y), 2)) for x, y in zip(xs, river_y(xs), strict=True)]
