"""Onset of each building over all openings that stand open: as found, or as built."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

_IN_CHAMBER: Final = "chamber end"
_NOT_NAMED: Final = "mechanism not named"
_SAME_CHANCE: Final = 1e-12


def building_onsets(reach: Any, sources: Any) -> Any:
    """Lowest way in of every building, with its chance.

    Parameters
    ----------
    reach, sources : DataFrame
        Tables `reach` and `reach_sources`.

    Returns
    -------
    DataFrame
        Table `onsets_found`: one row per building with openings.

    Notes
    -----
    Within a mechanism the highest chance over the openings, of independent mechanisms
    1 - product(1 - p). The gate is the opening of the highest chance, then of the lowest level.
    Openings of unknown chance are left out of the figure and counted beside it.
    """
    walls = reach[reach["building_id"].notna() & (reach["opening_kind"] != _IN_CHAMBER)]
    known = sources[sources["chance_per_year"].notna()]
    mechanism = known["mechanism"].fillna(_NOT_NAMED)
    by_opening: dict[str, dict[str, float]] = {}
    highest = known.groupby([known["opening_id"], mechanism])["chance_per_year"].max()
    for (opening, name), chance in highest.items():
        by_opening.setdefault(str(opening), {})[str(name)] = float(chance)
    rows = [
        _onset(str(building), group.to_dict("records"), by_opening)
        for building, group in walls.groupby("building_id", sort=True)
    ]
    return pd.DataFrame(rows)


def _onset(
    building: str, openings: list[dict[str, Any]], by_opening: dict[str, dict[str, float]]
) -> dict[str, Any]:
    highest: dict[str, float] = {}
    unknown = 0
    gate, gate_chance, gate_level = None, 0.0, float("nan")
    for row in sorted(openings, key=lambda r: str(r["opening_id"])):
        if pd.isna(row["onset_chance_per_year"]):
            unknown += 1
            continue
        chances = by_opening.get(str(row["opening_id"]), {})
        own = _together(chances)
        for name, chance in chances.items():
            highest[name] = max(chance, highest.get(name, 0.0))
        level = row["let_in_level_m"]
        level = row["opening_level_m"] if pd.isna(level) else level
        is_more = own > gate_chance + _SAME_CHANCE
        is_lower = abs(own - gate_chance) <= _SAME_CHANCE and (gate is None or level < gate_level)
        if own > 0.0 and (is_more or is_lower):
            gate, gate_chance, gate_level = str(row["opening_id"]), own, float(level)
    return {
        "building_id": building,
        "gate_id": gate,
        "level_m": gate_level,
        "chance_per_year": _together(highest),
        "unknown_count": unknown,
    }


def _together(chances: dict[str, float]) -> float:
    """Chance that any of several independent mechanisms comes."""
    dry = 1.0
    for chance in chances.values():
        dry *= 1.0 - chance
    return 1.0 - dry
