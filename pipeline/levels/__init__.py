"""Gives every thing a level with its doubt, and every place its water."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from pipeline.core.findings import table as findings_table
from pipeline.core.progress import Progress, silent
from pipeline.core.settings import Settings
from pipeline.levels.floods import flood_tables
from pipeline.levels.observed import add_observed
from pipeline.levels.points import Points
from pipeline.levels.things import Found, Things
from pipeline.levels.visits import Visits
from pipeline.tables import Tables, blank


def levels(tables: Tables, settings: Settings, *, progress: Progress = silent) -> Tables:
    """Work out the level of every thing, and the water at every place.

    Parameters
    ----------
    tables : Tables
        Survey tables and map layers.
    settings : Settings
    progress : Progress

    Returns
    -------
    Tables
        levels, floods, policies, ground, findings.

    """
    floods = flood_tables(tables, settings, progress)
    grounds = {
        (str(k), str(p)): float(g)
        for k, p, g in zip(
            floods["ground"]["place_kind"],
            floods["ground"]["place_id"],
            floods["ground"]["ground_m"],
            strict=True,
        )
    }
    visits = Visits(tables)
    sites = {p: g for (k, p), g in grounds.items() if k == "site"}
    points = Points(tables, settings, visits, sites)
    things = Things(tables, settings, points, visits, grounds)
    found = things.work()
    add_observed(tables, found)
    own = [*visits.findings, *points.findings, *found.findings]
    said = [f for f in (findings_table(own), floods["findings"]) if len(f)]
    return {
        **floods,
        "floods": _bound_by_covers(floods["floods"], found),
        "levels": _table(found, settings.flood.k),
        "findings": pd.concat(said, ignore_index=True) if said else blank("findings"),
    }


def _bound_by_covers(floods: pd.DataFrame, found: Found) -> pd.DataFrame:
    """A dry event keeps the water below the cover too, where that lies below the ground model."""
    cover = [
        level.value_m if kind == "chamber" and level is not None else math.inf
        for kind, level in (
            (kind, found.levels.get(("cover", place)))
            for kind, place in zip(floods["place_kind"], floods["place_id"], strict=True)
        )
    ]
    ground = floods["ground_m"].astype("float64")
    lower = pd.Series(cover, index=floods.index, dtype="float64")
    return floods.assign(ground_m=ground.where(~(lower < ground), lower))


def _table(found: Found, k: float) -> pd.DataFrame:
    rows: list[dict[str, Any]] = []
    for (kind, thing), level in found.levels.items():
        row: dict[str, Any] = {
            "thing_kind": kind,
            "thing_id": thing,
            "site_id": found.site_of[kind, thing] or None,
            "level_m": math.nan,
            "has_pedigree": False,
            "pedigree_gap": "no level",
        }
        if level is not None:
            row |= {
                "level_m": level.value_m,
                "u_shared_m": level.shared_m,
                "u_own_m": level.own_m,
                "shared_key": level.shared_key or None,
                "bias_m": level.bias_m,
                "limit_mm": level.limit_mm(k),
                "has_pedigree": level.has_pedigree,
                "pedigree_gap": level.gap or None,
                "method": level.method or None,
                "datum": level.datum or None,
                "path": level.path,
                "cells": "; ".join(c for c in level.cells if c) or None,
                "assumed": "; ".join(level.assumed) or None,
            }
        second = found.second.get((kind, thing))
        if second is not None:
            row |= {"second_level_m": second.value_m, "second_path": second.path}
        rows.append(row)
    return pd.DataFrame(rows) if rows else blank("levels")


__all__ = ["levels"]
