"""What a better survey of an opening is worth, and what a shift of a site's levels would change.

Pure: arrays in, arrays out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from pipeline.core import contract

FloatArray = npt.NDArray[np.float64]
_MM: Final = 1e-6
_RANK: Final = {contract.BELOW: 0, contract.CLOSE: 1, contract.ABOVE: 2}


@dataclass(frozen=True)
class Line:
    """What an opening has to clear, one element for each: policy line, water and doubt, freeboard (m).

    A NaN doubt of the water is not known.
    """

    policy_m: npt.ArrayLike
    water_m: npt.ArrayLike
    water_u_m: npt.ArrayLike
    freeboard_m: npt.ArrayLike


def chance_of_above(
    level_m: npt.ArrayLike, u_m: npt.ArrayLike, line: Line, *, new_u_m: float, k: float
) -> FloatArray:
    """Chance that a better survey of a level would find the opening above.

    Parameters
    ----------
    level_m, u_m : array_like
        Level as known now and its doubt, one standard deviation (m).
    line : Line
    new_u_m : float
        Doubt of the better survey (m).
    k : float
        One-sided limit in standard deviations.

    Returns
    -------
    array
        0 where the new survey is no better than the old one.

    Notes
    -----
    The new level is expected at N(level, u^2 - u_new^2). It must clear the policy line by k u_new
    and, where the freeboard is smaller than k times the doubt of the water, the water by k times
    both doubts. Where that doubt is not known nothing can clear.

    References
    ----------
    Preposterior analysis of a normal mean; any text on the value of information.
    """
    level, u = np.asarray(level_m, np.float64), np.asarray(u_m, np.float64)
    water_u = np.asarray(line.water_u_m, np.float64)
    needed = np.asarray(line.policy_m, np.float64) + k * new_u_m
    both = np.asarray(line.water_m, np.float64) + k * np.hypot(new_u_m, water_u)
    # comparisons with an unknown doubt are false: then the second test counts and cannot be met
    is_covered = np.asarray(line.freeboard_m, np.float64) >= k * water_u
    needed = np.where(is_covered, needed, np.fmax(needed, np.where(np.isnan(both), np.inf, both)))
    gained = u**2 - new_u_m**2
    with np.errstate(invalid="ignore", divide="ignore"):
        chance = ndtr((level - needed) / np.sqrt(gained))
    return np.where(gained > 0.0, chance, 0.0)


def shifted_classes(
    opening: npt.NDArray[np.int64],
    margin_mm: FloatArray,
    limit_mm: FloatArray,
    *,
    now: npt.NDArray[np.object_],
    may_clear: npt.NDArray[np.bool_],
    shift_mm: float,
) -> npt.NDArray[np.object_]:
    """Class of each opening if all levels of its site were wrong by one amount.

    Parameters
    ----------
    opening : int array (ways,)
        Number of the opening of each way that a source has to it.
    margin_mm, limit_mm : array (ways,)
        Margin of the way, -inf where it is open at any water, NaN where the source stays dry; and
        the limit of its doubt.
    now : object array (openings,)
        Class as it is.
    may_clear : bool array (openings,)
        Levels with pedigree and a proved way.
    shift_mm : float
        Positive: all levels stand higher than surveyed.

    Returns
    -------
    object array (openings,)

    Notes
    -----
    An opening without level or flood level stays so. One that is not above now becomes it only
    where it may clear; whether a step on the way lacks pedigree is then still to be looked at.
    """
    if shift_mm == 0.0:
        return now.copy()
    # what is close although its margins would clear it is held by something else than its level
    plain = _by_margin(opening, margin_mm, limit_mm, len(now))
    may = may_clear & ~((now == contract.CLOSE) & (plain == contract.ABOVE))
    out = _by_margin(opening, margin_mm + shift_mm, limit_mm, len(now))
    out[(out == contract.ABOVE) & ~may & (now != contract.ABOVE)] = contract.CLOSE
    for i, (before, after) in enumerate(zip(now, out, strict=True)):
        # without level or flood level nothing can be told; a lower site makes nothing drier
        if before not in _RANK or (_RANK[after] - _RANK[before]) * shift_mm < 0.0:
            out[i] = before
    return out


def _by_margin(
    opening: npt.NDArray[np.int64], margin_mm: FloatArray, limit_mm: FloatArray, count: int
) -> npt.NDArray[np.object_]:
    """Class by margins alone: equal is wet."""
    over, under = np.full(count, np.inf), np.full(count, np.inf)
    known = ~np.isnan(margin_mm)
    np.minimum.at(over, opening[known], (margin_mm + limit_mm)[known])
    np.minimum.at(under, opening[known], (margin_mm - limit_mm)[known])
    out = np.full(count, contract.ABOVE, dtype=object)
    out[under <= _MM] = contract.CLOSE
    out[over <= _MM] = contract.BELOW
    return out
