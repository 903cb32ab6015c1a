"""Polygons with a level: inside is the level, near a boundary the higher one."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
import shapely

from pipeline.core import contract
from pipeline.core.findings import Finding
from pipeline.core.settings import Settings, Source
from pipeline.levels.datums import to_working_datum
from pipeline.levels.floods_grid import Place, Places, base_row, refused_datum
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
    domains = tables["flood_domains"]
    domain_rows = domains[domains["source_id"] == source.id]
    domain = shapely.union_all(domain_rows["geometry"].values) if len(domain_rows) else None
    shift = to_working_datum(source.datum, settings)
    if shift is None:
        aeps = sorted(own["aep_per_year"].unique(), reverse=True)
        return (
            [base_row(p, source, float(a)) for p in places.all for a in aeps],
            [refused_datum(source, settings)],
        )
    add = shift[0] - source.freeboard_in_m
    rows = []
    for aep, event in own.groupby("aep_per_year", sort=True):
        shapes, levels = list(event["geometry"]), event["level_m"].to_numpy(float)
        for place in places.all:
            row = base_row(place, source, float(aep))
            row["origin"] = f"{source.path.name} {source.layer or ''}".strip()
            if math.isfinite(place.x_m):
                _answer(row, place, shapes, levels, domain, settings)
            if row["level_m"] is not None:
                row["level_m"] = round(row["level_m"] + add, 6)
            rows.append(row)
    return rows, []


def _answer(
    row: dict[str, Any],
    place: Place,
    shapes: list[Any],
    levels: Any,
    domain: Any,
    settings: Settings,
) -> None:
    spot = place.shape if place.shape is not None else shapely.Point(place.x_m, place.y_m)
    spot = spot.buffer(max(place.plan_u_m, 0.01))
    touched = [i for i, shape in enumerate(shapes) if shape.intersects(spot)]
    known = [float(levels[i]) for i in touched if not pd.isna(levels[i])]
    if touched and not known:
        # an outline without level: in, but nobody says how high
        row |= {"answer": contract.NOT_MODELLED, "assumed": "inside an outline without a level"}
        return
    if known:
        row |= {"answer": contract.LEVEL, "level_m": max(known), "distance_m": 0.0}
        return
    if domain is None or not domain.intersects(spot):
        return
    row["answer"] = contract.DRY
    reach = settings.flood.reference_water_m
    near = [
        (float(levels[i]), float(shape.distance(spot)))
        for i, shape in enumerate(shapes)
        if not pd.isna(levels[i]) and shape.distance(spot) <= reach
    ]
    if near:
        level, away = max(near, key=lambda pair: (pair[0], -pair[1]))
        row |= {"level_m": level, "distance_m": round(away, 2), "is_nearest": True}
