"""Level-chance curves: how often water reaches a level, from a few modelled events.

Between two events the level is linear in the logarithm of the annual chance. Beyond them nothing
is invented: below the most frequent event the answer is "more often than", above the rarest
"rarer than".

References
----------
Linear interpolation of level against log chance is common practice in flood studies, no source.

"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

MORE_OFTEN = "more often than"
RARER = "rarer than"


# Equal is wet and levels are whole millimetres: water of a dry event stands at least this far
# under the ground that it does not reach.
_UNDER_DRY_GROUND_M = 0.001


def monotone(levels_m: FloatArray, aeps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Order events from frequent to rare and make sure that a rarer one is never lower.

    Parameters
    ----------
    levels_m, aeps : numpy.ndarray of float, shape (events,)
        Level (m) and annual chance of each event.

    Returns
    -------
    levels_m, aeps : numpy.ndarray of float, shape (events,)

    """
    order = np.argsort(-aeps, kind="stable")
    return np.maximum.accumulate(levels_m[order]), aeps[order]


def chance_of_level(
    levels_m: FloatArray,
    aeps: FloatArray,
    wanted_m: FloatArray,
    *,
    is_dry: npt.NDArray[np.bool_] | None = None,
) -> tuple[FloatArray, npt.NDArray[np.str_]]:
    """Annual chance that water stands at or above a level.

    Parameters
    ----------
    levels_m, aeps : numpy.ndarray of float, shape (events,)
        The curve.
    wanted_m : numpy.ndarray of float, any shape
        Levels asked for (m).
    is_dry : numpy.ndarray of bool, shape (events,), optional
        The event stays below its level (the ground or cover there), which is only a bound; the
        chance between it and a wet event is then an upper estimate.

    Returns
    -------
    chance : numpy.ndarray of float, same shape as wanted_m
        Annual chance; with a bound, the chance of the last event on that side.
    bound : numpy.ndarray of str, same shape
        '', 'more often than' or 'rarer than'.

    Raises
    ------
    ValueError
        When the curve has no events.

    """
    if levels_m.size == 0:
        raise ValueError("a level-chance curve needs at least one event")
    if is_dry is not None:
        levels_m = _under_ground(levels_m, aeps, is_dry)
    level, aep = monotone(levels_m, aeps)
    wanted = np.asarray(wanted_m, dtype=np.float64)
    often, rare = wanted < level[0], wanted > level[-1]
    # equal levels at several events: the most frequent of them is the answer
    first = np.concatenate([[True], np.diff(level) > 0])
    chance = np.exp(np.interp(wanted, level[first], np.log(aep[first])))
    chance = np.where(often, aep[0], np.where(rare, aep[-1], chance))
    bound = np.where(often, MORE_OFTEN, np.where(rare, RARER, ""))
    return chance, bound


def _under_ground(
    levels_m: FloatArray, aeps: FloatArray, is_dry: npt.NDArray[np.bool_]
) -> FloatArray:
    """Bounds of dry events: just under the ground, and never above the water of a rarer event."""
    order = np.argsort(aeps, kind="stable")  # rarest first
    level = np.where(is_dry, levels_m - _UNDER_DRY_GROUND_M, levels_m)[order]
    cap = np.minimum.accumulate(np.where(is_dry[order], np.inf, level))
    out = levels_m.copy()
    out[order] = np.where(is_dry[order], np.minimum(level, cap), level)
    return out


def level_at_chance(levels_m: FloatArray, aeps: FloatArray, wanted_aep: float) -> float:
    """Level of an event of the wanted chance; NaN beyond the modelled events."""
    if levels_m.size == 0:
        return float("nan")
    level, aep = monotone(levels_m, aeps)
    if not aep[-1] * (1 - 1e-9) <= wanted_aep <= aep[0] * (1 + 1e-9):
        return float("nan")
    return float(np.interp(-np.log(wanted_aep), -np.log(aep), level))
