"""Expected annual loss and present value.

Two forms of the annual loss: the area under a given damage table, and the form of a building that
is dry until water comes in at its onset.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt

from pipeline.core.units import FloatArray

Tail = Literal["none", "flat"]


def _sorted_events(chances: npt.ArrayLike, losses: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    chance, loss = np.asarray(chances, float), np.asarray(losses, float)
    if chance.ndim != 1 or chance.size == 0 or loss.shape[-1:] != chance.shape:
        raise ValueError("chances must be one row of events and losses one value for each")
    if not np.all((chance > 0.0) & (chance <= 1.0)):
        raise ValueError("every chance must be above 0 and at most 1")
    order = np.argsort(-chance, kind="stable")
    if np.any(np.diff(chance[order]) == 0.0):
        raise ValueError("every chance may stand only once in a damage table")
    return chance[order], loss[..., order]


def table_annual_loss(
    chances: npt.ArrayLike,
    losses: npt.ArrayLike,
    *,
    tail: Tail,
    zero_at_per_year: float | None = None,
) -> FloatArray:
    """Expected annual loss of a damage table: trapezoids in chance.

    Parameters
    ----------
    chances : array_like of float, shape (n,)
        Annual exceedance probabilities of the events, above 0 and at most 1, in any order.
    losses : array_like of float, shape (..., n)
        Loss in each event, in any one money unit.
    tail : {'none', 'flat'}
        Beyond the rarest event: nothing, or the loss of the rarest event.
    zero_at_per_year : float, optional
        Lower end: the chance at which the loss is zero; without it nothing is counted more
        frequent than the most frequent event.

    Returns
    -------
    numpy.ndarray of float, shape (...)
        Expected loss a year, in the same money unit.

    Raises
    ------
    ValueError
        When chances are out of range or double, or `zero_at_per_year` lies among the events.

    References
    ----------
    Chow, Maidment and Mays, Applied Hydrology (1988), example 13.2.1.
    """
    chance, loss = _sorted_events(chances, losses)
    if zero_at_per_year is not None:
        if not chance[0] < zero_at_per_year <= 1.0:
            raise ValueError("the chance of zero loss must exceed that of every event")
        chance = np.concatenate(([zero_at_per_year], chance))
        loss = np.concatenate((np.zeros((*loss.shape[:-1], 1)), loss), axis=-1)
    area = (0.5 * (loss[..., 1:] + loss[..., :-1]) * -np.diff(chance)).sum(axis=-1)
    if tail == "flat":
        area = area + chance[-1] * loss[..., -1]
    return np.asarray(area, float)


def building_annual_loss(
    onset_per_year: npt.ArrayLike,
    chances: npt.ArrayLike,
    losses: npt.ArrayLike,
    *,
    tail: Tail = "flat",
) -> FloatArray:
    """Expected annual loss of a building that is dry until its onset.

    Parameters
    ----------
    onset_per_year : array_like of float, any shape
        Annual chance that water comes in, 0 to 1; NaN = unknown.
    chances : array_like of float, shape (n,)
        Annual exceedance probabilities of the events for which a loss is stated.
    losses : array_like of float, shape (n,)
        Loss in each event once water is inside.
    tail : {'none', 'flat'}
        Beyond the rarest event: nothing, or the loss of the rarest event.

    Returns
    -------
    numpy.ndarray of float, shape of `onset_per_year`
        Expected loss a year; NaN where the onset is unknown.

    Notes
    -----
    Zero above the onset chance, a step to the loss at onset, linear in chance between events
    beyond (house rule). An onset more frequent than every event takes the loss of the
    most frequent event; with one loss for every event the result is onset chance times loss.

    Raises
    ------
    ValueError
        When a chance is out of range or double.
    """
    onset = np.asarray(onset_per_year, float)
    if np.any((onset < 0.0) | (onset > 1.0)):
        raise ValueError("an onset chance must lie between 0 and 1")
    chance, loss = _sorted_events(chances, losses)
    p, d = chance[::-1], loss[::-1]  # rising chance, from the rarest event
    area_to_event = np.concatenate(([0.0], np.cumsum(0.5 * (d[1:] + d[:-1]) * np.diff(p))))
    # the loss at a chance is linear between events, so the area up to it is a trapezoid more
    last = np.clip(np.searchsorted(p, onset, side="right") - 1, 0, p.size - 1)
    inner = area_to_event[last] + 0.5 * (d[last] + np.interp(onset, p, d)) * (onset - p[last])
    in_tail = np.minimum(onset, p[0]) * d[0] if tail == "flat" else np.zeros(onset.shape)
    out = np.where(onset <= p[0], 0.0, inner) + in_tail
    return np.asarray(np.where(np.isnan(onset), np.nan, out), float)


def expected_annual_loss(
    aeps: npt.ArrayLike,
    losses: npt.ArrayLike,
    *,
    tail: Tail,
    onset_aep: float | None = None,
) -> float:
    """Expected loss a year of one place: its damage table, or from an onset where one is given.

    Parameters
    ----------
    aeps, losses : array_like of float, shape (n,)
        Events, as in `table_annual_loss` and `building_annual_loss`.
    tail : {'none', 'flat'}
        Beyond the rarest event: nothing, or the loss of the rarest event.
    onset_aep : float, optional
        Chance a year that water comes in; makes it the form of a building.

    Returns
    -------
    float
        Loss a year, in the money unit of `losses`; NaN where the onset is NaN (unknown).

    Raises
    ------
    ValueError
        As the two forms.
    """
    if onset_aep is None:
        return float(table_annual_loss(aeps, losses, tail=tail))
    return float(building_annual_loss(onset_aep, aeps, losses, tail=tail))


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
    return np.asarray(1.0 / np.cumprod(1.0 + rates), np.float64)


def present_value(annual: float, life_years: int, steps: Sequence[tuple[int, float]]) -> float:
    """Present value of an equal yearly benefit in years 1 to `life_years` after the works.

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
        Present value in the year of the works (year 0, not discounted; no benefit in year 0).

    Raises
    ------
    ValueError
        As `discount_factors`.
    """
    return annual * float(discount_factors(life_years, steps).sum())


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
    Seals are taken to fail independently (house rule).
    """
    any_fails_frac = 1.0 - reliability_frac**seals_count
    return loss * (next_per_year + (before_per_year - next_per_year) * any_fails_frac)
