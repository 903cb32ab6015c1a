"""Tables of model nodes: water by chainage along the reaches near a place, on its own bank."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from pipeline.core import contract
from pipeline.core.findings import Cell, Finding, make
from pipeline.core.settings import Settings, Source
from pipeline.levels.datums import to_working_datum
from pipeline.levels.floods_grid import (
    Place,
    Places,
    base_row,
    domain_of,
    events_of,
    refused_datum,
)
from pipeline.levels.river import BOTH, LEFT, RIGHT, Foot, Profile, foot_on_line, level_at
from pipeline.tables import Tables

_BANKS: Final = {LEFT: (LEFT,), RIGHT: (RIGHT,), BOTH: (LEFT, RIGHT)}


@dataclass(frozen=True)
class _Reach:
    """One reach in one event: its line, and the water on each bank."""

    name: str
    line_m: Any
    chainage_m: Any
    banks: dict[str, Profile]


@dataclass(frozen=True)
class _Found:
    """Water of one reach at a place; a blank level says in words why it is not used."""

    level_m: float
    foot: Foot
    reach: str
    why_not: str = ""


def node_rows(
    places: Places, tables: Tables, settings: Settings, source: Source
) -> tuple[list[dict[str, Any]], list[Finding]]:
    """Answers of one node table at every place, event by event.

    Parameters
    ----------
    places : Places
    tables : Tables
        Needs flood_nodes and flood_domains.
    settings : Settings
    source : Source
        `within_m`: how far from a reach its water is taken to reach.

    Returns
    -------
    rows, findings

    Notes
    -----
    House rule: of all reaches within that distance whose nodes stand on the place's own bank the
    highest water counts, never just the nearest node or reach.
    """
    own = tables["flood_nodes"]
    own = own[own["source_id"] == source.id]
    shift = to_working_datum(source.datum, settings)
    aeps = events_of(own, source)
    if shift is None:
        return (
            [base_row(p, source, a, is_refused=True) for p in places.all for a in aeps],
            [refused_datum(source, settings)],
        )
    add = shift[0] - source.freeboard_in_m
    domain = domain_of(tables, source)
    within_m = source.within_m or 0.0
    rows: list[dict[str, Any]] = []
    unused: dict[str, tuple[Place, _Found, str]] = {}
    for aep in aeps:
        event = (
            own if aep is None else own[own["aep_per_year"].isna() | (own["aep_per_year"] == aep)]
        )
        reaches = [_reach(str(name), nodes) for name, nodes in event.groupby("reach", sort=True)]
        for place in places.all:
            row = base_row(place, source, aep)
            row["origin"] = source.path.name
            found = _near(place, reaches, within_m)
            inside = domain is None or bool(domain.covers(place.spot))
            used = [f for f in found if not math.isnan(f.level_m)] if inside else []
            if used:
                best = max(used, key=lambda f: (f.level_m, f.reach))
                row |= {
                    "answer": contract.LEVEL,
                    "level_m": round(best.level_m + add, 6),
                    "distance_m": round(best.foot.distance_m, 2),
                    "origin": f"{source.path.name}, reach {best.reach} at chainage "
                    f"{best.foot.chainage_m:.1f} m, {best.foot.bank} bank",
                }
            elif found:
                side = found[0].why_not if inside else "outside the outline of the model"
                unused[place.place_id] = (place, found[0], side)
            rows.append(row)
    return rows, [_not_used(source, *u) for _, u in sorted(unused.items())]


def _reach(name: str, nodes: pd.DataFrame) -> _Reach:
    by_place = nodes.groupby("chainage_m", sort=True)[["x_m", "y_m"]].mean()
    structures = np.sort(nodes.loc[nodes["structure"].notna(), "chainage_m"].to_numpy(float))
    known = nodes[nodes["level_m"].notna()]
    banks = {}
    for bank in (LEFT, RIGHT):
        # of several nodes at one place and bank the highest
        here = known[[bank in _BANKS[b] for b in known["bank"]]]
        level = here.groupby("chainage_m", sort=True)["level_m"].max()
        banks[bank] = Profile(level.index.to_numpy(float), level.to_numpy(float), structures)
    return _Reach(name, by_place.to_numpy(float), by_place.index.to_numpy(float), banks)


def _near(place: Place, reaches: list[_Reach], within_m: float) -> list[_Found]:
    """What each reach near a place says there, the nearest first."""
    if not math.isfinite(place.x_m):
        return []
    out = []
    for reach in reaches:
        if len(reach.line_m) < 2:
            continue  # one node is no line: it has no bank and no way along it
        foot = foot_on_line(reach.line_m, reach.chainage_m, place.x_m, place.y_m)
        if foot.distance_m - place.plan_u_m <= within_m:
            out.append(_on_reach(place, reach, foot))
    return sorted(out, key=lambda f: (f.foot.distance_m, f.reach))


def _on_reach(place: Place, reach: _Reach, foot: Foot) -> _Found:
    # a place nearer to the line than its doubt may stand on either bank
    banks = (LEFT, RIGHT) if foot.distance_m <= place.plan_u_m else (foot.bank,)
    if foot.is_above_first:
        return _Found(math.nan, foot, reach.name, "upstream of the first node")
    levels = [level_at(reach.banks[b], foot.chainage_m) for b in banks]
    known = [v for v in levels if not math.isnan(v)]
    if known:
        return _Found(max(known), foot, reach.name)
    has_other = any(p.chainage_m.size for b, p in reach.banks.items() if b not in banks)
    why = "on the other bank" if has_other else "without a level there"
    return _Found(math.nan, foot, reach.name, why)


def _not_used(source: Source, place: Place, found: _Found, side: str) -> Finding:
    fill = {"id": place.place_id, "dist": f"{found.foot.distance_m:.0f}", "side": side}
    return make("water-09", Cell(file=source.path.name), fill=fill, key=f"flood/{source.id}/{place.place_id}",
                site_id=place.site_id, place_id=place.place_id)  # fmt: skip
