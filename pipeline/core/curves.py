"""Level-chance curves: how often water reaches a level, and how high it stands at a chance.

Monotone; the level is linear in the logarithm of the chance between events (common practice in
flood studies, no source). Nothing is clamped silently: beyond the events the answer carries a word
that says so.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from pipeline.core.units import FloatArray

TextArray = npt.NDArray[np.str_]

EXACT: Final = ""
MORE_OFTEN: Final = "more often than"
RARER: Final = "rarer than"
AT_MOST: Final = "at most"
AT_LEAST: Final = "at least"

# Equal is wet and levels are whole millimetres, so water of a dry event stands at most this
# far under the ground that it does not reach.
_UNDER_DRY_GROUND_M: Final = 0.001
_NOISE_M: Final = 1e-9


def monotone_curve(
    levels_m: npt.ArrayLike, aeps: npt.ArrayLike, is_dry: npt.ArrayLike | None = None
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Bring the events of one place to a curve that never falls towards rarer events.

    Parameters
    ----------
    levels_m : array_like of float, shape (n,)
        Water level of each event (m); for a dry event the ground or cover there; NaN = unknown.
    aeps : array_like of float, shape (n,)
        Annual exceedance probability of each event, above 0 and at most 1 (1/a).
    is_dry : array_like of bool, shape (n,), optional
        The event stays below `levels_m`, which is then only an upper bound.

    Returns
    -------
    levels_m : numpy.ndarray of float, shape (m,)
        Levels from the most frequent event to the rarest, never falling.
    aeps : numpy.ndarray of float, shape (m,)
        Their chances, falling, each once.
    is_bound : numpy.ndarray of bool, shape (m,)
        The level is only an upper bound (dry event).

    Raises
    ------
    ValueError
        When a chance is not above 0 and at most 1 (marks such as -1 and -2 are no chances).

    Notes
    -----
    Unknown levels drop out. Several levels at one chance: the highest. A rarer event that stands
    lower is lifted to the more frequent one (the higher water is taken, house rule). The bound of
    a dry event is never above the level of a rarer one.
    """
    level, chance = (
        np.atleast_1d(np.asarray(levels_m, float)),
        np.atleast_1d(np.asarray(aeps, float)),
    )
    dry = np.zeros(level.shape, bool) if is_dry is None else np.atleast_1d(np.asarray(is_dry, bool))
    known = ~np.isnan(level)
    level, chance, dry = level[known], chance[known], dry[known]
    if not np.all((chance > 0.0) & (chance <= 1.0)):
        raise ValueError("every chance of a curve must be above 0 and at most 1")
    unique = np.unique(chance)[::-1]
    wet_m = np.full(unique.shape, -np.inf)
    bound_m = np.full(unique.shape, np.inf)
    place = np.searchsorted(-unique, -chance)
    np.maximum.at(wet_m, place[~dry], level[~dry])
    np.minimum.at(bound_m, place[dry], level[dry] - _UNDER_DRY_GROUND_M)
    is_bound = np.isneginf(wet_m)
    wet_m = np.maximum.accumulate(wet_m)
    rarer_m = np.minimum.accumulate(np.where(is_bound, bound_m, wet_m)[::-1])[::-1]
    out = np.maximum.accumulate(np.where(is_bound, rarer_m, wet_m))
    return out, unique, is_bound


