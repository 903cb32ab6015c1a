"""All heights of a survey: points first, then places, then openings, then what was seen."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from pipeline.core.doubts import parts_text
from pipeline.core.findings import table as findings_table
from pipeline.core.settings import Settings
from pipeline.levels.chain import Level
from pipeline.levels.chance import limit_mm
from pipeline.levels.found import Found
from pipeline.levels.observed import add_observed
from pipeline.levels.openings import Openings
from pipeline.levels.places import Places
from pipeline.levels.points import Points
from pipeline.levels.visits import Visits
from pipeline.tables import Tables, blank


def heights(tables: Tables, settings: Settings, ground: pd.DataFrame) -> Found:
    """Levels of all things, with findings.

    Parameters
    ----------
    tables : Tables
        Survey tables.
    settings : Settings
    ground : DataFrame
        Hand-over table `ground`.

    Returns
    -------
    Found
        Findings of visits and points among them.

    """
    known = {
        (str(kind), str(place)): float(ground_m)
        for kind, place, ground_m in zip(
            ground["place_kind"], ground["place_id"], ground["ground_m"], strict=True
        )
    }
    visits = Visits(tables)
    sites = {place: g for (kind, place), g in known.items() if kind == "site"}
    points = Points(tables, settings, visits, sites)
    found = Found()
    places = Places(tables, points, visits, known)
    places.work(found)
    Openings(tables, points, visits, places, found).work()
    add_observed(tables, points, found)
    found.findings[:0] = [*visits.findings, *points.findings]
    return found


def level_table(found: Found, k: float) -> pd.DataFrame:
    """Hand-over table `levels`; limits are k x doubt + bias."""
    rows = [
        {"thing_kind": kind, "thing_id": thing, "site_id": found.site_of[kind, thing] or None}
        | _facts(level)
        | _second(found.second.get((kind, thing)))
        for (kind, thing), level in found.levels.items()
    ]
    if not rows:
        return blank("levels")
    frame = pd.DataFrame(rows, columns=[c for c in blank("levels").columns if c != "limit_mm"])
    u_m = np.hypot(frame["u_shared_m"].astype(float), frame["u_own_m"].astype(float))
    return frame.assign(limit_mm=limit_mm(u_m, frame["bias_m"], k))


def findings_frame(found: Found) -> pd.DataFrame:
    """Hand-over table `findings`."""
    return findings_table(found.findings)


def _facts(level: Level | None) -> dict[str, Any]:
    if level is None:
        return {"level_m": math.nan, "has_pedigree": False, "pedigree_gap": "no level"}
    return {
        "level_m": level.value_m,
        "u_shared_m": level.shared_m,
        "u_own_m": level.own_m,
        "shared_key": level.shared_key or None,
        "shared_parts": parts_text(level.shared) or None,
        "bias_m": level.bias_m,
        "has_pedigree": level.has_pedigree,
        "pedigree_gap": level.gap or None,
        "method": level.method or None,
        "datum": level.datum or None,
        "path": level.path,
        "cells": "; ".join(c for c in level.cells if c) or None,
        "assumed": "; ".join(level.assumed) or None,
    }


def _second(level: Level | None) -> dict[str, Any]:
    return {} if level is None else {"second_level_m": level.value_m, "second_path": level.path}
