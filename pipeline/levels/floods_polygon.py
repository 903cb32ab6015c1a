"""Polygons with a level: inside is the level, near a boundary the higher one."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

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
from pipeline.levels.ground import circle_m
from pipeline.tables import Tables


def polygon_rows(
    places: Places, tables: Tables, settings: Settings, source: Source
) -> tuple[list[dict[str, Any]], list[Finding]]:
    """Answers of one polygon source at every place, event by event.

    Parameters
    ----------
    places : Places
    tables : Tables
        Needs flood_polygons and flood_domains.
    settings : Settings
    source : Source

    Returns
    -------
    rows, findings

    """
    polygons = tables["flood_polygons"]
    own = polygons[polygons["source_id"] == source.id]
    domain = domain_of(tables, source)
    shift = to_working_datum(source.datum, settings)
    aeps = events_of(own, source)
    if shift is None:
        return (
            [base_row(p, source, a, is_refused=True) for p in places.all for a in aeps],
            [refused_datum(source, settings)],
        )
    add = shift[0] - source.freeboard_in_m
    rows = []
    for aep in aeps:
        event = own[own["aep_per_year"].isna() | (own["aep_per_year"] == aep)]
        tree = shapely.STRtree(shapely.make_valid(event["geometry"].to_numpy()))
        levels = event["level_m"].to_numpy(float)
        for place in places.all:
            row = base_row(place, source, aep)
            row["origin"] = f"{source.path.name} {source.layer or ''}".strip()
            if math.isfinite(place.x_m):
                _answer(row, place, tree, levels, domain, settings)
            if row["level_m"] is not None:
                row["level_m"] = round(row["level_m"] + add, 6)
            rows.append(row)
    blank = int(own["level_m"].isna().sum())
    if not blank:
        return rows, []
    name = f"{source.id} ({blank} of {len(own)} outlines)"
    return rows, [make("water-13", Cell(file=source.path.name), fill={"name": name},
                       key=f"flood/{source.id}")]  # fmt: skip


def _answer(
    row: dict[str, Any],
    place: Place,
    tree: shapely.STRtree,
    levels: Any,
    domain: Any,
    settings: Settings,
) -> None:
    spot = place.spot
    if place.kind == "building" and place.shape is None:
        spot = shapely.Point(place.x_m, place.y_m).buffer(circle_m(0.0, place.plan_u_m))
    here = levels[tree.query(spot, predicate="intersects")]
    known = here[~np.isnan(here)]
    if known.size:
        row |= {"level_m": float(known.max()), "distance_m": 0.0}
    if here.size > known.size:
        # an outline without level: in, but nobody says how high; a level beside it may only wet
        row |= {"answer": contract.NOT_MODELLED, "is_refused": True,
                "assumed": "inside an outline without a level"}  # fmt: skip
        return
    if known.size:
        row["answer"] = contract.LEVEL
        return
    if domain is not None and shapely.covers(domain, place.spot):
        row["answer"] = contract.DRY
    near = tree.query(spot, predicate="dwithin", distance=settings.flood.reference_water_m)
    near = near[~np.isnan(levels[near])]
    if near.size:
        away = shapely.distance(tree.geometries[near], spot)
        best = np.lexsort((away, -levels[near]))[0]
        row |= {
            "level_m": float(levels[near][best]), "distance_m": round(float(away[best]), 2),
            "is_nearest": True,
        }  # fmt: skip