def chance_of_level(
    levels_m: npt.ArrayLike,
    aeps: npt.ArrayLike,
    wanted_m: npt.ArrayLike,
    *,
    is_dry: npt.ArrayLike | None = None,
) -> tuple[FloatArray, TextArray]:
    """Chance a year that the water reaches a level (equal counts as reached).

    Parameters
    ----------
    levels_m, aeps, is_dry
        The events of one place, as in `monotone_curve`.
    wanted_m : array_like of float, any shape
        Levels asked for (m).

    Returns
    -------
    chance : numpy.ndarray of float, shape of `wanted_m`
        Annual chance; NaN where no event or no wanted level is known.
    bound : numpy.ndarray of str, same shape
        '' (the chance itself), 'more often than' (the level lies under the most frequent event)
        or 'rarer than' (above the rarest event): the chance is then that event's.

    Notes
    -----
    Between a dry event and a wet one the chance is an upper estimate, since the dry event's level
    is only known to be lower than the ground.
    """
    wanted = np.asarray(wanted_m, float)
    level, chance, _ = monotone_curve(levels_m, aeps, is_dry)
    if level.size == 0:
        return np.full(wanted.shape, np.nan), np.full(wanted.shape, EXACT, dtype="<U15")
    first = np.searchsorted(level, wanted - _NOISE_M, side="left")
    right = np.clip(first, 0, level.size - 1)
    left = np.clip(first - 1, 0, level.size - 1)
    step = level[right] - level[left]
    share = np.divide(wanted - level[left], step, out=np.ones(wanted.shape), where=step > 0.0)
    share = np.clip(share, 0.0, 1.0)
    between = np.exp((1.0 - share) * np.log(chance[left]) + share * np.log(chance[right]))
    out = np.where(first == 0, chance[0], np.where(first == level.size, chance[-1], between))
    is_under = (first == 0) & (wanted < level[0] - _NOISE_M)
    bound = np.where(is_under, MORE_OFTEN, np.where(first == level.size, RARER, EXACT))
    unknown = np.isnan(wanted)
    return np.where(unknown, np.nan, out), np.where(unknown, EXACT, bound)


def level_at_chance(
    levels_m: npt.ArrayLike,
    aeps: npt.ArrayLike,
    wanted_per_year: npt.ArrayLike,
    *,
    is_dry: npt.ArrayLike | None = None,
) -> tuple[FloatArray, TextArray]:
    """Water level at an annual chance.

    Parameters
    ----------
    levels_m, aeps, is_dry
        The events of one place, as in `monotone_curve`.
    wanted_per_year : array_like of float, any shape
        Annual chances asked for.

    Returns
    -------
    level_m : numpy.ndarray of float, shape of `wanted_per_year`
        Level (m); NaN where no event is known, or the chance lies beyond the events on a side
        where nothing bounds it.
    bound : numpy.ndarray of str, same shape
        '' (the level itself), 'at most' (a dry event or a more frequent chance bounds it) or
        'at least' (rarer than the rarest event).
    """
    wanted = np.asarray(wanted_per_year, float)
    level, chance, dry = monotone_curve(levels_m, aeps, is_dry)
    if level.size == 0:
        return np.full(wanted.shape, np.nan), np.full(wanted.shape, EXACT, dtype="<U8")
    depth = -np.log(chance)
    out = np.interp(-np.log(wanted), depth, level)
    right = np.clip(np.searchsorted(depth, -np.log(wanted) - _NOISE_M), 0, level.size - 1)
    left = np.clip(right - 1, 0, level.size - 1)
    exact = np.isclose(chance[right], wanted, rtol=1e-9)
    bounded = np.where(exact, dry[right], dry[right] | dry[left])
    bound = np.where(bounded, AT_MOST, EXACT)
    bound = np.where(wanted > chance[0] * (1 + 1e-9), AT_MOST, bound)
    bound = np.where(wanted < chance[-1] * (1 - 1e-9), AT_LEAST, bound)
    return out, bound


def encounter_frac(chance_per_year: npt.ArrayLike, years: int) -> FloatArray:
    """Chance that an event comes at least once in a number of years.

    Parameters
    ----------
    chance_per_year : array_like of float, any shape
        Annual exceedance probability.
    years : int
        Length of the time looked at, such as the life of a seal.

    Returns
    -------
    numpy.ndarray of float, shape of `chance_per_year`
        Fraction 0 to 1; NaN where the chance is unknown.

    Notes
    -----
    1 - (1 - p)^n: the years are taken as independent and alike, so a changing climate is not in
    it. Trade: encounter probability, risk over the design life.
    """
    chance = np.asarray(chance_per_year, float)
    return np.asarray(-np.expm1(years * np.log1p(-np.minimum(chance, 1.0 - 1e-15))))
