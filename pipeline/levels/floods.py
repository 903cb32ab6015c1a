"""Water at every chamber and building: one row per place, source and event, with four answers."""

from __future__ import annotations

import math
from typing import Any, Final

import pandas as pd

from pipeline.core import contract
from pipeline.core.findings import Finding
from pipeline.core.findings import table as findings_table
from pipeline.core.progress import Progress
from pipeline.core.settings import Settings
from pipeline.levels.datums import to_working_datum
from pipeline.levels.floods_grid import Places, grid_rows, groundwater_rows
from pipeline.levels.floods_nodes import node_rows
from pipeline.levels.floods_polygon import polygon_rows
from pipeline.levels.floods_said import flood_findings
from pipeline.levels.floods_survey import survey_rows
from pipeline.levels.ground import ground_grid, ground_table
from pipeline.levels.policies import policy_table
from pipeline.tables import Tables, blank

# doubt of a water level where none is stated (m, one standard deviation): house rule
DEFAULT_U_M = {
    "level grid": 0.15,
    "depth grid": 0.15,
    "polygon": 0.15,
    "groundwater": 0.50,
    "report": 0.20,
    "model node": 0.10,
    "node table": 0.10,
}


def flood_tables(tables: Tables, settings: Settings, progress: Progress) -> dict[str, Any]:
    """Attach every flood source to every place.

    Parameters
    ----------
    tables : Tables
        Survey tables and map layers.
    settings : Settings
    progress : Progress

    Returns
    -------
    dict
        floods, policies, ground, findings.

    """
    ground = ground_grid(settings)
    grounds = ground_table(tables, settings, ground)
    places = Places.of(tables, grounds, ground, settings)
    policies = policy_table(tables, settings)
    rows: list[dict[str, Any]] = []
    findings: list[Finding] = []
    sources = settings.flood.source
    for done, source in enumerate(sources):
        progress(done, len(sources))
        stated = source.u_m if source.u_m is not None else DEFAULT_U_M[source.kind]
        shift = to_working_datum(source.datum, settings)
        u_m = math.hypot(stated, shift[1] if shift is not None else 0.0)
        assumed = (
            None if source.u_m is not None else f"doubt of {source.id} taken as {stated:.2f} m"
        )
        if source.kind in ("level grid", "depth grid"):
            new, said = grid_rows(places, tables, settings, source)
        elif source.kind == "groundwater":
            new, said = groundwater_rows(places, settings, source)
        elif source.kind == "node table":
            new, said = node_rows(places, tables, settings, source)
        else:
            new, said = polygon_rows(places, tables, settings, source)
        for row in new:
            row["u_m"] = u_m if row["level_m"] is not None else None
            row["assumed"] = "; ".join(t for t in (row.get("assumed"), assumed) if t) or None
        rows += new
        findings += said
    progress(len(sources), len(sources))
    rows += survey_rows(places, tables, settings, DEFAULT_U_M)
    floods = pd.DataFrame(_one_each(rows)) if rows else blank("floods")
    findings = _once(findings) + flood_findings(floods, tables, settings, policies, places)
    return {
        "floods": floods,
        "policies": policies,
        "ground": grounds,
        "findings": findings_table(findings) if findings else blank("findings"),
    }


_KEY: Final = ("place_kind", "place_id", "source_id", "aep_per_year", "event")
_RANK: Final = {contract.LEVEL: 0, contract.HOLE: 0, contract.DRY: 1, contract.NOT_MODELLED: 2}


def _one_each(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One row per place, source and event: of several tiles the wettest answer, highest water."""
    best: dict[tuple[Any, ...], dict[str, Any]] = {}
    for row in rows:
        key = tuple(row[k] for k in _KEY)
        best[key] = _wetter(best[key], row) if key in best else row
    return list(best.values())


def _wetter(one: dict[str, Any], two: dict[str, Any]) -> dict[str, Any]:
    first, second = sorted((one, two), key=lambda r: (_RANK[r["answer"]], -_level(r)))
    first = first | {"is_refused": first["is_refused"] or second["is_refused"]}
    if _RANK[first["answer"]] > 0 and _level(second) > _level(first):
        # dry by one tile: the nearest water of the other still counts
        names = ("level_m", "u_m", "is_nearest", "distance_m", "origin")
        return first | {n: second[n] for n in names}
    return first


def _level(row: dict[str, Any]) -> float:
    return -math.inf if row["level_m"] is None else float(row["level_m"])


def _once(findings: list[Finding]) -> list[Finding]:
    """One finding per rule and thing: the events of a source say the same of a building."""
    return list({(f.code, f.key): f for f in reversed(findings)}.values())[::-1]
