"""Chance that water gets into a building, and the ladder of nested sets that lowers it.

Pure: arrays in, arrays out. Rows are openings, columns are independent mechanisms.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

# Two chances that differ by less than this are one gate: float noise, far below any flood model.
SAME_CHANCE = 1e-12


def combined_chance(chance_per_year: FloatArray, is_open: BoolArray) -> float:
    """Chance a year that water comes in by any of the open openings.

    Parameters
    ----------
    chance_per_year : array (openings, mechanisms), 0-1
        Chance that a mechanism reaches the let-in level of an opening; NaN = unknown.
    is_open : array (openings,) of bool
        Openings that stand open.

    Returns
    -------
    float
        0 where nothing known lets water in.

    Notes
    -----
    Within a mechanism the highest chance over the openings (they are wet in the same events);
    independent mechanisms combine as 1 - product(1 - p). Unknown chances are left out here and
    must be told beside the figure.
    """
    if not is_open.any() or chance_per_year.size == 0:
        return 0.0
    known = np.nan_to_num(chance_per_year[is_open], nan=0.0)
    return float(1.0 - np.prod(1.0 - known.max(axis=0)))


def own_chance(chance_per_year: FloatArray) -> FloatArray:
    """Chance of each opening by itself: 1 - product(1 - p) over the mechanisms that are known.

    NaN only where every mechanism of the opening is unknown.
    """
    known = np.nan_to_num(chance_per_year, nan=0.0)
    out = 1.0 - np.prod(1.0 - known, axis=1)
    return np.where(np.isnan(chance_per_year).all(axis=1), np.nan, out)


def deciding_opening(
    chance_per_year: FloatArray, level_m: FloatArray, is_open: BoolArray
) -> int | None:
    """Row of the open opening that decides: highest own chance, then lowest let-in level, then row.

    None where no open opening has a known chance above zero.
    """
    own = np.where(is_open, np.nan_to_num(own_chance(chance_per_year), nan=0.0), 0.0)
    if own.size == 0 or own.max() <= 0.0:
        return None
    level = np.where(np.isnan(level_m), np.inf, level_m)
    tied = np.flatnonzero(own >= own.max() - SAME_CHANCE)
    return int(tied[np.lexsort((tied, level[tied]))[0]])


def ladder(
    chance_per_year: FloatArray,
    is_candidate: BoolArray,
    is_unknown: BoolArray,
) -> list[IntArray]:
    """Nested sets of openings to close, in order of chance.

    Parameters
    ----------
    chance_per_year : array (openings, mechanisms)
        See `combined_chance`.
    is_candidate : array (openings,) of bool
        Duct ends and bare entries that a seal can close and that are not `above`.
    is_unknown : array (openings,) of bool
        Openings of unknown chance; the candidates among them are in the first set.

    Returns
    -------
    list of arrays
        Row numbers of each set, every one holding the one before. Each set but the first lowers
        the chance; the first does so too unless no set does. Empty when there is no candidate.

    Notes
    -----
    Candidates are closed from the most frequent down. A closing after which the chance is as
    before is merged into the next; what is left at the end, when a gate that no seal can close
    decides, forms no set. Where no closing lowers the chance, one set holds all candidates.
    """
    rows = np.flatnonzero(is_candidate)
    if rows.size == 0:
        return []
    first = rows[is_unknown[rows]]
    known = rows[~is_unknown[rows]]
    own = np.nan_to_num(own_chance(chance_per_year), nan=0.0)
    order = known[np.lexsort((known, -own[known]))]
    is_open = np.ones(len(is_candidate), dtype=np.bool_)
    is_open[first] = False
    reached = combined_chance(chance_per_year, np.ones_like(is_open))
    closed: list[int] = [int(r) for r in first]
    sets: list[IntArray] = []
    for group in _groups(order, own):
        closed += [int(r) for r in group]
        is_open[group] = False
        now = combined_chance(chance_per_year, is_open)
        if now < reached - SAME_CHANCE:
            reached = now
            sets.append(np.sort(np.array(closed, dtype=np.int64)))
    if sets:
        return sets
    return [np.sort(rows)]


def _groups(order: IntArray, own: FloatArray) -> list[IntArray]:
    """Runs of equal chance in an order of falling chance."""
    if order.size == 0:
        return []
    cuts = np.flatnonzero(np.diff(own[order]) < -SAME_CHANCE) + 1
    return [np.asarray(g, dtype=np.int64) for g in np.split(order, cuts)]
