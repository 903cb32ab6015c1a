"""The structural gate: how high water may stand against walls and floor of a sealed building."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core import contract
from pipeline.core.curves import RARER, chance_of_level
from pipeline.core.settings import Settings
from pipeline.core.units import FloatArray, down_mm, up_mm

HOLD_WORDS: Final = (
    "structural engineer to confirm walls, floor and uplift, or a level at which water is let in "
    "on purpose"
)
_EVERY_EVENT: Final = -1.0
_UNDER_GROUND_M: Final = 0.001
_NEAR: Final = 1e-9  # relative noise of a chance typed as 1/30 and as 0.0333333333
_UNSTATED: Final = ("unknown", "not stated")
_NO_SURFACE_WATER: Final = ("groundwater", "seen water")


@dataclass(frozen=True)
class Water:
    """Water that stands against one building.

    `chance_per_year`: by mechanism, that it reaches the limit level; `policy_m`: the highest at
    the design event with freeboard (NaN = none); `is_known`: some source answers at the building.
    """

    chance_per_year: Mapping[str, float]
    policy_m: float
    is_known: bool


@dataclass(frozen=True)
class Limit:
    """Limit level of a building (m; NaN = unknown), its words, and the water against it."""

    level_m: float
    words: str
    water: Water

    @property
    def is_known(self) -> bool:
        """Whether the limit level is known."""
        return not np.isnan(self.level_m)

    @property
    def is_passed_at_policy(self) -> bool:
        """Whether the policy water reaches the limit (equal counts as reached)."""
        if not self.is_known or np.isnan(self.water.policy_m):
            return False
        return bool(up_mm(self.water.policy_m) >= down_mm(self.level_m))

    @property
    def is_water_known(self) -> bool:
        """Whether any source answers at the building."""
        return self.water.is_known


def limit_level(
    building: Mapping[str, Any], floor_m: float, settings: Settings
) -> tuple[float, str]:
    """Highest outside water that walls and floor may carry when the building is sealed.

    Parameters
    ----------
    building : mapping
        Row of `buildings`.
    floor_m : float
        Level of the lowest floor (m); NaN = unknown.
    settings : Settings
        `value.head_limit_m` by wall and floor build.

    Returns
    -------
    level (m; NaN = unknown), words
    """
    if np.isnan(floor_m):
        return float("nan"), "lowest floor without level: structural limit unknown"
    by_engineer = building.get("max_head_m")
    if by_engineer is not None and not pd.isna(by_engineer):
        who = _word(building.get("max_head_by"), "an engineer")
        return floor_m + float(by_engineer), (
            f"lowest floor {floor_m:.3f} + {float(by_engineer):.2f} m by {who}"
        )
    limits = settings.value.head_limit_m
    wall, floor = (
        _word(building.get("wall_build"), "unknown"),
        _word(building.get("floor_build"), "unknown"),
    )
    head = min(_of(limits.wall, wall), _of(limits.floor, floor))
    return floor_m + head, (
        f"lowest floor {floor_m:.3f} + {head:.2f} m (walls {wall}, floor {floor}, house rule)"
    )


def _word(value: Any, blank: str) -> str:
    return blank if value is None or pd.isna(value) else str(value)


def _of(limits: Mapping[str, float], build: str) -> float:
    """Limit of a build; a build that the settings do not name gets the lowest of all."""
    return limits[build] if build in limits else min(limits.values())


def wall_water(floods: pd.DataFrame, policy: Mapping[str, Any], limit_m: float) -> Water:
    """Water that stands against one building.

    Parameters
    ----------
    floods : DataFrame
        Rows of `floods` of this building.
    policy : mapping
        Row of `policies` of its site.
    limit_m : float
        Limit level (m); NaN gives no chances.

    Returns
    -------
    Water

    Notes
    -----
    Water counts where the ring is wet, where the reference water stands at or above the ring's
    ground, and as groundwater; never water in a chamber. A dry event bounds its water by the
    ground. Sources of another climate or defence state do not mix in; groundwater and water that
    was seen count under each. A limit above the water of every event, the design event among them,
    is no gate: what is rarer than all events is told with the openings ("rarer than"). Where the
    events end before the design event, the chance is that of the rarest, a bound on the wet side.
    """
    rows = _counting(floods, policy)
    freeboard, aep = float(policy["freeboard_m"]), float(policy["design_aep_per_year"])
    chances: dict[str, float] = {}
    policy_m = [float("nan")]
    for mechanism, mine in rows.groupby("mechanism", sort=True):
        steady = mine.loc[mine["aep_per_year"] == _EVERY_EVENT, "level_m"].max()
        events = mine[mine["aep_per_year"] > 0]
        if not np.isnan(limit_m):
            chances[str(mechanism)] = _chance(events, limit_m, steady, aep)
        policy_m += [_at(events, aep) + freeboard, float(steady) + freeboard]
    highest = max((m for m in policy_m if not np.isnan(m)), default=float("nan"))
    refused = bool(of_policy(floods, policy, unstated=_UNSTATED)["is_refused"].any())
    return Water(chances, highest, is_known=not rows.empty and not refused)


def _counting(floods: pd.DataFrame, policy: Mapping[str, Any]) -> pd.DataFrame:
    """Rows that say something, with `curve_m` (level, or ground of a dry event) and `is_dry`."""
    rows = floods[floods["aep_per_year"].ge(_EVERY_EVENT) & floods["aep_per_year"].ne(0)]
    rows = of_policy(rows, policy)
    underground = rows["mechanism"].isin(_NO_SURFACE_WATER).to_numpy(bool)
    level, ground = rows["level_m"].to_numpy(float), rows["ground_m"].to_numpy(float)
    nearest = rows["is_nearest"].to_numpy(bool)
    # unknown ground under the reference water: it may stand against the wall
    dry = ~underground & (np.isnan(level) | (nearest & (level < ground)))
    known = ~(dry & (rows["answer"] == contract.NOT_MODELLED).to_numpy(bool))
    return rows.assign(curve_m=np.where(dry, ground, level), is_dry=dry)[known]


def of_policy(
    floods: pd.DataFrame, policy: Mapping[str, Any], unstated: tuple[str, ...] = ()
) -> pd.DataFrame:
    """Rows of the policy's climate and defences; groundwater and seen water count under each."""
    underground = floods["mechanism"].isin(_NO_SURFACE_WATER).to_numpy(bool)
    same = floods["climate"].isin([policy["climate"], *unstated]) & floods["defences"].isin(
        [policy["defences"], *unstated]
    )
    return floods[same.to_numpy(bool) | underground]


