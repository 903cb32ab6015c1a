"""Chance that no opening of a building lets water in, with errors that openings share.

Pure: arrays in, numbers out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

DRAWS: Final = 10_000


@dataclass(frozen=True)
class Ways:
    """Ways of water into one building, one row for each opening and source.

    Parameters
    ----------
    opening : int array (ways,)
        Number of the opening, from 0.
    control_m : array (ways,)
        Lowest level of the source that lets water in; -inf = at any water.
    own_u_m : array (ways,)
        Doubt of that level that no other way shares, one standard deviation.
    shared_u_m : array (ways, parts)
        Doubt shared through a point, a visit, a datum or a cover; one column for each of them.
    water_m, water_u_m : array (ways,)
        Level of the source in the event, and its doubt; NaN level = it stays dry.
    water : int array (ways,)
        Number of the water surface: ways with one number share the error of its level.
    """

    opening: IntArray
    control_m: FloatArray
    own_u_m: FloatArray
    shared_u_m: FloatArray
    water_m: FloatArray
    water_u_m: FloatArray
    water: IntArray


def draw_wet(ways: Ways, openings_count: int, *, seed: int, draws: int = DRAWS) -> BoolArray:
    """Which openings are wet in each of many draws of the level errors.

    Parameters
    ----------
    ways : Ways
    openings_count : int
    seed : int
        The same seed gives the same draws.
    draws : int

    Returns
    -------
    bool array (draws, openings_count)
        Equal levels are wet.

    Notes
    -----
    Errors are normal. The own error belongs to the opening: all ways to it share it.

    References
    ----------
    Simulation of correlated normal errors by common factors; any text on Monte Carlo methods.
    """
    rng = np.random.default_rng(seed)
    own = rng.standard_normal((draws, openings_count))[:, ways.opening] * ways.own_u_m
    factors = rng.standard_normal((draws, ways.shared_u_m.shape[1]))
    surfaces = rng.standard_normal((draws, int(ways.water.max(initial=-1)) + 1))
    level = ways.control_m + own + factors @ ways.shared_u_m.T
    water = ways.water_m + surfaces[:, ways.water] * ways.water_u_m
    with np.errstate(invalid="ignore"):
        is_wet = level <= water  # a water that stays dry is NaN and wets nothing
    out = np.zeros((draws, openings_count), dtype=np.bool_)
    for way, opening in enumerate(ways.opening):
        out[:, opening] |= is_wet[:, way]
    return out


def chance_dry(is_wet: BoolArray, holds_frac: FloatArray) -> tuple[float, float]:
    """Chance that a building stays dry, and the standard error of that figure.

    Parameters
    ----------
    is_wet : bool array (draws, openings)
        See `draw_wet`.
    holds_frac : array (openings,)
        Chance that what closes an opening holds; 0 where it stands open.

    Returns
    -------
    chance_frac, error_frac

    Notes
    -----
    Seals fail independently of each other, so their part is worked out exactly in each draw:
    only the level errors are drawn.
    """
    draws = len(is_wet)
    in_draw = np.prod(np.where(is_wet, holds_frac, 1.0), axis=1)
    return float(in_draw.mean()), float(in_draw.std(ddof=1) / np.sqrt(draws))
