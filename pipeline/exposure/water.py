"""Where water stands: the design level and the level-chance curve of every place and mechanism."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
import pandas as pd

from pipeline.core import contract
from pipeline.core.curves import MORE_OFTEN, chance_of_level
from pipeline.exposure.links import text
from pipeline.tables import Tables

SURFACE: Final = ("river", "sea", "surface water", "reservoir")
DRAIN: Final = ("sewer", "river", "sea")
GROUNDWATER: Final = "groundwater"
SEEN: Final = "seen water"
EVERY_EVENT: Final = -1.0
_READ: Final = [
    "place_id", "mechanism", "aep_per_year", "level_m", "u_m", "is_nearest", "is_refused", "answer",
    "climate", "defences", "ground_m", "source_id",
]  # fmt: skip
_UNSTATED: Final = ("unknown", "not stated", "")


@dataclass(frozen=True)
class Policy:
    """Design event, states and freeboard; openings of sites with the same policy share a search."""

    design_aep: float
    climate: str
    defences: str
    freeboard_m: float


@dataclass(frozen=True)
class Water:
    """One mechanism at one place: its events, and what the design event says.

    `levels_m` and `aeps` are the curve (frequent to rare); `is_dry` marks the events that were dry,
    for which the level is the ground. `design_m` is NaN when the place stays dry or is not
    modelled; `is_modelled` tells these two apart. `is_refused`: something that could not be used
    names this place, so that the water may stand higher or more often than the rest says.
    """

    mechanism: str
    place_id: str
    levels_m: tuple[float, ...] = ()
    aeps: tuple[float, ...] = ()
    is_dry: tuple[bool, ...] = ()
    design_m: float = math.nan
    design_u_m: float = math.nan
    is_nearest: bool = False
    is_modelled: bool = False
    is_refused: bool = False
    rarest_m: float = math.nan
    source_id: str = ""

    def chance(self, wanted_m: float, most_frequent: float) -> tuple[float, str]:
        """Chance a year that the water reaches a level, and whether that is only a bound."""
        if not self.aeps:
            if not math.isnan(self.design_m) and self.design_m >= wanted_m:
                return most_frequent, MORE_OFTEN
            return 0.0, ""
        if wanted_m == math.inf:
            return 0.0, ""
        if wanted_m == -math.inf:
            return self.aeps[0], MORE_OFTEN
        return _chance(self.levels_m, self.aeps, self.is_dry, wanted_m)


@lru_cache(maxsize=65_536)
def _chance(
    levels_m: tuple[float, ...], aeps: tuple[float, ...], is_dry: tuple[bool, ...], wanted_m: float
) -> tuple[float, str]:
    """One level on one curve; many openings ask the same."""
    chance, bound = chance_of_level(
        np.array(levels_m), np.array(aeps), np.array([wanted_m]), is_dry=np.array(is_dry)
    )
    return float(chance[0]), str(bound[0])


class Waters:
    """All water under one policy, by place and mechanism."""

    def __init__(self, tables: Tables, policy: Policy) -> None:
        self.policy = policy
        floods = tables["floods"]
        rows = floods[
            [
                _matches(c, d, policy)
                for c, d in zip(floods["climate"], floods["defences"], strict=True)
            ]
        ]
        self._by: dict[tuple[str, str], Water] = {}
        groups: dict[tuple[str, str], list[dict[str, object]]] = {}
        for row in rows[_READ].to_dict("records"):
            groups.setdefault((str(row["place_id"]), str(row["mechanism"])), []).append(row)
        for place, mechanism in sorted(groups):
            self._by[place, mechanism] = _water(place, mechanism, groups[place, mechanism], policy)
        self._of_place: dict[str, list[Water]] = {}
        for (place, _), water in self._by.items():
            self._of_place.setdefault(place, []).append(water)
        aeps = rows.loc[rows["aep_per_year"] > 0, "aep_per_year"]
        self.most_frequent = float(aeps.max()) if len(aeps) else policy.design_aep

    def at(self, place: str, mechanisms: Iterable[str]) -> list[Water]:
        """Waters of a place, one per mechanism that it has."""
        return [self._by[place, m] for m in mechanisms if (place, m) in self._by]

    def is_modelled(self, *places: str) -> bool:
        """Whether a surface mechanism answers at one of the places, and nothing there is refused."""
        said = [self._of_place.get(p, ()) for p in places]
        surface = [w for p in said for w in p if w.mechanism in SURFACE]
        return any(w.is_modelled for w in surface) and not any(
            w.is_refused for p in said for w in p
        )

    def highest(self, places: Iterable[str], mechanisms: Iterable[str]) -> Water | None:
        """The water that stands highest at the design event over some places."""
        wanted = tuple(mechanisms)
        found = [w for p in places for w in self.at(p, wanted) if not math.isnan(w.design_m)]
        return max(found, key=lambda w: (w.design_m, w.place_id), default=None)


def _matches(climate: object, defences: object, policy: Policy) -> bool:
    """Whether a source's states are the policy's; unstated ones count as extra water."""
    c, d = text(climate).casefold(), text(defences).casefold()
    return (c == policy.climate.casefold() or c in _UNSTATED) and (
        d == policy.defences.casefold() or d in _UNSTATED
    )


def _is_stated(row: dict[str, object]) -> bool:
    return text(row["climate"]).casefold() not in _UNSTATED and (
        text(row["defences"]).casefold() not in _UNSTATED
    )


def _water(place: str, mechanism: str, group: list[dict[str, object]], policy: Policy) -> Water:
    events: dict[float, dict[str, object]] = {}
    bounds: dict[float, float] = {}
    modelled: set[float] = set()
    refused = any(bool(row["is_refused"]) for row in group)
    constant: dict[str, object] | None = None
    for row in group:
        aep, level = float(str(row["aep_per_year"])), float(str(row["level_m"]))
        if aep == EVERY_EVENT:
            if not math.isnan(level) and (
                constant is None or level > float(str(constant["level_m"]))
            ):
                constant = row
            continue
        if aep <= 0:
            continue
        if row["answer"] != contract.NOT_MODELLED and _is_stated(row):
            modelled.add(aep)
        if not math.isnan(level):
            if aep not in events or level > float(str(events[aep]["level_m"])):
                events[aep] = row
        elif row["answer"] == contract.DRY and not math.isnan(float(str(row["ground_m"]))):
            bounds[aep] = min(bounds.get(aep, math.inf), float(str(row["ground_m"])))
    if constant is not None and not events:
        level = float(str(constant["level_m"]))
        return Water(
            mechanism, place, design_m=level, design_u_m=_number(constant["u_m"]),
            is_modelled=not refused, is_refused=refused, rarest_m=level,
            source_id=text(constant["source_id"]),
        )  # fmt: skip
    water = _curve(place, mechanism, events, bounds, modelled, policy)
    return replace(water, is_modelled=False, is_refused=True) if refused else water


def _curve(
    place: str,
    mechanism: str,
    events: dict[float, dict[str, object]],
    bounds: dict[float, float],
    modelled: set[float],
    policy: Policy,
) -> Water:
    levels = {aep: float(str(row["level_m"])) for aep, row in events.items()}
    known = {**bounds, **levels}
    aeps = sorted(known, reverse=True)
    design = next((a for a in levels if math.isclose(a, policy.design_aep, rel_tol=1e-6)), None)
    exact = next((a for a in modelled if math.isclose(a, policy.design_aep, rel_tol=1e-6)), None)
    row = events[design] if design is not None else None
    level = levels[design] if design is not None else _between(levels, modelled, policy.design_aep)
    if row is None and not math.isnan(level):
        row = events[min(levels)]
    within = bool(modelled) and min(modelled) <= policy.design_aep <= max(modelled)
    return Water(
        mechanism,
        place,
        levels_m=tuple(known[a] for a in aeps) if levels else (),
        aeps=tuple(aeps) if levels else (),
        is_dry=tuple(a not in levels for a in aeps) if levels else (),
        design_m=level,
        design_u_m=_number(row["u_m"]) if row is not None else math.nan,
        is_nearest=bool(row["is_nearest"]) if row is not None else False,
        is_modelled=exact is not None or within,
        rarest_m=max(levels.values(), default=math.nan),
        source_id=text(row["source_id"]) if row is not None else "",
    )


def _between(levels: dict[float, float], modelled: set[float], aep: float) -> float:
    """Design level between two modelled events, linear in log chance; NaN beyond them.

    Where the next more frequent event is dry or missing, the next rarer one stands for it: never
    less than what is known.
    """
    if any(math.isclose(a, aep, rel_tol=1e-6) for a in modelled):
        return math.nan  # the design event was modelled, and is dry here
    rarer = [a for a in levels if a < aep]
    if not rarer:
        return math.nan
    low = max(rarer)
    oftener = [a for a in levels if a > aep]
    if not oftener:
        return levels[low]
    high = min(oftener)
    share = (math.log(high) - math.log(aep)) / (math.log(high) - math.log(low))
    return levels[high] + share * (levels[low] - levels[high])


def _number(value: object) -> float:
    return math.nan if value is None or pd.isna(value) else float(str(value))