def _chance(events: pd.DataFrame, limit_m: float, steady_m: Any, design_aep: float) -> float:
    """Chance that a mechanism reaches the limit; groundwater of every event is certain."""
    if not pd.isna(steady_m):
        return float(up_mm(float(steady_m)) >= down_mm(limit_m))
    if events["curve_m"].notna().sum() == 0:
        return 0.0  # dry in every event, and no ground to compare: the ring itself is dry
    # surface water stands against the wall only from the ground up
    wanted = np.nanmax([limit_m, events["ground_m"].max()])
    levels, aeps, _ = _curve(events)
    chance, bound = chance_of_level(levels, aeps, np.array([wanted]))
    is_past_all = str(bound[0]) == RARER and aeps.min() <= design_aep * (1.0 + _NEAR)
    return 0.0 if is_past_all else float(chance[0])


def _curve(events: pd.DataFrame) -> tuple[FloatArray, FloatArray, float]:
    """Level-chance curve of a mechanism at a building, and the chance of its first wet event.

    Water of a dry event stands at most this far under the ground: a millimetre, since equal is
    wet. The second answer is 0 where every event is dry.
    """
    known = events[events["curve_m"].notna()]
    dry = known["is_dry"].to_numpy(bool)
    level = known["curve_m"].to_numpy(float) - np.where(dry, _UNDER_GROUND_M, 0.0)
    aep = known["aep_per_year"].to_numpy(float)
    wet = aep[~dry]
    aeps = np.unique(aep)[::-1]
    levels = []
    for one in aeps:
        same = aep == one
        wet_here = level[same & ~dry]
        levels.append(wet_here.max() if wet_here.size else level[same].min())
    # a rarer event is never lower; the bound of a dry one never lifts a rarer wet one
    lifted = np.minimum.accumulate(np.array(levels)[::-1])[::-1] if dry.any() else np.array(levels)
    return np.maximum.accumulate(lifted), aeps, float(wet.max()) if wet.size else 0.0


def _at(events: pd.DataFrame, aep: float) -> float:
    """Water against the building at a chance; NaN where the ring is dry in that event.

    Rarer than every event: the rarest event's level, which is then a lower bound.
    """
    if events["curve_m"].notna().sum() == 0:
        return float("nan")
    levels, aeps, first_wet = _curve(events)
    if aep > first_wet * (1.0 + _NEAR):
        return float("nan")
    return float(np.interp(-np.log(aep), -np.log(aeps), levels))
