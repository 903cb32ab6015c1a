"""Hand-over tables: one description each, checked at every hand-over, and the data dictionary."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any, Final

import pandas as pd

from pipeline.tables import (
    closing,
    design,
    exposure,
    ingress,
    levels,
    procurement,
    programme,
    programme_choice,
    records,
    survey,
)
from pipeline.tables.spec import Table, conform, empty

Tables = dict[str, Any]
"""Tables by name: pandas frames, GeoDataFrames for layers."""

REGISTRY: Final[dict[str, Table]] = {
    **survey.SURVEY_TABLES,
    "abouts": survey.ABOUTS,
    "columns": survey.COLUMNS,
    "counts": survey.COUNTS,
    "gps_points": survey.GPS_POINTS,
    "findings": survey.FINDINGS,
    "answers": survey.ANSWERS,
    "changes": survey.CHANGES,
    **survey.LAYERS,
    "flood_nodes": survey.FLOOD_NODES,
    **levels.ALL,
    **exposure.ALL,
    **ingress.ALL,
    **closing.ALL,
    **design.ALL,
    **programme.ALL,
    **programme_choice.ALL,
    **procurement.ALL,
    **records.ALL,
}


def hand_over(stage: str, tables: Mapping[str, Any]) -> Tables:
    """Conform and check every table that a stage hands over.

    Raises
    ------
    ContractBreach
        When a table is not in the registry's form.
    KeyError
        When a table is not registered.
    """
    return {name: conform(REGISTRY[name], frame, stage=stage) for name, frame in tables.items()}


def blank(name: str) -> Any:
    """An empty table in its registered form."""
    return _empty(name).copy()


@cache
def _empty(name: str) -> Any:
    """Made once: checking one against its description takes a tenth of a second."""
    return empty(REGISTRY[name])


def dictionary() -> pd.DataFrame:
    """The data dictionary: one row per table and column."""
    rows = [
        {
            "table": table.name,
            "table_meaning": table.meaning,
            "column": col.name,
            "type": col.kind,
            "meaning": col.meaning,
            "allowed": "; ".join(col.words),
            "survey_heading": col.survey_heading,
            "is_key": col.name in table.key,
        }
        for table in REGISTRY.values()
        for col in table.columns
    ]
    return pd.DataFrame(rows)


__all__ = ["REGISTRY", "Table", "Tables", "blank", "dictionary", "hand_over"]
