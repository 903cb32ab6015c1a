"""Expected annual loss and present value.

Two forms of the annual loss: the area under a given damage table, and the form of a building that
is dry until water comes in at its onset.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt

from pipeline.core.units import FloatArray

Tail = Literal["none", "flat"]


def _sorted_events(chances: npt.ArrayLike, losses: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    chance, loss = np.asarray(chances, float), np.asarray(losses, float)
    if chance.ndim != 1 or chance.size == 0 or loss.shape != chance.shape:
        raise ValueError("chances must be one row of events and losses one value for each")
    if not np.all((chance > 0.0) & (chance <= 1.0)):
        raise ValueError("every chance must be above 0 and at most 1")
    order = np.argsort(-chance, kind="stable")
    if np.any(np.diff(chance[order]) == 0.0):
        raise ValueError("every chance may stand only once in a damage table")
    return chance[order], loss[order]


def expected_annual_loss(
    aeps: npt.ArrayLike,
    losses: npt.ArrayLike,
    *,
    tail: Tail = "flat",
    zero_at_aep: float | None = None,
    onset_aep: float | None = None,
) -> float:
    """Expected loss a year, of a damage table or of a building that is dry until its onset.

    Parameters
    ----------
    aeps : array_like of float, shape (n,)
        Annual exceedance probabilities of the events, above 0 and at most 1, in any order.
    losses : array_like of float, shape (n,)
        Loss in each event (any one money unit); with an onset: the loss once water is inside.
    tail : {'none', 'flat'}
        Beyond the rarest event: nothing, or the loss of the rarest event.
    zero_at_aep : float, optional
        Lower end of a damage table: the chance at which the loss is zero; without it nothing is
        counted more frequent than the most frequent event.
    onset_aep : float, optional
        Chance a year that water comes in, 0 to 1; makes it the form of a building.

    Returns
    -------
    float
        Loss a year, in the money unit of `losses`; NaN where the onset is NaN (unknown).

    Raises
    ------
    ValueError
        When a chance is out of range or double, `zero_at_aep` lies among the events, or both
        forms are asked for.

    Notes
    -----
    Damage table: trapezoids in chance. Building: zero above the onset chance, a step to the loss
    at onset, linear in chance between events beyond (house rule); an onset more frequent than
    every event takes the loss of the most frequent one, so that one loss for every event gives
    onset chance times loss with a flat tail.

    References
    ----------
    Chow, Maidment and Mays, Applied Hydrology (1988), example 13.2.1 (damage table).
    """
    aep, loss = _sorted_events(aeps, losses)
    if onset_aep is not None:
        if zero_at_aep is not None:
            raise ValueError("a chance of zero loss belongs to a damage table, not to an onset")
        return _from_onset(aep[::-1], loss[::-1], onset_aep, tail)
    if zero_at_aep is not None:
        if not aep[0] < zero_at_aep <= 1.0:
            raise ValueError("the chance of zero loss must exceed that of every event")
        aep, loss = np.concatenate(([zero_at_aep], aep)), np.concatenate(([0.0], loss))
    area = float((0.5 * (loss[1:] + loss[:-1]) * -np.diff(aep)).sum())
    return area + float(aep[-1] * loss[-1]) if tail == "flat" else area


def _from_onset(aep: FloatArray, loss: FloatArray, onset_aep: float, tail: Tail) -> float:
    """Loss a year of a building; events stand from the rarest to the most frequent."""
    if math.isnan(onset_aep):
        return math.nan
    if not 0.0 <= onset_aep <= 1.0:
        raise ValueError("an onset chance must lie between 0 and 1")
    in_tail = min(onset_aep, float(aep[0])) * float(loss[0]) if tail == "flat" else 0.0
    if onset_aep <= aep[0]:
        return in_tail
    beyond = aep < onset_aep
    at = np.append(aep[beyond], onset_aep)
    cost = np.append(loss[beyond], np.interp(onset_aep, aep, loss))
    return in_tail + float((0.5 * (cost[1:] + cost[:-1]) * np.diff(at)).sum())


def after_sealing(
    loss: float,
    before_per_year: float,
    next_per_year: float,
    reliability_frac: float,
    seals_count: int,
) -> float:
    """Loss a year that stays after sealing, when each seal holds with a stated reliability.

    Parameters
    ----------
    loss : float
        Loss once water is inside (any one money unit; 1 gives the chance that stays).
    before_per_year, next_per_year : float
        Chance a year that water comes in: as found, and by the next opening that is left.
    reliability_frac : float
        Chance that one seal holds when the water comes (0-1).
    seals_count : int
        Seals that must all hold.

    Returns
    -------
    float
        Loss a year: loss x [next + (before - next) x (1 - reliability ^ seals)].

    Notes
    -----
    Seals are taken to fail independently (methods 6; house rule).
    """
    any_fails_frac = 1.0 - reliability_frac**seals_count
    return loss * (next_per_year + (before_per_year - next_per_year) * any_fails_frac)


def discount_factors(last_year: int, steps: Sequence[tuple[int, float]]) -> FloatArray:
    """Discount factors at the end of the years 1 to `last_year` (year 0 has factor 1).

    Parameters
    ----------
    last_year : int
        Last year after the works, 0 or more.
    steps : sequence of (int, float)
        From which year on a rate applies, and the rate (fraction a year). Years before the first
        step take the first rate.

    Returns
    -------
    numpy.ndarray of float, shape (last_year,)
        Factors of year 1, 2 …

    Raises
    ------
    ValueError
        When the schedule is empty or two steps begin in the same year.

    References
    ----------
    HM Treasury, Green Book supplementary guidance: discounting, annex A: the factor of the first
    year of a new rate is that of the year before divided by one plus the new rate.
    """
    ordered = sorted(steps)
    begins = np.array([year for year, _ in ordered], dtype=np.int64)
    if begins.size == 0 or np.any(np.diff(begins) == 0):
        raise ValueError("a discount schedule needs at least one step, each from its own year")
    years = np.arange(1, last_year + 1)
    step = np.maximum(np.searchsorted(begins, years, side="right") - 1, 0)
    rates = np.array([rate for _, rate in ordered], dtype=np.float64)[step]
    factors: FloatArray = 1.0 / np.cumprod(1.0 + rates)
    return factors


def present_value(annual: float, life_years: int, steps: Sequence[tuple[int, float]]) -> float:
    """Present value of an equal yearly benefit in the years 1 to `life_years` after the works.

    Parameters
    ----------
    annual : float
        Benefit a year, in any one money unit.
    life_years : int
        Years that the benefit lasts.
    steps : sequence of (int, float)
        Discount schedule, as in `discount_factors`.

    Returns
    -------
    float
        Value in the year of the works, which is year 0, not discounted and without benefit.

    Raises
    ------
    ValueError
        As `discount_factors`.
    """
    return annual * float(discount_factors(life_years, steps).sum())
