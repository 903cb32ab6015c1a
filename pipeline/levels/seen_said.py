"""What was seen against what is modelled: water or a mark above the modelled levels."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from pipeline.core import contract
from pipeline.core.findings import Finding, make
from pipeline.core.units import down_mm, up_mm
from pipeline.levels.found import Found


def seen_findings(floods: pd.DataFrame, policies: pd.DataFrame, found: Found) -> Iterator[Finding]:
    """water-18: water was measured higher than any model puts it at that place.

    Parameters
    ----------
    floods : DataFrame
        Table `floods`.
    policies : DataFrame
        Table `policies`: events rarer than a site's design event are left out.
    found : Found
        Levels of `water seen`.
    """
    if floods.empty:
        return
    wet = floods[floods["answer"].isin([contract.LEVEL, contract.HOLE]) & floods["level_m"].notna()]
    aep = dict(zip(policies["site_id"], policies["design_aep_per_year"], strict=True))
    least = wet["site_id"].map(aep).fillna(0.0) * (1.0 - 1e-6)
    usual = wet[(wet["aep_per_year"] < 0) | (wet["aep_per_year"] >= least)]
    highest = usual.groupby("place_id")["level_m"].max()
    for (kind, place), level in sorted(found.levels.items(), key=lambda x: x[0]):
        if kind != "water seen" or level is None or place not in highest.index:
            continue
        model_m = float(highest[place])
        if not down_mm(level.value_m) > up_mm(model_m):
            continue
        fill = {"x": f"{level.value_m:.2f}", "place": place, "y": f"{model_m:.2f}"}
        site = found.site_of.get((kind, place), "")
        at = found.seen_at.get(place)
        yield make(
            "water-18",
            at.where() if at else None,
            fill=fill,
            key=f"places/{place}",
            place_id=place,
            site_id=site,
        )
