"""The chances of the openings if all flood water stood higher or lower by its own doubt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core import contract
from pipeline.core.curves import RARER, chance_of_level
from pipeline.core.units import FloatArray
from pipeline.programme.onset import BoolArray
from pipeline.programme.structure import of_policy

_STEADY: Final = -1.0  # the mark of water that stands in every event
_SAME: Final = 1e-6  # a chance found again to this part is found again
_NOISE_M: Final = 1e-9


def shifted_floods(floods: pd.DataFrame, by_u: float) -> pd.DataFrame:
    """The flood rows with every water level moved by a multiple of its own doubt.

    Parameters
    ----------
    floods : DataFrame
        Rows of `floods`; a level whose doubt is not known stays where it is.
    by_u : float
        Standard deviations; positive: the water stands higher.

    Returns
    -------
    DataFrame
    """
    moved = floods["level_m"] + by_u * floods["u_m"].fillna(0.0)
    return floods.assign(level_m=moved)


def shifted_sources(tables: Mapping[str, Any], by_u: float) -> pd.DataFrame:
    """Rows of `reach_sources` with the chances they would have under shifted water.

    Parameters
    ----------
    tables : mapping of DataFrame
        reach, reach_sources, floods, policies.
    by_u : float
        Standard deviations of the flood level; positive: the water stands higher.

    Returns
    -------
    DataFrame
        `chance_per_year` and `sure_chance_per_year` changed, nothing else.

    Notes
    -----
    A row keeps its chance where its control level is not known or its place has no curve. Where
    the curve of a place does not give the chance of the row again (it holds more than the curve,
    such as a source that was combined before), the chance is moved in the curve's proportion.
    Higher water never lowers a chance and lower water never raises one.
    """
    sources = tables["reach_sources"]
    now, then, is_rarer_now = _curve_chances(tables, by_u)
    chance = sources["chance_per_year"].to_numpy(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        is_found = np.abs(now - chance) <= _SAME * np.maximum(chance, _SAME)
        moved = np.where(is_found, then, chance * np.where(now > 0.0, then / now, 1.0))
    # nothing reached it so far, as it stands above every event: now some event may
    moved = np.where(is_rarer_now & (chance == 0.0), np.where(then > now, then, 0.0), moved)
    moved = np.where(np.isnan(moved), chance, np.clip(moved, 0.0, 1.0))
    moved = np.fmax(moved, chance) if by_u > 0 else np.fmin(moved, chance)
    moved = np.where(np.isnan(chance), np.nan, moved)
    sure = sources["sure_chance_per_year"].to_numpy(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(chance > 0.0, sure / chance, 1.0)
    return sources.assign(
        chance_per_year=moved, sure_chance_per_year=np.where(np.isnan(sure), np.nan, moved * part)
    )


def _curve_chances(
    tables: Mapping[str, Any], by_u: float
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Chance of each row's control level by its place's curve, as it is and under shifted water.

    The third answer marks levels that stand above every event as it is.
    """
    sources = tables["reach_sources"]
    policy_of = {
        str(p["site_id"]): (p["climate"], p["defences"])
        for p in tables["policies"].to_dict("records")
    }
    site_of = dict(zip(tables["reach"]["opening_id"], tables["reach"]["site_id"], strict=True))
    keys = pd.DataFrame(
        {
            "policy": [policy_of.get(str(site_of.get(o))) for o in sources["opening_id"]],
            "place": sources["source_place_id"].astype(str),
            "mechanism": sources["mechanism"].astype(str),
        }
    )
    wanted = sources["control_level_m"].to_numpy(float)
    now, then = np.full(len(sources), np.nan), np.full(len(sources), np.nan)
    is_rarer = np.zeros(len(sources), dtype=np.bool_)
    for policy, rows in keys.groupby("policy", sort=True):
        climate, defences = policy
        stated = {"climate": climate, "defences": defences}
        both = [
            _by_place(of_policy(f, stated))
            for f in (tables["floods"], shifted_floods(tables["floods"], by_u))
        ]
        numbers = rows.index.to_numpy()
        for place, mine in rows.groupby(["place", "mechanism"], sort=True).indices.items():
            at = numbers[mine]
            now[at], is_rarer[at] = _at(both[0].get(place), wanted[at])
            then[at], _ = _at(both[1].get(place), wanted[at])
    return now, then, is_rarer


@dataclass(frozen=True)
class _Events:
    """Water of one mechanism at one place: what stands in every event (NaN = none), and the events.

    The ground of a place that stays dry in an event is only a bound of its water.
    """

    steady_m: float
    level_m: FloatArray
    aep: FloatArray
    is_dry: BoolArray


def _by_place(rows: pd.DataFrame) -> dict[tuple[str, str], _Events]:
    answered = rows[rows["answer"] != contract.NOT_MODELLED]
    level, aep = answered["level_m"].to_numpy(float), answered["aep_per_year"].to_numpy(float)
    ground = answered["ground_m"].to_numpy(float)
    is_dry = np.isnan(level)
    out = {}
    for key, at in answered.groupby(["place_id", "mechanism"], sort=True).indices.items():
        steady = level[at][(aep[at] == _STEADY) & ~is_dry[at]]
        event = at[aep[at] > 0]
        out[str(key[0]), str(key[1])] = _Events(
            float(steady.max()) if steady.size else float("nan"),
            np.where(is_dry, ground, level)[event],
            aep[event],
            is_dry[event],
        )
    return out


def _at(events: _Events | None, wanted_m: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Chance of levels by the events of a place (NaN: they say nothing), and what is above all."""
    nothing = np.full(wanted_m.shape, np.nan), np.zeros(wanted_m.shape, dtype=np.bool_)
    if events is None:
        return nothing
    if not np.isnan(events.steady_m):
        reached = np.where(np.isnan(wanted_m), np.nan, wanted_m <= events.steady_m + _NOISE_M)
        return reached.astype(np.float64), nothing[1]
    if events.aep.size == 0:
        return nothing
    chance, bound = chance_of_level(events.level_m, events.aep, wanted_m, is_dry=events.is_dry)
    return chance, bound == RARER
