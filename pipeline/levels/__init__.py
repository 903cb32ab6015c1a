"""Gives every thing a level with its doubt, and every place its water."""

from __future__ import annotations

import math

import pandas as pd

from pipeline.core.findings import table as findings_table
from pipeline.core.progress import Progress, silent
from pipeline.core.settings import Settings
from pipeline.levels.finder import network_table, suspects_table
from pipeline.levels.floods import flood_tables
from pipeline.levels.found import Found
from pipeline.levels.heights import findings_frame, heights, level_table
from pipeline.levels.seen_said import seen_findings
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
        levels, floods, policies, ground, suspects, network, findings.

    """
    floods = flood_tables(tables, settings, progress)
    found = heights(tables, settings, floods["ground"])
    suspected = suspects_table(tables)
    seen = findings_table(seen_findings(floods["floods"], floods["policies"], found))
    said = [f for f in (findings_frame(found), floods["findings"], seen) if len(f)]
    return {
        **floods,
        "floods": _bound_by_covers(floods["floods"], found),
        "levels": level_table(found, settings.flood.k),
        "suspects": suspected,
        "network": network_table(tables, settings.reference.vertical_datum),
        "findings": _with_hints(pd.concat(said, ignore_index=True), suspected)
        if said
        else blank("findings"),
    }


def _bound_by_covers(floods: pd.DataFrame, found: Found) -> pd.DataFrame:
    """A dry event bounds the water by the ground or the cover, whichever lies higher.

    Of the two the higher is the cautious bound: the water of a dry event may stand up to it.
    """
    cover = [
        level.value_m if kind == "chamber" and level is not None else -math.inf
        for kind, level in (
            (kind, found.levels.get(("cover", place)))
            for kind, place in zip(floods["place_kind"], floods["place_id"], strict=True)
        )
    ]
    ground = floods["ground_m"].astype("float64")
    higher = pd.Series(cover, index=floods.index, dtype="float64")
    return floods.assign(ground_m=ground.where(~(higher > ground), higher))


def _with_hints(findings: pd.DataFrame, suspected: pd.DataFrame) -> pd.DataFrame:
    """Name the likeliest wrong number beside the question which of two chains to trust."""
    first = suspected[suspected["rank"] == 1]
    hints = dict(zip(first["site_id"], first["words"], strict=True))
    asked = findings["code"].eq("level-02") & findings["site_id"].isin(hints)
    hint = "Likeliest: " + findings["site_id"].map(lambda site: hints.get(site, "")) + ". "
    return findings.assign(mend=findings["mend"].where(~asked, hint + findings["mend"]))


__all__ = ["levels"]
