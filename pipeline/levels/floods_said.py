"""What has to be asked about the water: nothing modelled, sources apart, coarse positions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.findings import Finding, make
from pipeline.core.settings import Settings
from pipeline.levels.floods_grid import Places
from pipeline.tables import Tables

_APART_M: Final = 0.3
_NAMED: Final = 6


def flood_findings(
    floods: pd.DataFrame,
    tables: Tables,
    settings: Settings,
    policies: pd.DataFrame,
    places: Places,
) -> list[Finding]:
    """Findings on water at places, one line per site and cause."""
    del settings, places
    out: list[Finding] = []
    if floods.empty:
        floods = floods.assign(site_id=pd.Series(dtype="str"))
    by_site = dict(list(floods.groupby("site_id", sort=True))) if len(floods) else {}
    aeps = dict(zip(policies["site_id"], policies["design_aep_per_year"], strict=True))
    for site in sorted(tables["sites"]["site_id"]):
        rows = by_site.get(site)
        out += _of_site(site, rows, float(aeps.get(site, 0.01)))
    return [*out, *_mixed(floods)] if len(floods) else out


def _of_site(site: str, rows: pd.DataFrame | None, aep: float) -> Iterator[Finding]:
    event = f"{aep:.4g} a year"
    if rows is None or rows.empty:
        yield make("water-01", fill={"site": site, "event": event}, key=f"sites/{site}",
                   site_id=site, place_id=site)  # fmt: skip
        return
    # an event at least as rare bounds the design event from above, so the curve answers it
    design = rows[rows["aep_per_year"].between(0.0, aep * (1 + 1e-6), inclusive="right")]
    answered = design[design["answer"] != contract.NOT_MODELLED]
    if answered.empty:
        yield make("water-01", fill={"site": site, "event": event}, key=f"sites/{site}",
                   site_id=site, place_id=site)  # fmt: skip
    outside = sorted(set(rows["place_id"]) - set(answered["place_id"]))
    if outside and not answered.empty:
        names = ", ".join(outside[:_NAMED]) + (" ..." if len(outside) > _NAMED else "")
        yield make("water-08", fill={"id": names}, key=f"sites/{site}", site_id=site,
                   place_id=outside[0])  # fmt: skip
    yield from _apart(site, answered)
    yield from _holes(site, rows)


def _holes(site: str, rows: pd.DataFrame) -> Iterator[Finding]:
    """Holes in the water that were filled from the cells round them, one line per site."""
    filled = rows[rows["answer"] == contract.HOLE]
    if filled.empty:
        return
    names = sorted(set(filled["place_id"]))
    fill = {
        "building": ", ".join(names[:_NAMED]) + (" ..." if len(names) > _NAMED else ""),
        "a": "missing", "b": f"{filled['level_m'].max():.2f}",
    }  # fmt: skip
    yield make("water-14", fill=fill, key=f"sites/{site}", site_id=site, place_id=names[0])


def _apart(site: str, rows: pd.DataFrame) -> Iterator[Finding]:
    known = rows[rows["level_m"].notna() & ~rows["is_nearest"].astype(bool)]
    for _, group in known.groupby(
        ["place_id", "mechanism", "aep_per_year", "climate", "defences"], sort=True
    ):
        if group["source_id"].nunique() < 2:
            continue
        low = group.loc[group["level_m"].idxmin()]
        high = group.loc[group["level_m"].idxmax()]
        if high["level_m"] - low["level_m"] > _APART_M:
            fill = {"site": site, "a": high["source_id"], "x": f"{high['level_m']:.2f}",
                    "b": low["source_id"], "y": f"{low['level_m']:.2f}"}  # fmt: skip
            yield make("water-10", fill=fill, key=f"sites/{site}", site_id=site,
                       place_id=str(high["place_id"]))  # fmt: skip
            return


def _mixed(floods: pd.DataFrame) -> Iterator[Finding]:
    """Sources of one mechanism with and without defences: told once for each two of them."""
    rows = floods[floods["answer"] == contract.LEVEL]
    for mechanism, group in rows.groupby("mechanism", sort=True):
        ids = {
            state: sorted(set(group.loc[group["defences"] == state, "source_id"]))
            for state in ("with", "without")
        }
        if ids["with"] and ids["without"]:
            fill = {"a": ids["with"][0], "b": ids["without"][0]}
            yield make("water-17", fill=fill, key=f"flood/{mechanism}")
