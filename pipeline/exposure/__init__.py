"""Follows the water from where it stands to every opening."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Any

import pandas as pd

from pipeline.core.onsets import building_onsets
from pipeline.core.progress import Progress, silent
from pipeline.core.settings import Settings
from pipeline.exposure.closing_net import closing_tables
from pipeline.exposure.links import Link, make_links
from pipeline.exposure.reach import reach_tables
from pipeline.exposure.times import ingress
from pipeline.tables import Tables, blank, hand_over


def exposure(
    tables: Tables,
    settings: Settings,
    *,
    closed_ends: Collection[str] = (),
    progress: Progress = silent,
) -> Tables:
    """Find which openings the water gets to, by which way, and from what level on.

    Parameters
    ----------
    tables : Tables
        Survey tables, levels, floods, policies and ground.
    settings : Settings
    closed_ends : collection of str
        Ends taken as closed by a seal that holds, beside those of the survey (a what-if).
    progress : Progress

    Returns
    -------
    Tables
        links, reach, reach_sources, ingress, filling, way_edges, way_waters, onsets_found.

    """
    links = make_links(tables, settings, closed_ends)
    reach, sources = reach_tables(tables, links, settings, progress)
    done = hand_over(
        "exposure",
        {
            "links": pd.DataFrame([_row(link) for link in links]) if links else blank("links"),
            "reach": reach if len(reach) else blank("reach"),
            "reach_sources": sources if len(sources) else blank("reach_sources"),
        },
    )
    found = _as_found(tables, settings)
    flows, filling = ingress(tables, done["reach"], done["links"])
    ways = closing_tables(tables, links, done["reach"], settings)
    return {**done, **ways, "ingress": flows, "filling": filling, "onsets_found": found}


def _as_found(tables: Tables, settings: Settings) -> Any:
    """Onset of each building without our seals; empty where no record closes an end."""
    sealed = tables.get("sealed_ends")
    if sealed is None or not sealed["is_closed"].astype(bool).any():
        return blank("onsets_found")
    bare = {name: frame for name, frame in tables.items() if name != "sealed_ends"}
    ends, entries = tables["ends"], tables["entries"]
    named = ends.loc[ends["end_id"].isin(sealed["end_id"]), "building_id"].dropna()
    others = entries.loc[entries["entry_id"].isin(sealed["end_id"]), "building_id"].dropna()
    only = frozenset((*map(str, named), *map(str, others)))
    links = make_links(bare, settings)
    reach, sources = reach_tables(bare, links, settings, silent, only=only)
    return building_onsets(reach, sources) if len(reach) else blank("onsets_found")


def _row(link: Link) -> dict[str, Any]:
    known = [h.level_m for h in link.crests]
    return {
        "link_id": link.link_id,
        "kind": link.kind,
        "end_a_id": link.end_a,
        "end_b_id": link.end_b or None,
        "place_a_id": link.place_a,
        "place_b_id": link.place_b or None,
        "crest_level_m": max(known) if known else math.nan,
        "lowest_invert_m": link.lowest_invert_m,
        "proof": link.proof or None,
        "is_proved": link.is_proved,
        "is_blocked": bool(link.blocked_by),
        "blocked_by": link.blocked_by or None,
        "length_m": link.length_m,
        "note": "; ".join(link.notes) or None,
    }


__all__ = ["exposure"]
